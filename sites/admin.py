"""The register in Django's admin, for superusers only: the way to what no page of ours offers."""

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.http import HttpRequest

from sites import models

admin.site.site_header = admin.site.site_title = "Rillbook administration"


class ReadOnlyAdmin(admin.ModelAdmin):
    """Rows that only actions write: computed, published, measured or sent. Here they are read."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: object = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: object = None) -> bool:
        return False


@admin.register(models.User)
class PersonAdmin(UserAdmin):
    list_display = ["username", "first_name", "last_name", "role", "client", "is_active"]
    list_filter = ["role", "is_active"]
    autocomplete_fields = ["client"]
    fieldsets = [*UserAdmin.fieldsets, ("Rillbook", {"fields": ["role", "client", "phone"]})]
    add_fieldsets = [*UserAdmin.add_fieldsets, ("Rillbook", {"fields": ["role", "client", "phone"]})]


@admin.register(models.Firm)
class FirmAdmin(admin.ModelAdmin):
    list_display = ["name", "units", "time_zone"]


@admin.register(models.Client)
class ClientAdmin(admin.ModelAdmin):
    list_display = ["name", "contact_name", "email", "archived_at"]
    search_fields = ["name", "contact_name", "email"]


@admin.register(models.WeatherStation)
class WeatherStationAdmin(admin.ModelAdmin):
    list_display = ["name", "code", "latitude", "longitude", "elevation_m"]
    search_fields = ["name", "code"]


class TariffBlockInline(admin.TabularInline):
    model = models.TariffBlock
    extra = 0


@admin.register(models.Tariff)
class TariffAdmin(admin.ModelAdmin):
    list_display = ["name", "fixed_per_month"]
    search_fields = ["name"]
    inlines = [TariffBlockInline]


@admin.register(models.TariffBlock)
class TariffBlockAdmin(admin.ModelAdmin):
    list_display = ["tariff", "from_m3", "price_per_m3"]
    list_select_related = ["tariff"]
    search_fields = ["tariff__name"]


@admin.register(models.Site)
class SiteAdmin(admin.ModelAdmin):
    list_display = ["name", "town", "client", "weather_station", "archived_at"]
    list_select_related = ["client", "weather_station"]
    search_fields = ["name", "town", "client__name"]
    autocomplete_fields = ["client", "weather_station", "tariff"]


@admin.register(models.Photo)
class PhotoAdmin(admin.ModelAdmin):
    """No upload here: pictures come in through `store_photo` only, which cleans them."""

    list_display = ["caption", "site", "taken_at", "uploaded_by"]
    search_fields = ["caption", "site__name"]
    list_select_related = ["site", "uploaded_by"]
    readonly_fields = ["site", "image", "taken_at", "uploaded_by"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False


@admin.register(models.WaterSupply)
class WaterSupplyAdmin(admin.ModelAdmin):
    list_display = ["name", "kind", "site", "static_pressure_kpa", "flow_available_l_min"]
    list_select_related = ["site"]
    list_filter = ["kind"]
    search_fields = ["name", "site__name"]
    autocomplete_fields = ["site"]


@admin.register(models.Pump)
class PumpAdmin(admin.ModelAdmin):
    list_display = ["name", "supply", "prime_delay_s", "minimum_run_s", "most_starts_per_hour"]
    list_select_related = ["supply"]
    search_fields = ["name", "supply__site__name"]
    autocomplete_fields = ["supply"]


@admin.register(models.BackflowAssembly)
class BackflowAssemblyAdmin(admin.ModelAdmin):
    list_display = ["kind", "serial_number", "site", "last_tested_on", "test_due_on"]
    list_select_related = ["site"]
    search_fields = ["serial_number", "site__name"]
    autocomplete_fields = ["site", "supply"]


@admin.register(models.Controller)
class ControllerAdmin(admin.ModelAdmin):
    list_display = ["name", "site", "terminals", "output", "transformer_va"]
    list_select_related = ["site"]
    search_fields = ["name", "site__name"]
    autocomplete_fields = ["site", "supply"]


@admin.register(models.Valve)
class ValveAdmin(admin.ModelAdmin):
    list_display = ["name", "terminal", "controller", "coil_resistance_ohm"]
    list_select_related = ["controller"]
    search_fields = ["name", "controller__site__name"]
    autocomplete_fields = ["controller"]


@admin.register(models.Zone)
class ZoneAdmin(admin.ModelAdmin):
    list_display = ["number", "name", "site", "planting", "emitter", "area_m2", "in_use"]
    list_select_related = ["site"]
    list_filter = ["planting", "emitter"]
    search_fields = ["name", "site__name"]
    autocomplete_fields = ["site", "valve"]


@admin.register(models.Meter)
class MeterAdmin(admin.ModelAdmin):
    list_display = ["serial_number", "site", "unit", "removed_on"]
    list_select_related = ["site"]
    search_fields = ["serial_number", "site__name"]
    autocomplete_fields = ["site"]


@admin.register(models.MeterReading)
class MeterReadingAdmin(admin.ModelAdmin):
    list_display = ["meter", "read_on", "counter", "estimated", "read_by"]
    list_select_related = ["meter", "read_by"]
    search_fields = ["meter__serial_number", "meter__site__name"]
    date_hierarchy = "read_on"
    autocomplete_fields = ["meter", "read_by"]


@admin.register(models.StateChange)
class StateChangeAdmin(admin.ModelAdmin):
    list_display = ["changed_on", "site", "state", "reason", "recorded_by"]
    list_select_related = ["site", "recorded_by"]
    list_filter = ["state"]
    search_fields = ["site__name", "reason"]
    date_hierarchy = "changed_on"
    autocomplete_fields = ["site"]


@admin.register(models.AuditEntry)
class AuditEntryAdmin(admin.ModelAdmin):
    """To be read only: an audit that can be edited is none."""

    list_display = ["at", "by", "verb", "subject_type", "subject_id"]
    list_select_related = ["by"]
    list_filter = ["verb", "subject_type"]
    search_fields = ["subject_id", "by__username"]
    date_hierarchy = "at"

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: object = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: object = None) -> bool:
        return False
