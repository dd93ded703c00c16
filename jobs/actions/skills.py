"""The skills of a technician, a site or a visit."""

from collections.abc import Iterable

from django.db import transaction

from jobs.models import Skill, TechnicianProfile, Visit, VisitTerms
from sites.actions.audit import record
from sites.models import User


@transaction.atomic
def set_skills(*, row: TechnicianProfile | VisitTerms | Visit, skills: Iterable[Skill], by: User | None) -> None:
    """Replace the skills of a stored row; the audit tells what they are now if they changed."""
    before, after = set(row.skills.all()), set(skills)
    if before != after:
        row.skills.set(after)
        record(by=by, verb="skills changed", subject=row, skills=sorted(map(str, after)))
