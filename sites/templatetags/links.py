"""`{% link_to "run sheet" person.pk date as sheet %}`: the address of a page that an app above offers, or nothing."""

from django import template

from sites import links

register = template.Library()
register.simple_tag(links.link_to)
