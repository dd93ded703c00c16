from django.conf import settings
from django.db import models
from django.db.models import Q

from sites.core import writing


class Replan(models.Model):
    """A new plan after an upset, as it was proposed to a person: nothing is changed before it is accepted."""

    class Upset(models.TextChoices):
        AWAY = "away", "technician away"
        FROST = "frost", "frost earlier than planned"
        CALL_OUT = "call_out", "urgent call-out"
        CANCELLED = "cancelled", "client cancels"

    class State(models.TextChoices):
        PROPOSED = "proposed", "waiting for a decision"
        ACCEPTED = "accepted", "accepted"
        DISCARDED = "discarded", "discarded"

    upset = models.CharField(max_length=10, choices=Upset)
    detail = models.JSONField(help_text="What happened, in the words of the action that applies it.")
    first_day = models.DateField()
    last_day = models.DateField()
    # What the proposal was computed from; if that has changed, it can no longer be accepted.
    fingerprint = models.CharField(max_length=64)
    proposal = models.JSONField(help_text="Each day's order, and what changes for whom.")
    state = models.CharField(max_length=9, choices=State, default=State.PROPOSED)
    asked_at = models.DateTimeField(auto_now_add=True)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    decided_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-pk"]
        constraints = [
            models.CheckConstraint(
                name="replan_decided_when_not_proposed",
                condition=Q(state="proposed", decided_at=None) | ~Q(state="proposed") & Q(decided_at__isnull=False),
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_upset_display()}, {writing.day_time(self.asked_at)}"
