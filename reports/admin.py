"""Documents and deliveries in Django's admin, for superusers only. A document as made is never edited."""

from sites.admin import register_tables

register_tables("reports")
