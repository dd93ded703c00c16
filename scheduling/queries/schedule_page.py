"""A schedule as a person reads it: programs with days and end, months by zones, the change against the last one."""

import datetime as dt
import math
from dataclasses import dataclass

from django.db.models import Prefetch

from scheduling.models import AppliedSchedule, Program, ProgramStep, SeasonSchedule, ZoneMonth
from scheduling.queries.nights import lasts_min
from scheduling.queries.water_now import zone_flows, zone_weeks
from sites.core import writing
from sites.models import Controller, Site, Zone

SHORT_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
SHADES = 5


@dataclass(frozen=True)
class StepLine:
    step: ProgramStep
    litres: float | None

    @property
    def cycles_words(self) -> str:
        """ "2 × 9 min, 78 min soak" or nothing for one run."""
        if self.step.cycles <= 1:
            return ""
        step = self.step
        return f"{step.cycles} × {step.run_time_min / step.cycles:g} min, {step.soak_min:g} min soak"


@dataclass(frozen=True)
class ProgramCard:
    program: Program
    days: str
    ends_at: dt.time
    steps: tuple[StepLine, ...]
    minutes: float


@dataclass(frozen=True)
class ControllerCard:
    controller: Controller
    programs: tuple[ProgramCard, ...]
    applied: AppliedSchedule | None


@dataclass(frozen=True)
class MonthCell:
    """`shade` 0 to 5 goes with the percent of the peak month."""

    month: int
    minutes_per_week: float
    days_per_week: float
    shade: int


@dataclass(frozen=True)
class ZoneRow:
    zone: Zone
    cells: tuple[MonthCell, ...]
    litres: float | None


@dataclass(frozen=True)
class ZoneChange:
    """One zone's week in the published schedule and in the draft; None where a schedule does not hold it."""

    zone: Zone
    published_min: float | None
    draft_min: float | None

    @property
    def difference_min(self) -> float:
        return (self.draft_min or 0.0) - (self.published_min or 0.0)


@dataclass(frozen=True)
class ScheduleSheet:
    schedule: SeasonSchedule
    controllers: tuple[ControllerCard, ...]
    zones: tuple[ZoneRow, ...]
    litres_per_week: float | None


def program_days(program: Program, site: Site) -> str:
    """ "Mon, Wed, Fri", "every 3 days", with the dates between which the program is in force."""
    rule = program.day_rule
    if rule == Program.DayRule.INTERVAL:
        since = program.counted_from or program.schedule.week_starts_on
        words = "every day" if program.every_n_days == 1 else f"every {program.every_n_days} days"
        words += f", counted from {writing.day_month(since)}" if program.every_n_days > 1 else ""
    elif rule in (Program.DayRule.ODD, Program.DayRule.EVEN):
        words = f"{rule} dates"
    else:
        words = days_words(site, program.weekdays)
    if program.active_from:
        words += f", from {writing.day(program.active_from)}"
    if program.active_until:
        words += f", until {writing.day(program.active_until)}"
    return words


def days_words(site: Site, weekdays: list[int]) -> str:
    words = "every day" if len(weekdays) == 7 else ", ".join(SHORT_DAYS[day] for day in sorted(weekdays))
    if site.permitted_days in (Site.PermittedDays.ODD, Site.PermittedDays.EVEN):
        dates = site.get_permitted_days_display()
        return dates if len(weekdays) == 7 else f"{dates} on {words}"
    return words


def schedule_sheet(schedule: SeasonSchedule) -> ScheduleSheet:
    """Everything the page shows of one schedule, in a handful of queries whatever its size.

    A draft shows controllers without a program, too: a person may add one.
    """
    flows = zone_flows(schedule)
    steps = ProgramStep.objects.select_related("zone").order_by("position", "pk")
    programs = schedule.programs.select_related("controller").prefetch_related(Prefetch("steps", steps))
    applied = {row.controller_id: row for row in schedule.applied.select_related("applied_by")}
    by_controller: dict[Controller, list[ProgramCard]] = {}
    for program in programs.order_by("controller", "priority", "pk"):
        by_controller.setdefault(program.controller, []).append(_card(program, schedule.site, flows))
    if schedule.state == SeasonSchedule.State.DRAFT:
        for controller in Controller.objects.filter(site=schedule.site_id, valves__isnull=False).distinct():
            by_controller.setdefault(controller, [])
    controllers = tuple(
        ControllerCard(controller, tuple(cards), applied.get(controller.pk))
        for controller, cards in by_controller.items()
    )
    return ScheduleSheet(schedule, controllers, _zone_rows(schedule), schedule.litres_per_week)


def _card(program: Program, site: Site, flows: dict[int, float | None]) -> ProgramCard:
    steps = list(program.steps.all())
    ends = dt.datetime.combine(dt.date.min, program.start_times[-1]) + dt.timedelta(minutes=lasts_min(steps))
    lines = tuple(StepLine(step, _litres(step, flows)) for step in steps)
    minutes = sum(step.run_time_min for step in steps if step.enabled)
    return ProgramCard(program, program_days(program, site), ends.time(), lines, minutes)


def _litres(step: ProgramStep, flows: dict[int, float | None]) -> float | None:
    flow = flows.get(step.zone_id)
    return None if flow is None else flow * step.run_time_min


def _zone_rows(schedule: SeasonSchedule) -> tuple[ZoneRow, ...]:
    months: dict[Zone, list[ZoneMonth]] = {}
    rows = ZoneMonth.objects.filter(schedule=schedule).select_related("zone").defer("derivation")
    for row in rows.order_by("zone__number", "month"):
        months.setdefault(row.zone, []).append(row)
    return tuple(
        ZoneRow(
            zone,
            tuple(MonthCell(row.month, row.run_time_min_per_week, row.days_per_week, _shade(row)) for row in of_zone),
            None if any(row.water_l is None for row in of_zone) else sum(row.water_l or 0.0 for row in of_zone),
        )
        for zone, of_zone in months.items()
    )


def _shade(row: ZoneMonth) -> int:
    if row.run_time_min_per_week <= 0:
        return 0
    return min(SHADES, max(1, math.ceil(row.percent_of_peak * SHADES / 100.0)))


def changes(published: SeasonSchedule | None, draft: SeasonSchedule) -> tuple[ZoneChange, ...]:
    """Minutes a week of every zone, published against draft, as the programs stand."""
    now = zone_weeks(published) if published else {}
    then = zone_weeks(draft)
    zones = Zone.objects.filter(pk__in={*now, *then}).order_by("number")
    return tuple(
        ZoneChange(
            zone,
            now[zone.pk].minutes if zone.pk in now else None,
            then[zone.pk].minutes if zone.pk in then else None,
        )
        for zone in zones
    )
