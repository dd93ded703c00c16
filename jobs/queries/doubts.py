"""What speaks against a visit's day or technician without forbidding it: a person is asked before it is stored."""

import datetime as dt

from jobs.models import Visit
from jobs.queries.planning import closed_days, minute_of, open_hours, time_at, why_away, work_hours
from jobs.queries.skills import SkillNeeds, skills_of
from sites.core import writing
from sites.models import User
from sites.models.places import WEEKDAYS


def doubts(visit: Visit, technician: User, date: dt.date) -> list[tuple[str, str]]:
    """(field, words) for each reason to ask before this visit is put there; the one place where they are collected.

    The fields are those of `assign`: planned_on and technician. Wants a technician of `planning_technicians`.
    """
    found = [("planned_on", f"{words[0].upper()}{words[1:]}.") for words in date_doubts(visit, date)]
    closed = closed_days(date, date)
    if away := why_away(technician, date, closed):
        found.append(("planned_on" if date in closed else "technician", f"{away}."))
    if lacking := lacking_skills(visit, technician, SkillNeeds.of([visit])):
        found.append(("technician", f"{lacking}."))
    return found


def promise_doubts(visit: Visit, time: dt.time) -> list[tuple[str, str]]:
    """(field, words) for each reason to ask before this exact time is promised for a visit that has its day."""
    begins, ends = minute_of(time), minute_of(time) + visit.service_min
    found, work = [], f"The work takes {visit.service_min} min"
    if hours := open_hours(visit):
        if begins < hours[0]:
            found.append(f"The site opens at {_clock(hours[0])}.")
        elif ends > hours[1]:
            found.append(f"{work} and the site closes at {_clock(hours[1])}.")
    if shift := work_hours(visit.technician):
        if begins < shift[0]:
            found.append(f"{visit.technician} starts at {_clock(shift[0])}.")
        elif ends > shift[1]:
            found.append(f"{work} and the day of {visit.technician} ends at {_clock(shift[1])}.")
    return [("promised_time", words) for words in found]


def _clock(minute: int) -> str:
    return f"{time_at(minute * 60):%H:%M}"


def date_doubts(visit: Visit, date: dt.date) -> list[str]:
    """What speaks against this day, whoever drives."""
    texts = []
    if date.weekday() not in visit.site.open_weekdays:
        texts.append(f"closed on {WEEKDAYS[date.weekday()]}s")
    if date > visit.due_on:
        late = (date - visit.due_on).days
        texts.append(f"{late} day{'s' if late > 1 else ''} after its deadline")
    if date < visit.opens_on:
        texts.append(f"before its window opens on {writing.day_month(visit.opens_on)}")
    return texts


def lacking_skills(visit: Visit, technician: User, needs: SkillNeeds) -> str:
    """What the visit needs and this technician has not, or nothing."""
    missing = sorted(needs.of_visit(visit) - skills_of(technician))
    return f"{technician} lacks a skill: {', '.join(missing)}" if missing else ""
