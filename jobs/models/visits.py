import datetime as dt
import uuid
from typing import Self

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from jobs.core.rulebook import SERVICE_PLAN, VISIT_TERMS
from jobs.models.team import OfficeRows, Skill
from sites.models import Role, Site, User
from sites.models.rows import ScopedRows
from sites.models.ruled import RuledRow, column


class VisitKind(models.TextChoices):
    STARTUP = "startup", "startup"
    MID_SEASON = "mid_season", "mid-season check"
    WINTERISATION = "winterisation", "winterization"
    REPAIR = "repair", "repair"


class ServicePlan(RuledRow):
    """Which seasonal visits a site has ordered. A site without one gets visits only when they are asked for."""

    rules = SERVICE_PLAN

    site = models.OneToOneField(Site, on_delete=models.CASCADE, related_name="service_plan")
    startup = column(SERVICE_PLAN["startup"])
    mid_season_visits = column(SERVICE_PLAN["mid_season_visits"], models.PositiveSmallIntegerField)
    winterisation = column(SERVICE_PLAN["winterisation"])

    objects = OfficeRows.as_manager()

    def __str__(self) -> str:
        return f"service plan of {self.site}"


class VisitTerms(RuledRow):
    """What a site asks of whoever visits it, what its client prefers, and how frost comes there.

    The planner must keep the skills; it keeps the preferences where they cost little driving.
    """

    rules = VISIT_TERMS

    site = models.OneToOneField(Site, on_delete=models.CASCADE, related_name="visit_terms")
    skills = models.ManyToManyField(Skill, blank=True, related_name="+", help_text="For every visit here.")
    preferred_technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    preferred_weekdays = column(VISIT_TERMS["preferred_weekdays"], default=list)
    frost_days = column(VISIT_TERMS["frost_days"], models.SmallIntegerField)
    frost_note = column(VISIT_TERMS["frost_note"])

    objects = OfficeRows.as_manager()

    def __str__(self) -> str:
        return f"how {self.site} wants to be visited"


class SeasonWindow(models.Model):
    """When one kind of visit may and must happen in a season, with the reason a person can check.

    With `chance` each site has a date of its own inside the window, from the freeze history for its elevation.
    """

    season_year = models.PositiveIntegerField()
    kind = models.CharField(max_length=15, choices=VisitKind)
    opens_on = models.DateField()
    due_on = models.DateField()
    reason = models.CharField(max_length=300, blank=True)
    chance = models.FloatField(
        null=True, blank=True, validators=[MinValueValidator(0.01), MaxValueValidator(0.5)], help_text="0 to 1."
    )

    objects = OfficeRows.as_manager()

    class Meta:
        ordering = ["season_year", "opens_on"]
        constraints = [
            models.UniqueConstraint(fields=["season_year", "kind"], name="season_window_once_per_kind"),
            models.CheckConstraint(
                name="season_window_ends_after_it_opens",
                condition=Q(due_on__gte=F("opens_on")),
                violation_error_message="The window must end on or after the day it opens.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.season_year}"


class VisitQuerySet(ScopedRows["Visit"]):
    def visible_to(self, user: User) -> Self:
        """Owner and office: all. Technician: own. Client: finished visits of own sites."""
        if user.role in (Role.OWNER, Role.OFFICE):
            return self
        if user.role == Role.TECHNICIAN:
            return self.filter(technician=user).exclude(state=Visit.State.CANCELLED)
        if user.role == Role.CLIENT and user.client_id:
            return self.filter(site__client_id=user.client_id, state=Visit.State.FINISHED)
        return self.none()

    def to_do(self) -> Self:
        return self.filter(state__in=[Visit.State.OPEN, Visit.State.PLANNED, Visit.State.STARTED])


class Visit(models.Model):
    class State(models.TextChoices):
        OPEN = "open", "to be planned"
        PLANNED = "planned", "planned"
        STARTED = "started", "started"
        FINISHED = "finished", "finished"
        CANCELLED = "cancelled", "cancelled"

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="visits")
    kind = models.CharField(max_length=15, choices=VisitKind)
    season_year = models.PositiveIntegerField()
    sequence = models.PositiveSmallIntegerField(
        default=1, help_text="First, second ... visit of its kind this season."
    )
    state = models.CharField(max_length=10, choices=State, default=State.OPEN)
    opens_on = models.DateField("not before")
    due_on = models.DateField("no later than")
    own_dates = models.BooleanField(default=False, help_text="Set by hand: they follow no window.")
    window_reason = models.CharField(max_length=300, blank=True, help_text="What the dates are based on.")
    skills = models.ManyToManyField(Skill, blank=True, related_name="+", help_text="Beside those of kind and site.")
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    planned_on = models.DateField(null=True, blank=True)
    position = models.PositiveSmallIntegerField(null=True, blank=True, help_text="Place in the day's route.")
    arrives_at = models.TimeField("planned arrival", null=True, blank=True)
    leaves_at = models.TimeField("planned departure", null=True, blank=True)
    promised = models.BooleanField(
        default=False, help_text="The client was told this day; it does not move by itself."
    )
    promised_time = models.TimeField(
        null=True, blank=True, help_text="The client was told this time, too. Empty: the day only."
    )
    promised_until = models.TimeField(
        null=True, blank=True, help_text="End of the hours told, for the start of work. Empty: exactly the time."
    )
    service_min = models.PositiveSmallIntegerField(
        "time on site", help_text="Minutes.", validators=[MinValueValidator(1)]
    )
    instructions = models.TextField(blank=True, help_text="From the office to the technician.")
    checklist = models.ForeignKey(
        "jobs.ChecklistTemplate", null=True, blank=True, on_delete=models.PROTECT, related_name="visits"
    )
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    technician_notes = models.TextField(blank=True)
    signed_by = models.CharField("client's name at sign-off", max_length=120, blank=True)

    objects = VisitQuerySet.as_manager()

    class Meta:
        ordering = ["planned_on", "technician", "position", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "kind", "season_year", "sequence"],
                condition=~Q(kind="repair") & ~Q(state="cancelled"),
                name="seasonal_visit_once",
            ),
            models.CheckConstraint(
                name="visit_due_after_it_opens",
                condition=Q(due_on__gte=F("opens_on")),
                violation_error_message="The latest date must be on or after the earliest.",
            ),
            models.CheckConstraint(
                name="visit_planned_has_day_and_technician",
                condition=~Q(state="planned") | (Q(technician__isnull=False) & Q(planned_on__isnull=False)),
            ),
            models.CheckConstraint(
                name="visit_promised_time_needs_promise",
                condition=Q(promised_time=None) | Q(promised=True),
                violation_error_message="Promise the day before you promise a time.",
            ),
            models.CheckConstraint(
                name="visit_promised_hours_end_after_they_start",
                condition=Q(promised_until=None)
                | Q(promised_time__isnull=False, promised_until__gt=F("promised_time")),
                violation_error_message="The promised hours must end after they start.",
            ),
            models.CheckConstraint(
                name="visit_finished_after_it_started",
                condition=Q(finished_at=None) | Q(finished_at__gte=F("started_at")),
                violation_error_message="The visit must finish after it starts.",
            ),
        ]
        indexes = [
            models.Index(fields=["planned_on", "technician"]),
            models.Index(fields=["season_year", "kind"]),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} at {self.site}"

    @property
    def placed(self) -> tuple[int, dt.date]:
        """The technician's number and the day of a visit that has a place; ValueError where it has none."""
        if self.technician_id is None or self.planned_on is None:
            raise ValueError(f"{self} has no technician and day yet")
        return self.technician_id, self.planned_on

    @property
    def is_open(self) -> bool:
        return self.state in (Visit.State.OPEN, Visit.State.PLANNED, Visit.State.STARTED)


class DayRoute(models.Model):
    """The driven route of one technician's day: what the planner computed for the visits' order."""

    technician = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="day_routes")
    date = models.DateField()
    computed_at = models.DateTimeField(auto_now=True)
    drive_min = models.FloatField()
    drive_km = models.FloatField()
    travel_source = models.CharField(max_length=80)
    lunch_at = models.TimeField(null=True, blank=True)
    back_at = models.TimeField(null=True, blank=True)
    warnings = models.JSONField(default=list)

    class Meta:
        ordering = ["date", "technician"]
        constraints = [models.UniqueConstraint(fields=["technician", "date"], name="day_route_once")]

    def __str__(self) -> str:
        return f"{self.technician} on {self.date}"
