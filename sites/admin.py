"""Every table in Django's admin, for superusers only: the way to what no page of ours offers.

One class draws them all. A table is read here unless its app names it among those that may be written.
"""

from collections.abc import Iterable
from typing import Any

from django.apps import apps
from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.db import models as db
from django.http import HttpRequest

from sites import models

admin.site.site_header = admin.site.site_title = "Rillbook administration"
LISTED = 6


class TableAdmin(admin.ModelAdmin):
    """The first short columns in the list, looked for by the table's texts and the names of what it stands on."""

    list_select_related = True

    def __init__(self, model: type[db.Model], site: admin.AdminSite) -> None:
        columns = [field for field in model._meta.concrete_fields if not field.primary_key]
        rows = [field for field in columns if field.remote_field]
        shown = [field for field in columns if not isinstance(field, db.TextField | db.JSONField | db.BinaryField)]
        texts = [field.name for field in columns if isinstance(field, db.CharField) and not field.choices]
        of_this_table = {
            "list_display": self.list_display_of([field.name for field in shown if field.editable]),
            "list_filter": [field.name for field in shown if field.choices],
            "search_fields": texts + [f"{field.name}__name" for field in rows if _has_name(field.related_model)],
            "raw_id_fields": [field.name for field in (*rows, *model._meta.many_to_many)],
        }
        for name, value in of_this_table.items():
            setattr(self, name, value)
        super().__init__(model, site)

    def list_display_of(self, names: list[str]) -> list[str]:
        hidden = self.exclude or ()
        return [name for name in names if name not in hidden][:LISTED] or ["__str__"]


def _has_name(model: Any) -> bool:
    return any(field.name == "name" for field in model._meta.concrete_fields)


class ReadOnlyAdmin(TableAdmin):
    """Rows that only actions write: computed, published, measured or sent. Here they are read."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: object = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: object = None) -> bool:
        return False


class NotAddedAdmin(TableAdmin):
    """Rows that come in another way only; here they are changed or taken out."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False


def register_tables(app: str, *, written: Iterable[type[db.Model]] = ()) -> None:
    """Register what an app's tables that stand in no class of their own."""
    for model in apps.get_app_config(app).get_models():
        if not admin.site.is_registered(model):
            admin.site.register(model, TableAdmin if model in set(written) else ReadOnlyAdmin)


@admin.register(models.User)
class PersonAdmin(UserAdmin):
    list_display = ["username", "first_name", "last_name", "role", "client", "is_active"]
    list_filter = ["role", "is_active"]
    raw_id_fields = ["client"]
    fieldsets = [*(UserAdmin.fieldsets or ()), ("Rillbook", {"fields": ["role", "client", "phone"]})]
    add_fieldsets = [*UserAdmin.add_fieldsets, ("Rillbook", {"fields": ["role", "client", "phone"]})]


@admin.register(models.Photo)
class PhotoAdmin(NotAddedAdmin):
    """No upload here: pictures come in through `store_photo` only, which cleans them."""

    readonly_fields = ["site", "image", "taken_at", "uploaded_by"]


class TariffBlockInline(admin.TabularInline):
    model = models.TariffBlock
    extra = 0


@admin.register(models.Tariff)
class TariffAdmin(TableAdmin):
    inlines = [TariffBlockInline]


register_tables(
    "sites",
    written=[
        models.Firm,
        models.Client,
        models.WeatherStation,
        models.TariffBlock,
        models.Site,
        models.WaterSupply,
        models.Pump,
        models.BackflowAssembly,
        models.Controller,
        models.Valve,
        models.Zone,
        models.Meter,
        models.MeterReading,
        models.StateChange,
    ],
)
