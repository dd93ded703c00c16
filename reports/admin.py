"""Documents and deliveries in Django's admin, for superusers only. A document as made is never edited."""

from django.contrib import admin

from reports import models
from sites.admin import ReadOnlyAdmin


@admin.register(models.Document)
class DocumentAdmin(ReadOnlyAdmin):
    list_display = ["title", "site", "season_year", "version", "made_at", "published_at"]
    list_select_related = ["site"]
    list_filter = ["kind", "season_year"]
    search_fields = ["title", "site__name"]


@admin.register(models.Delivery)
class DeliveryAdmin(ReadOnlyAdmin):
    list_display = ["document", "recipient", "state", "attempts", "created_at", "sent_at"]
    list_select_related = ["document"]
    list_filter = ["state"]
    search_fields = ["recipient", "document__title"]


@admin.register(models.AppointmentMail)
class AppointmentMailAdmin(DeliveryAdmin):
    list_display = ["visit", "kind", "recipient", "on_date", "state", "created_at", "sent_at"]
    list_select_related = ["visit__site"]
    list_filter = ["kind", "state"]
    search_fields = ["recipient", "visit__site__name"]


@admin.register(models.ShareLink)
class ShareLinkAdmin(ReadOnlyAdmin):
    list_display = ["document", "label", "created_at", "expires_at", "revoked_at", "views"]
    list_select_related = ["document"]
    search_fields = ["label", "document__title"]


@admin.register(models.BulkJob)
class BulkJobAdmin(ReadOnlyAdmin):
    list_display = ["kind", "shape", "state"]
    list_filter = ["kind", "state"]


@admin.register(models.BulkPart)
class BulkPartAdmin(ReadOnlyAdmin):
    list_display = ["job", "number", "state", "attempts", "claimed_at"]
    list_select_related = ["job"]
    list_filter = ["state"]
