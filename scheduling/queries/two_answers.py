"""What the soil of a site's zones needs this week, beside the month's plan for controllers set by hand."""

from dataclasses import dataclass

from scheduling.core.water.week import ThisWeek
from scheduling.models import SeasonSchedule, ZoneMonth
from scheduling.queries.snapshot import thaw_advice
from sites.models import Zone


@dataclass(frozen=True)
class TwoAnswers:
    zone: Zone
    week: ThisWeek
    month: ZoneMonth


def two_answers(schedule: SeasonSchedule) -> tuple[TwoAnswers, ...]:
    """A row a zone that was looked ahead for; nothing where the schedule rests on a month's normal."""
    advice = schedule.basis.get("advice", {})
    months = ZoneMonth.objects.filter(schedule=schedule, month=schedule.month, zone__in=list(advice))
    rows = months.select_related("zone").order_by("zone__number")
    return tuple(TwoAnswers(row.zone, thaw_advice(advice[str(row.zone_id)]), row) for row in rows)


def shared_litres(answers: tuple[TwoAnswers, ...]) -> float:
    """What sharing the days of programs costs in the week, over the zones whose flow is known."""
    return sum(row.week.shared_l or 0.0 for row in answers)
