"""What the soil of a site's zones needs this week, beside the month's plan for controllers set by hand."""

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass

from django.db.models import Prefetch

from scheduling.core.water.week import ThisWeek
from scheduling.models import Program, ProgramStep, SeasonSchedule, ZoneMonth
from scheduling.queries.calendar import ONE_DAY
from scheduling.queries.nights import days_before
from scheduling.queries.snapshot import thaw_advice
from sites.models import Zone


@dataclass(frozen=True)
class TwoAnswers:
    """`starts` are the days on which the zone's program starts at the controller for the week's waterings."""

    zone: Zone
    week: ThisWeek
    month: ZoneMonth
    starts: tuple[dt.date, ...]


def two_answers(schedule: SeasonSchedule) -> tuple[TwoAnswers, ...]:
    """A row a zone that was looked ahead for; nothing where the schedule rests on a month's normal."""
    advice = schedule.basis.get("advice", {})
    months = ZoneMonth.objects.filter(schedule=schedule, month=schedule.month, zone__in=list(advice))
    rows = months.select_related("zone").order_by("zone__number")
    programs = programs_of_zones(schedule)
    found = []
    for row in rows:
        week = thaw_advice(advice[str(row.zone_id)])
        before = days_before(programs[row.zone_id], schedule.site, week) * ONE_DAY
        found.append(TwoAnswers(row.zone, week, row, tuple(date - before for date in week.dates)))
    return tuple(found)


def programs_of_zones(schedule: SeasonSchedule) -> dict[int, list[Program]]:
    """By zone, the programs that water it, the first in rank first."""
    by_zone: dict[int, list[Program]] = defaultdict(list)
    for program in schedule.programs.filter(enabled=True).prefetch_related(
        Prefetch("steps", ProgramStep.objects.filter(enabled=True))
    ):
        program.schedule = schedule
        for step in program.steps.all():
            by_zone[step.zone_id].append(program)
    return by_zone


def shared_litres(answers: tuple[TwoAnswers, ...]) -> float:
    """What sharing the days of programs costs in the week, over the zones whose flow is known."""
    return sum(row.week.shared_l or 0.0 for row in answers)
