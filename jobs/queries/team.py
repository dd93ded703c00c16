"""The team page: technicians with hours and coming absences."""

import datetime as dt
from dataclasses import dataclass

from django.db.models import Prefetch

from jobs.models import Absence, TechnicianProfile
from sites.models import Role, User
from sites.models.places import WEEKDAYS


@dataclass(frozen=True)
class Member:
    user: User
    profile: TechnicianProfile | None
    weekdays: str
    absences: tuple[Absence, ...]


def team(today: dt.date) -> list[Member]:
    """Active technicians, absences from today on."""
    coming = Prefetch("absences", Absence.objects.filter(ends_on__gte=today), to_attr="coming")
    people = User.objects.filter(role=Role.TECHNICIAN, is_active=True)
    rows = people.select_related("technician_profile").prefetch_related(coming)
    return [_member(user) for user in rows.order_by("first_name", "last_name", "username")]


def _member(user: User) -> Member:
    profile = getattr(user, "technician_profile", None)
    days = ", ".join(WEEKDAYS[day][:2] for day in sorted(profile.working_weekdays)) if profile else ""
    return Member(user, profile, days, tuple(user.coming))
