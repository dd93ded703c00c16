import uuid

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from sites.models import Role, Site, User
from sites.models.people import LATITUDE, LONGITUDE
from sites.models.places import validate_weekdays


class VisitKind(models.TextChoices):
    STARTUP = "startup", "startup"
    MID_SEASON = "mid_season", "mid-season check"
    WINTERISATION = "winterisation", "winterisation"
    REPAIR = "repair", "repair"


def working_weekdays() -> list[int]:
    return [0, 1, 2, 3, 4]


class TechnicianProfile(models.Model):
    """How a technician's day is planned: hours, where it starts and ends, lunch."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="technician_profile")
    day_starts_at = models.TimeField(default="07:30")
    day_ends_at = models.TimeField(default="16:30")
    lunch_min = models.PositiveSmallIntegerField("lunch", default=30, help_text="Minutes.")
    working_weekdays = models.JSONField(default=working_weekdays, validators=[validate_weekdays])
    start_latitude = models.FloatField(
        null=True, blank=True, validators=LATITUDE, help_text="Empty: the firm's yard."
    )
    start_longitude = models.FloatField(null=True, blank=True, validators=LONGITUDE)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="technician_day_ends_after_it_starts",
                condition=Q(day_ends_at__gt=F("day_starts_at")),
                violation_error_message="The working day must end after it starts.",
            )
        ]

    def __str__(self) -> str:
        return str(self.user)


class Absence(models.Model):
    """Days on which a technician is not planned, both included."""

    technician = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="absences")
    starts_on = models.DateField()
    ends_on = models.DateField()
    reason = models.CharField(max_length=80, blank=True)

    class Meta:
        ordering = ["starts_on"]
        constraints = [
            models.CheckConstraint(
                name="absence_ends_after_it_starts",
                condition=Q(ends_on__gte=F("starts_on")),
                violation_error_message="The absence must end on or after the day it starts.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.technician} away {self.starts_on} to {self.ends_on}"


class OfficeRows(models.QuerySet):
    """Rows for owner and office only."""

    def visible_to(self, user: User) -> "OfficeRows":
        return self if user.is_office else self.none()


class ServicePlan(models.Model):
    """Which seasonal visits a site has ordered. A site without one gets visits only when they are asked for."""

    site = models.OneToOneField(Site, on_delete=models.CASCADE, related_name="service_plan")
    startup = models.BooleanField(default=True)
    mid_season_visits = models.PositiveSmallIntegerField(default=1, validators=[MaxValueValidator(12)])
    winterisation = models.BooleanField(default=True)

    objects = OfficeRows.as_manager()

    def __str__(self) -> str:
        return f"service plan of {self.site}"


class SeasonWindow(models.Model):
    """When one kind of visit may and must happen in a season, with the reason a person can check."""

    season_year = models.PositiveIntegerField()
    kind = models.CharField(max_length=15, choices=VisitKind)
    opens_on = models.DateField()
    due_on = models.DateField()
    reason = models.CharField(max_length=200, blank=True)

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

    class QuerySet(models.QuerySet):
        def visible_to(self, user: User) -> "Visit.QuerySet":
            """Owner and office: all. Technician: own. Client: finished visits of own sites."""
            if user.role in (Role.OWNER, Role.OFFICE):
                return self
            if user.role == Role.TECHNICIAN:
                return self.filter(technician=user).exclude(state=Visit.State.CANCELLED)
            if user.role == Role.CLIENT and user.client_id:
                return self.filter(site__client_id=user.client_id, state=Visit.State.FINISHED)
            return self.none()

        def to_do(self) -> "Visit.QuerySet":
            return self.filter(state__in=[Visit.State.OPEN, Visit.State.PLANNED, Visit.State.STARTED])

    objects = QuerySet.as_manager()

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
