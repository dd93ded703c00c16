"""A schedule's week as commands to valves and pump, proved safe or with the case that breaks it, in words."""

import datetime as dt
import zoneinfo
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.db.models import Prefetch

from scheduling.core.sequence.compile import Options, compile_programs
from scheduling.core.sequence.plant import Plant, Pump, Valve
from scheduling.core.sequence.programs import Program, Step, Weekdays
from scheduling.core.sequence.simulate import explain
from scheduling.core.sequence.timeline import Excess, Timeline
from scheduling.core.sequence.verify import Proof, Verdict, verify
from scheduling.models import Program as ProgramRow
from scheduling.models import ProgramStep, SeasonSchedule, WateringPause
from scheduling.queries.as_computed import wired
from scheduling.queries.calendar import dates_from, paused_dates, runs_on
from scheduling.queries.week_concerns import LEFT_OUT, Concern, Watering, concerns, flow_of, meetings
from sites.core.units import format_quantity
from sites.models import Controller, Firm, Site, WaterSupply
from sites.models import Valve as ValveRow

SHOWN_EVENTS = 12


@dataclass(frozen=True)
class TimedRun:
    """One opening of a valve in local time."""

    opens_at: dt.datetime
    closes_at: dt.datetime
    valve: str
    program: str


@dataclass(frozen=True)
class Kept:
    """A rule the week keeps for every delay, and by how many seconds at the worst moment, which `text` tells."""

    rule: str
    margin_s: float
    at: dt.datetime
    text: str


@dataclass(frozen=True)
class ControllerWeek:
    """One controller's week. `ok` None: nothing runs. `story` tells the counter-example step by step."""

    controller: Controller
    ok: bool | None
    words: str
    kept: tuple[Kept, ...]
    story: tuple[tuple[dt.datetime, str], ...]
    notices: tuple[str, ...]
    runs: tuple[TimedRun, ...]
    pump_starts: int
    plant: Plant | None = None
    timeline: Timeline | None = None
    verdict: Verdict | None = None
    concerns: tuple[Concern, ...] = ()
    remedy: str = ""

    @property
    def sound(self) -> bool:
        """Proved, and nothing of the week is a concern."""
        return self.ok is not False and not self.concerns

    @property
    def runs_by_day(self) -> list[tuple[dt.date, list[TimedRun]]]:
        days: dict[dt.date, list[TimedRun]] = defaultdict(list)
        for run in self.runs:
            days[run.opens_at.date()].append(run)
        return sorted(days.items())


@dataclass(frozen=True)
class WeekTimeline:
    """Every controller of the site for seven days; `ok` only if no controller has a counter-example."""

    week_starts_on: dt.date
    controllers: tuple[ControllerWeek, ...]

    @property
    def ok(self) -> bool:
        return all(week.ok is not False for week in self.controllers)

    @property
    def sound(self) -> bool:
        """Proved throughout, with no concern."""
        return all(week.sound for week in self.controllers)


def week_timeline(schedule: SeasonSchedule, *, week_starts_on: dt.date, only: int | None = None) -> WeekTimeline:
    """Compile the seven days of the schedule's programs for each controller and verify them.

    only: the key of one controller, where the others are not asked for.
    """
    site = schedule.site
    week_ends_on = week_starts_on + dt.timedelta(days=6)
    steps = ProgramStep.objects.select_related("zone__valve").order_by("position", "pk")
    programs: dict[int, list[ProgramRow]] = defaultdict(list)
    for program in schedule.programs.prefetch_related(Prefetch("steps", steps)):
        program.schedule = schedule
        if only is None or program.controller_id == only:
            programs[program.controller_id].append(program)
    pauses = WateringPause.objects.filter(site=site, starts_on__lte=week_ends_on, ends_on__gte=week_starts_on)
    paused = paused_dates(pauses, week_starts_on, week_ends_on)
    dates = [date for date in dates_from(week_starts_on, week_ends_on) if date not in paused]
    controllers = Controller.objects.filter(site=site, pk__in=programs).prefetch_related(
        Prefetch("valves", ValveRow.objects.prefetch_related("zones"))
    )
    supplies = list(WaterSupply.objects.filter(site=site).select_related("pump"))
    weeks = [
        _controller_week(site, controller, supplies, programs[controller.pk], dates, week_starts_on)
        for controller in controllers
    ]
    watering = [Watering(week.controller, week.controller.waters_from(supplies), week.timeline)
                for week in weeks if week.timeline is not None]  # fmt: skip
    met = meetings(watering, zoneinfo.ZoneInfo(site.time_zone))
    return WeekTimeline(week_starts_on, tuple(_with(week, met.get(week.controller.pk)) for week in weeks))


def _with(week: ControllerWeek, concern: Concern | None) -> ControllerWeek:
    return week if concern is None else replace(week, concerns=(*week.concerns, concern))


def plant_of(controller: Controller, supplies: Sequence[WaterSupply]) -> Plant:
    """The controller with its valves, master valve and pump as the sequence core sees them.

    supplies: all of its site. ValueError where it is not known which of them feeds it and one is a pump: leaving the
    pump out would prove nothing.
    """
    supply = controller.waters_from(supplies)
    if supply is None and any(row.kind == WaterSupply.Kind.PUMP for row in supplies):
        raise ValueError(f"{controller} names no water supply, and one of the site's is a pump. Choose its supply.")
    masters = [valve for valve in controller.valves.all() if valve.is_master]
    pump = None
    if supply is not None and supply.kind == WaterSupply.Kind.PUMP:
        row = getattr(supply, "pump", None)
        pump = Pump() if row is None else Pump(
            prime_delay_s=row.prime_delay_s,
            run_down_s=row.run_down_s,
            minimum_run_s=row.minimum_run_s,
            minimum_rest_s=row.minimum_rest_s,
            most_starts_per_hour=row.most_starts_per_hour,
        )  # fmt: skip
    return Plant(
        valves=tuple(_valve(valve) for valve in controller.valves.all() if not valve.is_master),
        command_delay_s=controller.command_delay_bound_s,
        interlocked=controller.one_valve_at_a_time,
        pump=pump,
        master=_valve(masters[0]) if masters else None,
        keep_flow=supply is not None and supply.kind == WaterSupply.Kind.WELL,
        most_open=1 if controller.one_valve_at_a_time else controller.most_valves_open,
        supply_l_min=supply.flow_available_l_min if supply else None,
        latching=controller.output == Controller.Output.LATCHING,
        enforces_max_on=controller.ends_outputs_itself,
        runs_through=pump is not None and controller.one_valve_at_a_time and controller.set_by_hand,
    )


def _valve(row: ValveRow) -> Valve:
    return Valve(
        id=row.pk,
        name=row.name,
        flow_l_min=flow_of(row),
        opens_within_s=row.opens_within_s,
        closes_from_s=row.closes_from_s,
        closes_within_s=row.closes_within_s,
    )


def _controller_week(
    site: Site,
    controller: Controller,
    supplies: Sequence[WaterSupply],
    rows: list[ProgramRow],
    dates: list[dt.date],
    first: dt.date,
) -> ControllerWeek:
    zone = zoneinfo.ZoneInfo(site.time_zone)
    try:
        plant = plant_of(controller, supplies)
        timeline = compile_programs(
            plant,
            [_program(row, site, dates) for row in rows],
            first,
            first + dt.timedelta(days=6),
            zone,
            Options(
                window=(site.watering_window_start, site.watering_window_end),
                refuse_collisions=controller.colliding_programs == Controller.Collision.REFUSE,
            ),
        )
    except ValueError as error:
        return not_compiled(controller, error)
    week = verified(controller, plant, timeline, {row.pk: row.name for row in rows}, zone)
    return _with(week, _unwired(rows, timeline, zone))


def _unwired(rows: list[ProgramRow], timeline: Timeline, zone: zoneinfo.ZoneInfo) -> Concern | None:
    """Steps whose zone lost its valve, or got one of another controller, since the program was made."""
    lost = [f"zone {step.zone} of {row.name}" for row in rows if row.enabled
            for step in row.steps.all() if step.enabled and not wired(step, row)]  # fmt: skip
    if not lost:
        return None
    return Concern(
        LEFT_OUT, f"On no valve of this controller, so not watered: {', '.join(lost)}", timeline.at(0, zone)
    )


def not_compiled(controller: Controller, error: ValueError) -> ControllerWeek:
    return ControllerWeek(controller, False, f"Cannot be compiled: {error}", (), (), (), (), 0)


def verified(
    controller: Controller, plant: Plant, timeline: Timeline, names: dict[int, str], zone: zoneinfo.ZoneInfo
) -> ControllerWeek:
    """A compiled timeline with its proof or counter-example, in local time and in words."""
    verdict = verify(timeline, plant)
    valves = {valve.id: valve.name for valve in plant.valves}
    week = ControllerWeek(
        controller=controller,
        ok=None,
        words="Nothing runs in this week.",
        kept=(),
        story=(),
        notices=tuple(dict.fromkeys(_in_units(notice.text, notice.excess) for notice in timeline.notices)),
        runs=tuple(
            TimedRun(
                timeline.at(run.open_s, zone),
                timeline.at(run.close_s, zone),
                valves[run.valve_id],
                names.get(run.program_id, ""),
            )
            for run in timeline.runs
        ),
        pump_starts=len(timeline.pump_runs()),
        plant=plant,
        timeline=timeline,
        verdict=verdict,
    )
    week = replace(week, concerns=concerns(timeline, controller, zone))
    if not timeline.commands:
        return week
    if isinstance(verdict, Proof):
        kept = tuple(
            Kept(str(margin.rule.value), margin.margin_s, timeline.at(margin.at_s, zone), margin.kept_text)
            for margin in verdict.margins
        )
        return replace(week, ok=True, words=_proof_words(verdict, plant), kept=kept)
    told = _in_units(verdict.text, verdict.excess)
    words = f"Rule broken: {verdict.rule.value}. {told[:1].upper()}{told[1:]}."
    story = _story(timeline, plant, verdict.delays, verdict.at_s, zone)
    return replace(week, ok=False, words=words, story=story, remedy=_remedy(plant))


def _in_units(text: str, excess: Excess | None) -> str:
    """The core's words, with its figures in the firm's units."""
    if excess is None:
        return text
    units = Firm.current().units
    takes, feeds = (format_quantity(rate, "flow", units) for rate in (excess.flow_l_min, excess.supply_l_min))
    return f"{text}: {takes} of {feeds}"


def _remedy(plant: Plant) -> str:
    if not plant.runs_through:
        return ""
    return (
        "This controller swaps interlocked outputs by itself while the pump runs. Have the outputs separated so that "
        "zones can overlap, or let each zone be a program of its own with a pause, so that the pump stops in between."
    )


def _program(row: ProgramRow, site: Site, dates: list[dt.date]) -> Program:
    """The week's dates as weekdays: in seven days each weekday comes once, so odd and even dates fit in too."""
    return Program(
        id=row.pk,
        name=row.name,
        start_times=row.start_times,
        days=Weekdays(frozenset(date.weekday() for date in dates if runs_on(row, site, date))),
        steps=tuple(
            Step(step.zone.valve_id, step.run_time_min, step.cycles, step.soak_min, step.enabled)
            for step in row.steps.all()
            if wired(step, row)
        ),
        priority=row.priority,
    )


def _proof_words(proof: Proof, plant: Plant) -> str:
    pump = "the pump never works against closed valves, " if plant.pump else ""
    together = "one valve waters" if plant.most_open == 1 else f"{plant.most_open} valves water together"
    return (
        f"Proved for every delay up to {plant.command_delay_s:g} s a command and every valve stroke within its "
        f"bounds: {pump}no more than {together} beyond the hand-over, everything is off at the end and each "
        f"zone gets its minutes. {proof.commands} commands."
    )


def _story(
    timeline: Timeline, plant: Plant, delays: tuple, at_s: float, zone: zoneinfo.ZoneInfo
) -> tuple[tuple[dt.datetime, str], ...]:
    events = explain(timeline, plant, delays, at_s)
    return tuple((timeline.at(seconds, zone), text) for seconds, text in events[:SHOWN_EVENTS])
