"""The week's water of a schedule as its programs stand now."""

from dataclasses import dataclass

from scheduling.models import ProgramStep, SeasonSchedule, ZoneMonth
from scheduling.queries.calendar import starts_per_week


@dataclass(frozen=True)
class ZoneWeek:
    """One zone's week by the programs; litres None where its flow is unknown."""

    zone_id: int
    minutes: float
    litres: float | None


def zone_flows(schedule: SeasonSchedule) -> dict[int, float | None]:
    """L/min of each zone as the schedule was computed with."""
    rows = ZoneMonth.objects.filter(schedule=schedule, month=schedule.month)
    return dict(rows.values_list("zone_id", "derivation__flow_l_min"))


def zone_weeks(schedule: SeasonSchedule) -> dict[int, ZoneWeek]:
    """Minutes and litres of a week by zone, from the enabled steps."""
    flows = zone_flows(schedule)
    minutes: dict[int, float] = dict.fromkeys(flows, 0.0)
    steps = ProgramStep.objects.filter(program__schedule=schedule, enabled=True).select_related("program")
    for step in steps:
        starts = starts_per_week(step.program, schedule.site)
        minutes[step.zone_id] = minutes.get(step.zone_id, 0.0) + step.run_time_min * starts
    weeks = {}
    for zone_id, total in minutes.items():
        flow = flows.get(zone_id)
        weeks[zone_id] = ZoneWeek(zone_id, total, None if flow is None else total * flow)
    return weeks


def litres_per_week(schedule: SeasonSchedule) -> float | None:
    """Water of a week over the zones whose flow is known; None where none is."""
    known = [week.litres for week in zone_weeks(schedule).values() if week.litres is not None]
    return sum(known) if known else None
