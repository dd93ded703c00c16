"""Visits, checklists and what was found, in Django's admin, for superusers only."""

from django.contrib import admin
from django.http import HttpRequest

from jobs import models
from sites.admin import ReadOnlyAdmin


@admin.register(models.TechnicianProfile)
class TechnicianProfileAdmin(admin.ModelAdmin):
    list_display = ["user", "day_starts_at", "day_ends_at", "lunch_min"]
    list_select_related = ["user"]
    search_fields = ["user__username", "user__last_name"]
    autocomplete_fields = ["user"]


@admin.register(models.Skill)
class SkillAdmin(admin.ModelAdmin):
    list_display = ["name", "kinds", "plant"]
    search_fields = ["name"]


@admin.register(models.ClosedDays)
class ClosedDaysAdmin(admin.ModelAdmin):
    list_display = ["starts_on", "ends_on", "reason"]


@admin.register(models.Absence)
class AbsenceAdmin(admin.ModelAdmin):
    list_display = ["technician", "starts_on", "ends_on", "reason"]
    list_select_related = ["technician"]
    search_fields = ["technician__username", "reason"]
    autocomplete_fields = ["technician"]


@admin.register(models.ServicePlan)
class ServicePlanAdmin(admin.ModelAdmin):
    list_display = ["site", "startup", "mid_season_visits", "winterisation"]
    list_select_related = ["site"]
    search_fields = ["site__name"]
    autocomplete_fields = ["site"]


@admin.register(models.VisitTerms)
class VisitTermsAdmin(admin.ModelAdmin):
    list_display = ["site", "preferred_technician", "frost_days"]
    list_select_related = ["site", "preferred_technician"]
    search_fields = ["site__name"]
    autocomplete_fields = ["site", "preferred_technician"]
    filter_horizontal = ["skills"]


@admin.register(models.SeasonWindow)
class SeasonWindowAdmin(admin.ModelAdmin):
    list_display = ["season_year", "kind", "opens_on", "due_on"]
    list_filter = ["season_year", "kind"]


@admin.register(models.Visit)
class VisitAdmin(admin.ModelAdmin):
    list_display = ["site", "kind", "season_year", "state", "technician", "planned_on"]
    list_select_related = ["site", "technician"]
    list_filter = ["kind", "state", "season_year"]
    search_fields = ["site__name", "technician__username"]
    date_hierarchy = "planned_on"
    autocomplete_fields = ["site", "technician"]


@admin.register(models.PlanRun)
class PlanRunAdmin(ReadOnlyAdmin):
    list_display = ["season_year", "first_day", "last_day", "state", "asked_at", "asked_by"]
    list_select_related = ["asked_by"]
    list_filter = ["state", "season_year"]
    raw_id_fields = ["asked_by"]


@admin.register(models.DayRoute)
class DayRouteAdmin(ReadOnlyAdmin):
    list_display = ["technician", "date", "drive_min", "drive_km", "travel_source"]
    list_select_related = ["technician"]
    search_fields = ["technician__username"]
    date_hierarchy = "date"
    autocomplete_fields = ["technician"]


class ChecklistItemInline(admin.TabularInline):
    model = models.ChecklistItem
    extra = 0


@admin.register(models.ChecklistTemplate)
class ChecklistTemplateAdmin(admin.ModelAdmin):
    list_display = ["kind", "version", "current"]
    list_filter = ["kind", "current"]
    search_fields = ["kind"]
    inlines = [ChecklistItemInline]


@admin.register(models.ChecklistItem)
class ChecklistItemAdmin(admin.ModelAdmin):
    list_display = ["text", "template", "position", "answer", "gate"]
    list_select_related = ["template"]
    search_fields = ["text", "key"]


@admin.register(models.ChecklistAnswer)
class ChecklistAnswerAdmin(ReadOnlyAdmin):
    list_display = ["visit", "item", "done", "number", "answered_at", "answered_by"]
    list_select_related = ["visit__site", "item", "answered_by"]
    search_fields = ["visit__site__name", "item__text"]
    raw_id_fields = ["visit", "item", "answered_by"]


@admin.register(models.ValveMeasurement)
class ValveMeasurementAdmin(ReadOnlyAdmin):
    list_display = ["valve", "visit", "coil_resistance_ohm", "flow_l_min", "measured_at", "measured_by"]
    list_select_related = ["valve", "visit__site", "measured_by"]
    search_fields = ["valve__name", "visit__site__name"]
    raw_id_fields = ["visit", "valve", "measured_by"]


@admin.register(models.Fault)
class FaultAdmin(admin.ModelAdmin):
    list_display = ["site", "kind", "severity", "state", "found_at"]
    list_select_related = ["site"]
    list_filter = ["state", "severity", "kind"]
    search_fields = ["site__name", "description"]
    raw_id_fields = [
        "site",
        "found_on_visit",
        "repaired_on_visit",
        "valve",
        "zone",
        "controller",
        "supply",
        "photos",
        "found_by",
    ]


@admin.register(models.PriceItem)
class PriceItemAdmin(admin.ModelAdmin):
    list_display = ["name", "unit", "price", "active"]
    list_filter = ["active", "unit"]
    search_fields = ["name"]


@admin.register(models.Proposal)
class ProposalAdmin(ReadOnlyAdmin):
    list_display = ["number", "site", "state", "valid_until", "sent_at", "answered_at", "answered_by"]
    list_select_related = ["site"]
    list_filter = ["state"]
    search_fields = ["number", "site__name", "answered_by"]


@admin.register(models.ProposalLine)
class ProposalLineAdmin(ReadOnlyAdmin):
    list_display = ["proposal", "text", "quantity", "unit", "unit_price"]
    list_select_related = ["proposal"]
    search_fields = ["text", "proposal__number"]


@admin.register(models.WorkRecord)
class WorkRecordAdmin(ReadOnlyAdmin):
    list_display = ["visit", "labour_min", "billed_at", "billed_by"]
    list_select_related = ["visit__site", "billed_by"]
    search_fields = ["visit__site__name"]


@admin.register(models.WorkPart)
class WorkPartAdmin(ReadOnlyAdmin):
    list_display = ["record", "text", "quantity", "unit", "unit_price"]
    list_select_related = ["record__visit__site"]
    search_fields = ["text"]


@admin.register(models.Replan)
class ReplanAdmin(ReadOnlyAdmin):
    list_display = ["upset", "state", "first_day", "last_day", "asked_at", "asked_by"]
    list_filter = ["upset", "state"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: object = None) -> bool:
        return False


@admin.register(models.TravelLeg)
class TravelLegAdmin(admin.ModelAdmin):
    list_display = ["from_place", "to_place", "seconds", "metres", "source", "map_version"]
    list_filter = ["map_version", "estimated"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False


@admin.register(models.CalendarFeed)
class CalendarFeedAdmin(admin.ModelAdmin):
    list_display = ["technician", "made_at"]
    exclude = ["token_sha256"]

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False


@admin.register(models.FieldDevice)
class FieldDeviceAdmin(ReadOnlyAdmin):
    list_display = ["user", "uuid", "next_sequence", "clock_offset_s", "last_seen_at"]
    list_select_related = ["user"]
    search_fields = ["user__username"]


@admin.register(models.InboxRecord)
class InboxRecordAdmin(ReadOnlyAdmin):
    list_display = ["uuid", "state"]
    list_filter = ["state"]


@admin.register(models.PhotoUpload)
class PhotoUploadAdmin(ReadOnlyAdmin):
    list_display = ["uuid", "sender", "state", "total_bytes", "taken_at"]
    list_select_related = ["sender"]
    list_filter = ["state"]


@admin.register(models.PhotoPiece)
class PhotoPieceAdmin(ReadOnlyAdmin):
    list_display = ["upload", "start"]
    list_select_related = ["upload"]


@admin.register(models.ClientTold)
class ClientToldAdmin(ReadOnlyAdmin):
    list_display = ["visit", "at", "by", "on_date", "words"]
    list_select_related = ["visit__site", "by"]
