"""Documents and deliveries in Django's admin, for superusers only. A document as made is never edited."""

from django.contrib import admin
from django.http import HttpRequest

from reports import models


@admin.register(models.Document)
class DocumentAdmin(admin.ModelAdmin):
    list_display = ["title", "site", "season_year", "version", "made_at", "published_at"]
    list_select_related = ["site"]
    list_filter = ["kind", "season_year"]
    search_fields = ["title", "site__name"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: object = None) -> bool:
        return False


@admin.register(models.Delivery)
class DeliveryAdmin(admin.ModelAdmin):
    list_display = ["document", "recipient", "state", "attempts", "created_at", "sent_at"]
    list_select_related = ["document"]
    list_filter = ["state"]
    search_fields = ["recipient", "document__title"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: object = None) -> bool:
        return False


@admin.register(models.AppointmentMail)
class AppointmentMailAdmin(DeliveryAdmin):
    list_display = ["visit", "kind", "recipient", "on_date", "state", "created_at", "sent_at"]
    list_select_related = ["visit__site"]
    list_filter = ["kind", "state"]
    search_fields = ["recipient", "visit__site__name"]
