"""Weather and schedules in Django's admin, for superusers only."""

from django.contrib import admin

from scheduling import models
from sites.admin import ReadOnlyAdmin


@admin.register(models.DailyWeather)
class DailyWeatherAdmin(admin.ModelAdmin):
    list_display = ["station", "date", "precipitation_mm", "temp_max_c", "temp_min_c", "eto_mm"]
    list_select_related = ["station"]
    search_fields = ["station__name", "station__code"]
    date_hierarchy = "date"
    autocomplete_fields = ["station"]


@admin.register(models.WeatherImport)
class WeatherImportAdmin(ReadOnlyAdmin):
    list_display = ["file_name", "station", "at", "by", "rows_read", "rows_stored"]
    list_select_related = ["station", "by"]
    search_fields = ["file_name", "station__name"]


@admin.register(models.SeasonSchedule)
class SeasonScheduleAdmin(ReadOnlyAdmin):
    list_display = ["site", "season_year", "revision", "state", "computed_at", "published_at"]
    list_select_related = ["site"]
    list_filter = ["state", "season_year"]
    search_fields = ["site__name"]
    autocomplete_fields = ["site"]


@admin.register(models.ZoneMonth)
class ZoneMonthAdmin(ReadOnlyAdmin):
    list_display = ["zone", "month", "schedule", "run_time_min_per_week", "water_l"]
    list_select_related = ["zone", "schedule__site"]
    search_fields = ["zone__name", "schedule__site__name"]
    raw_id_fields = ["schedule", "zone"]


class ProgramStepInline(admin.TabularInline):
    model = models.ProgramStep
    extra = 0
    can_delete = False
    raw_id_fields = ["zone"]


@admin.register(models.Program)
class ProgramAdmin(ReadOnlyAdmin):
    list_display = ["name", "schedule", "controller", "starts_at", "priority"]
    list_select_related = ["schedule__site", "controller"]
    search_fields = ["name", "schedule__site__name"]
    raw_id_fields = ["schedule", "controller"]
    inlines = [ProgramStepInline]


@admin.register(models.ProgramStep)
class ProgramStepAdmin(ReadOnlyAdmin):
    list_display = ["program", "zone", "position", "run_time_min", "cycles", "enabled"]
    list_select_related = ["program", "zone"]
    search_fields = ["zone__name", "program__name"]
    raw_id_fields = ["program", "zone"]


@admin.register(models.AppliedSchedule)
class AppliedScheduleAdmin(ReadOnlyAdmin):
    list_display = ["schedule", "controller", "applied_on", "applied_by"]
    list_select_related = ["schedule__site", "controller", "applied_by"]
    search_fields = ["schedule__site__name"]
    raw_id_fields = ["schedule", "controller"]


@admin.register(models.WateringPause)
class WateringPauseAdmin(admin.ModelAdmin):
    list_display = ["site", "starts_on", "ends_on", "reason"]
    list_select_related = ["site"]
    search_fields = ["site__name", "reason"]
    autocomplete_fields = ["site"]


@admin.register(models.CatchCanTest)
class CatchCanTestAdmin(ReadOnlyAdmin):
    list_display = ["zone", "tested_on", "minutes"]
    list_select_related = ["zone"]
    search_fields = ["zone__name", "zone__site__name"]


@admin.register(models.ForecastDay)
class ForecastDayAdmin(ReadOnlyAdmin):
    list_display = ["station", "date", "temp_max_c", "temp_min_c", "precipitation_mm", "eto_mm"]
    list_select_related = ["station"]
    search_fields = ["station__name"]
