"""Who works when, and who may do what."""

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from sites.models import User
from sites.models.people import LATITUDE, LONGITUDE
from sites.models.places import validate_weekdays
from sites.models.rows import Row, ScopedRows


def working_weekdays() -> list[int]:
    return [0, 1, 2, 3, 4]


class OfficeRows(ScopedRows[Row]):
    """Rows for owner and office only."""

    def visible_to(self, user: User) -> Self:
        return self if user.is_office else self.none()


class Skill(models.Model):
    """What only some technicians may do: a certificate, a training. It says itself which visits need it."""

    class Plant(models.TextChoices):
        ANY = "any", "at every site"
        PUMP = "pump", "only at sites with a pump"
        BACKFLOW = "backflow", "only at sites with a backflow assembly"

    name = models.CharField(max_length=60, unique=True)
    kinds = models.JSONField("needed for", default=list, blank=True, help_text="Kinds of visit.")
    plant = models.CharField("where", max_length=8, choices=Plant, default=Plant.ANY)

    objects = OfficeRows.as_manager()

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class TechnicianProfile(models.Model):
    """How a technician's day is planned: hours, where it starts and ends, lunch, and what this person may do."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="technician_profile")
    day_starts_at = models.TimeField(default="07:30")
    day_ends_at = models.TimeField(default="16:30")
    lunch_min = models.PositiveSmallIntegerField("lunch", default=30, help_text="Minutes.")
    working_weekdays = models.JSONField(default=working_weekdays, validators=[validate_weekdays])
    start_latitude = models.FloatField(
        null=True, blank=True, validators=LATITUDE, help_text="Empty: the firm's yard."
    )
    start_longitude = models.FloatField(null=True, blank=True, validators=LONGITUDE)
    skills = models.ManyToManyField(Skill, blank=True, related_name="technicians")

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


class ClosedDays(models.Model):
    """Days on which the whole firm is closed, both included: public holidays, the winter break."""

    starts_on = models.DateField()
    ends_on = models.DateField()
    reason = models.CharField(max_length=80)

    objects = OfficeRows.as_manager()

    class Meta:
        ordering = ["starts_on"]
        constraints = [
            models.CheckConstraint(
                name="closed_days_end_after_they_start",
                condition=Q(ends_on__gte=F("starts_on")),
                violation_error_message="The last day must not lie before the first.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.reason}, {self.starts_on} to {self.ends_on}"
