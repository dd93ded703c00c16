"""The team page: technicians with hours, skills and coming absences; the skills and what needs them."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.db.models import Prefetch

from jobs.models import Absence, Skill, TechnicianProfile, VisitKind
from sites.models import Role, User
from sites.models.places import WEEKDAYS


@dataclass(frozen=True)
class Member:
    user: User
    profile: TechnicianProfile | None
    weekdays: str
    skills: str
    absences: tuple[Absence, ...]


def team(today: dt.date) -> list[Member]:
    """Active technicians, absences from today on."""
    coming = Prefetch("absences", Absence.objects.filter(ends_on__gte=today), to_attr="coming")
    people = User.objects.filter(role=Role.TECHNICIAN, is_active=True)
    rows = people.select_related("technician_profile").prefetch_related(coming, "technician_profile__skills")
    return [_member(user) for user in rows.order_by("first_name", "last_name", "username")]


def _member(user: Any) -> Member:
    """From a person read with absences to come."""
    profile = getattr(user, "technician_profile", None)
    days = ", ".join(WEEKDAYS[day][:2] for day in sorted(profile.working_weekdays)) if profile else ""
    skills = ", ".join(map(str, profile.skills.all())) if profile else ""
    return Member(user, profile, days, skills, tuple(user.coming))


@dataclass(frozen=True)
class SkillRow:
    skill: Skill
    needed_for: str
    held_by: str


def skill_rows() -> list[SkillRow]:
    """Every skill, what needs it in words, and who has it."""
    return [
        SkillRow(skill, _needed_for(skill), ", ".join(str(profile) for profile in skill.technicians.all()))
        for skill in Skill.objects.prefetch_related("technicians__user")
    ]


def _needed_for(skill: Skill) -> str:
    kinds = [kind.label for kind in VisitKind if kind in skill.kinds]
    if not kinds:
        return "sites and visits that name it"
    return f"{', '.join(kinds)} {skill.get_plant_display()}"
