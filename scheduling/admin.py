"""Weather and schedules in Django's admin, for superusers only."""

from django.contrib import admin

from scheduling import models
from sites.admin import ReadOnlyAdmin, register_tables


class ProgramStepInline(admin.TabularInline):
    model = models.ProgramStep
    extra = 0
    can_delete = False
    raw_id_fields = ["zone"]


@admin.register(models.Program)
class ProgramAdmin(ReadOnlyAdmin):
    inlines = [ProgramStepInline]


register_tables("scheduling", written=[models.DailyWeather, models.WateringPause])
