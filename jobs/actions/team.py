"""Technicians' hours, skills and absences."""

from collections.abc import Iterable

from django.core.exceptions import ValidationError
from django.db import transaction

from jobs.actions.skills import set_skills
from jobs.models import Absence, Skill, TechnicianProfile
from sites.actions import register
from sites.core import writing
from sites.models import Role, User


@transaction.atomic
def save_profile(
    *, profile: TechnicianProfile, skills: Iterable[Skill] | None = None, by: User | None
) -> TechnicianProfile:
    """Save how a technician's day is planned and, if given, what this person may do.

    ValidationError (by field), also for somebody who is no technician.
    """
    if profile.user.role != Role.TECHNICIAN:
        raise ValidationError(f"{profile.user} is not a technician.")
    register.save(instance=profile, by=by)
    if skills is not None:
        set_skills(row=profile, skills=skills, by=by)
    return profile


@transaction.atomic
def add_absence(*, absence: Absence, by: User | None) -> Absence:
    """Note days away. Visits already planned on them stay until somebody plans them again; the boards warn."""
    clash = Absence.objects.filter(
        technician=absence.technician, starts_on__lte=absence.ends_on, ends_on__gte=absence.starts_on
    ).first()
    if clash:
        raise ValidationError(f"Already away {writing.day_month(clash.starts_on)} to {writing.day(clash.ends_on)}.")
    register.save(instance=absence, by=by)
    return absence


@transaction.atomic
def delete_absence(*, absence: Absence, by: User | None) -> None:
    register.delete(instance=absence, by=by)
