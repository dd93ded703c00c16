import datetime as dt
from typing import Self

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from sites.models import Controller, Site, User, Zone
from sites.models.places import every_weekday, site_scope, validate_weekdays
from sites.models.rows import ScopedRows


def no_month_known() -> list[float | None]:
    """Twelve months without a figure."""
    return [None] * 12


class SeasonScheduleQuerySet(ScopedRows["SeasonSchedule"]):
    def visible_to(self, user: User) -> Self:
        rows = self.filter(site_scope(user))
        if user.role in ("owner", "office"):
            return rows
        drafts = Q(state=SeasonSchedule.State.DRAFT)
        # A technician reads the draft that he is to set at the controller.
        return rows.exclude(drafts & Q(for_next_visit_at=None) if user.role == "technician" else drafts)

    def published(self) -> Self:
        return self.filter(state=SeasonSchedule.State.PUBLISHED)


class SeasonSchedule(models.Model):
    """One revision of a site's watering for a season. Draft until published; then only superseded, never edited."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        PUBLISHED = "published", "published"
        SUPERSEDED = "superseded", "superseded"

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="schedules")
    season_year = models.PositiveIntegerField()
    revision = models.PositiveIntegerField()
    state = models.CharField(max_length=12, choices=State, default=State.DRAFT)
    month = models.PositiveSmallIntegerField(help_text="The month whose minutes are in the programs.")
    week_starts_on = models.DateField(help_text="The week the programs were computed for.")
    computed_at = models.DateTimeField(auto_now_add=True)
    computed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    superseded_at = models.DateTimeField(null=True, blank=True)
    basis = models.JSONField(default=dict, help_text="Weather station, span and method the figures rest on.")
    warnings = models.JSONField(default=list, help_text="What did not fit or could not be computed, in words.")
    not_computed = models.JSONField(default=list, help_text="[{zone_id, zone, needs}] zones without enough data.")
    litres_per_week = models.FloatField(
        null=True, blank=True, help_text="Water of a week by the programs; empty where no zone's flow is known."
    )
    litres_by_month = models.JSONField(
        default=no_month_known,
        help_text="Water of each month by the table of months, January first; null where no zone's is known.",
    )
    published_week = models.JSONField(
        null=True,
        blank=True,
        help_text="Of a draft: litres of the week from tomorrow by the schedule published when it was computed, what "
        "of them the soil cannot take and what is lacking; null where how wet the soil is was not known.",
    )
    edited_at = models.DateTimeField(
        null=True, blank=True, help_text="When a person changed the computed programs of this draft."
    )
    own_programs = models.BooleanField(
        default=False,
        help_text="A person shaped its programs: the next draft keeps them with new minutes.",
    )
    for_next_visit_at = models.DateTimeField(
        null=True, blank=True, help_text="When this draft was put on the sheet of the site's next visit."
    )

    objects = SeasonScheduleQuerySet.as_manager()

    class Meta:
        ordering = ["site", "-season_year", "-revision"]
        constraints = [
            models.UniqueConstraint(fields=["site", "season_year", "revision"], name="schedule_revision_once"),
            models.UniqueConstraint(
                fields=["site"], condition=Q(state="published"), name="schedule_one_published_per_site"
            ),
            models.UniqueConstraint(fields=["site"], condition=Q(state="draft"), name="schedule_one_draft_per_site"),
            models.CheckConstraint(
                name="schedule_published_has_a_time",
                condition=Q(state="draft") | Q(published_at__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.site} {self.season_year} revision {self.revision}"


class ZoneMonth(models.Model):
    """What one zone needs in one month of the season and what that is in minutes and litres."""

    schedule = models.ForeignKey(SeasonSchedule, on_delete=models.CASCADE, related_name="zone_months")
    zone = models.ForeignKey(Zone, on_delete=models.CASCADE, related_name="months")
    month = models.PositiveSmallIntegerField()
    reference_et_mm = models.FloatField()
    plant_factor = models.FloatField()
    effective_rain_mm = models.FloatField()
    net_need_mm = models.FloatField()
    run_time_min_per_week = models.FloatField()
    days_per_week = models.FloatField()
    run_time_min = models.FloatField(help_text="Minutes on a watering day, all cycles together.")
    cycles = models.PositiveSmallIntegerField(default=1)
    soak_min = models.FloatField(default=0)
    percent_of_peak = models.FloatField()
    water_l = models.FloatField(
        null=True, help_text="Litres in the month; empty where neither flow nor area is known."
    )
    derivation = models.JSONField(
        default=dict, help_text="What `queries.explain` needs beside the schedule's basis to explain the figures."
    )

    class Meta:
        ordering = ["schedule", "zone__number", "month"]
        constraints = [
            models.UniqueConstraint(fields=["schedule", "zone", "month"], name="zone_month_once"),
            models.CheckConstraint(name="zone_month_in_year", condition=Q(month__gte=1) & Q(month__lte=12)),
        ]

    def __str__(self) -> str:
        return f"{self.zone} month {self.month}"


def validate_clock_times(value: list) -> None:
    """Clock times as HH:MM, each once."""
    if not isinstance(value, list) or len(set(map(str, value))) != len(value):
        raise ValidationError("Start times are a list of clock times, each once.")
    for text in value:
        try:
            dt.time.fromisoformat(text)
        except (TypeError, ValueError):
            raise ValidationError(f"{text} is not a clock time. Write it as HH:MM.") from None


class Program(models.Model):
    """A set of steps that a controller runs on the same days from the same start times."""

    class DayRule(models.TextChoices):
        WEEKDAYS = "weekdays", "on weekdays"
        INTERVAL = "interval", "every n days"
        ODD = "odd", "on odd dates, without the 31st"
        EVEN = "even", "on even dates"

    schedule = models.ForeignKey(SeasonSchedule, on_delete=models.CASCADE, related_name="programs")
    controller = models.ForeignKey(Controller, on_delete=models.CASCADE, related_name="programs")
    name = models.CharField(max_length=40)
    priority = models.PositiveSmallIntegerField(
        default=1,
        validators=[MinValueValidator(1), MaxValueValidator(99)],
        help_text="Where two programs meet, the smaller number goes first.",
    )
    starts_at = models.TimeField()
    further_starts = models.JSONField(default=list, blank=True, validators=[validate_clock_times])
    day_rule = models.CharField("days", max_length=10, choices=DayRule, default=DayRule.WEEKDAYS)
    weekdays = models.JSONField(default=every_weekday, validators=[validate_weekdays])
    every_n_days = models.PositiveSmallIntegerField(
        default=2, validators=[MinValueValidator(1), MaxValueValidator(60)]
    )
    counted_from = models.DateField(null=True, blank=True, help_text="A day on which the interval falls.")
    active_from = models.DateField("first day", null=True, blank=True)
    active_until = models.DateField("last day", null=True, blank=True)
    enabled = models.BooleanField("program is on", default=True)

    class Meta:
        ordering = ["schedule", "controller", "priority", "pk"]
        constraints = [
            models.CheckConstraint(
                name="program_ends_after_it_begins",
                condition=Q(active_from=None) | Q(active_until=None) | Q(active_until__gte=F("active_from")),
                violation_error_message="The last day must not lie before the first.",
            ),
            models.CheckConstraint(name="program_interval_at_least_a_day", condition=Q(every_n_days__gte=1)),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def start_times(self) -> tuple[dt.time, ...]:
        """Every start of a watering day, the earliest clock time first."""
        further = (dt.time.fromisoformat(text) for text in self.further_starts)
        return tuple(sorted({self.starts_at, *further}))


class ProgramStep(models.Model):
    program = models.ForeignKey(Program, on_delete=models.CASCADE, related_name="steps")
    zone = models.ForeignKey(Zone, on_delete=models.CASCADE, related_name="steps")
    position = models.PositiveSmallIntegerField()
    run_time_min = models.FloatField(help_text="Minutes on a watering day, all cycles together.")
    cycles = models.PositiveSmallIntegerField(default=1)
    soak_min = models.FloatField(default=0)
    enabled = models.BooleanField(default=True)
    as_computed = models.BooleanField(
        default=False, help_text="Follows what is computed for the zone; else the minutes stay as typed."
    )

    class Meta:
        ordering = ["program", "position", "pk"]
        constraints = [
            models.CheckConstraint(name="step_run_time_positive", condition=Q(run_time_min__gt=0)),
            models.CheckConstraint(name="step_at_least_one_cycle", condition=Q(cycles__gte=1)),
        ]

    def __str__(self) -> str:
        return f"{self.program}: {self.zone} {self.run_time_min:g} min"


class AppliedSchedule(models.Model):
    """That a published revision was really set at the controller, by whom and when."""

    schedule = models.ForeignKey(SeasonSchedule, on_delete=models.PROTECT, related_name="applied")
    controller = models.ForeignKey(Controller, on_delete=models.CASCADE, related_name="applied_schedules")
    applied_on = models.DateField()
    applied_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["-applied_on", "-pk"]
        constraints = [
            models.UniqueConstraint(fields=["schedule", "controller"], name="schedule_applied_once_per_controller")
        ]

    def __str__(self) -> str:
        return f"{self.schedule} set on {self.applied_on}"


class WateringPauseQuerySet(ScopedRows["WateringPause"]):
    def visible_to(self, user: User) -> Self:
        return self.filter(site_scope(user))


class WateringPause(models.Model):
    """Watering stopped on purpose, both days included: rain, works, restrictions."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="pauses")
    starts_on = models.DateField()
    ends_on = models.DateField()
    reason = models.CharField(max_length=120)

    objects = WateringPauseQuerySet.as_manager()

    class Meta:
        ordering = ["site", "starts_on"]
        constraints = [
            models.CheckConstraint(
                name="pause_ends_after_it_starts",
                condition=Q(ends_on__gte=F("starts_on")),
                violation_error_message="The pause must end on or after the day it starts.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.site}: {self.reason} {self.starts_on} to {self.ends_on}"
