import datetime as dt
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from sites.models import User
from sites.models.rows import ScopedRows

# A planner says that it is alive at every step; one silent for so long has died with its process.
SILENT_MIN = 5


class PlanRunQuerySet(ScopedRows["PlanRun"]):
    def visible_to(self, user: User) -> Self:
        return self if user.is_office else self.none()

    def to_decide(self, today: dt.date) -> Self:
        """Plans that wait for a decision and can still be accepted: their first day is not past."""
        return self.filter(state=PlanRun.State.PROPOSED, first_day__gte=today)

    def live(self) -> Self:
        return self.filter(state__in=PlanRun.LIVE)

    def silent(self) -> Self:
        """Running rows whose process has died."""
        since = timezone.now() - dt.timedelta(minutes=SILENT_MIN)
        return self.filter(state=PlanRun.State.RUNNING, heard_at__lt=since)


class PlanRun(models.Model):
    """One computation of a season plan: what was asked, how far it is, what came out. Waiting rows are the queue."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "running"
        PROPOSED = "proposed", "waiting for a decision"
        DONE = "done", "accepted"
        DISCARDED = "discarded", "discarded"
        FAILED = "failed", "failed"

    LIVE = (State.WAITING, State.RUNNING)

    season_year = models.PositiveIntegerField()
    kinds = models.JSONField(help_text="Kinds of visit to plan.")
    first_day = models.DateField()
    last_day = models.DateField()
    seed = models.PositiveIntegerField(default=1)
    seconds = models.PositiveIntegerField(null=True, blank=True, help_text="Time limit.")
    rounds = models.PositiveIntegerField(null=True, blank=True, help_text="Searches per stage; empty: by size.")
    keep_planned = models.BooleanField(default=False, help_text="Planned visits stay, promised or not.")
    spread = models.BooleanField(
        default=False, help_text="All kinds spread through their windows, not the mid-season checks alone."
    )
    accept_at_once = models.BooleanField(default=False, help_text="Stored without asking a person first.")
    asked_at = models.DateTimeField(auto_now_add=True)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL)
    state = models.CharField(max_length=9, choices=State, default=State.WAITING)
    heard_at = models.DateTimeField(default=timezone.now, help_text="Last sign of life.")
    stop_asked = models.BooleanField(default=False)
    progress = models.JSONField(default=dict, help_text="stage, done, total, unplaced, drive_min")
    summary = models.JSONField(default=dict)
    # What a person decides on: each day's order, and what it was computed from.
    orders = models.JSONField(default=list, help_text="(technician id, ISO date, visit ids in driving order)")
    fingerprint = models.CharField(max_length=64, blank=True)
    decided_at = models.DateTimeField(null=True, blank=True)
    error = models.TextField(blank=True)
    # The same in every row: with the constraint below it lets only one live row exist, in any database.
    lock = models.PositiveSmallIntegerField(default=1, editable=False)

    objects = PlanRunQuerySet.as_manager()

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["lock"], condition=Q(state__in=["waiting", "running"]), name="one_planner_at_a_time"
            ),
            models.CheckConstraint(name="plan_run_ends_after_it_begins", condition=Q(last_day__gte=F("first_day"))),
        ]

    def __str__(self) -> str:
        return f"plan {self.season_year}, {self.first_day} to {self.last_day}"

    @property
    def is_live(self) -> bool:
        return self.state in self.LIVE
