"""Visits, checklists and what was found, in Django's admin, for superusers only."""

from django.contrib import admin

from jobs import models
from sites.admin import NotAddedAdmin, TableAdmin, register_tables


class ChecklistItemInline(admin.TabularInline):
    model = models.ChecklistItem
    extra = 0


@admin.register(models.ChecklistTemplate)
class ChecklistTemplateAdmin(TableAdmin):
    inlines = [ChecklistItemInline]


@admin.register(models.TravelLeg)
class TravelLegAdmin(NotAddedAdmin):
    """Filled by the planner; what is taken out is asked for again."""


@admin.register(models.CalendarFeed)
class CalendarFeedAdmin(NotAddedAdmin):
    exclude = ["token_sha256"]


register_tables(
    "jobs",
    written=[
        models.TechnicianProfile,
        models.Skill,
        models.ClosedDays,
        models.Absence,
        models.ServicePlan,
        models.VisitTerms,
        models.SeasonWindow,
        models.Visit,
        models.ChecklistItem,
        models.Fault,
        models.PriceItem,
    ],
)
