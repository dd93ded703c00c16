"""Turn watering programs into a timeline of commands for a span of local dates."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from itertools import product

from scheduling.core.sequence.blocks import MAX_ON_SPARE_S, Blocks, Job, Portion
from scheduling.core.sequence.plant import Plant, Valve
from scheduling.core.sequence.programs import EVERY_DAY, DayRule, Program, Step, days_between
from scheduling.core.sequence.reach import forgets_s, longest_s, reaching
from scheduling.core.sequence.timeline import (
    ON_ACTIONS,
    Action,
    Command,
    Demand,
    Excess,
    Notice,
    NoticeKind,
    Run,
    Timeline,
)
from sites.core import writing

REACH = timedelta(days=7)  # how far back and ahead programs are read: once round the week


@dataclass(frozen=True)
class Options:
    """How to compile.

    window: permitted local hours (from, until); until <= from crosses midnight and belongs to the day it begins.
    permitted_days: days on which watering may begin. None: no limit.
    refuse_collisions: a program whose start falls into another one is dropped instead of queued.
    tolerance_share, tolerance_s: water may be off by the larger of this share and these seconds a run.
    """

    window: tuple[time, time] | None = None
    permitted_days: DayRule | None = None
    refuse_collisions: bool = False
    tolerance_share: float = 0.05
    tolerance_s: float = 15.0


def compile_programs(
    plant: Plant,
    programs: Sequence[Program],
    first_day: date,
    last_day: date,
    tz: tzinfo,
    options: Options | None = None,
) -> Timeline:
    """The commands of all that begins to water on the days first_day..last_day, both included.

    It is compiled from the last moment before them at which everything was surely off, and what begins on the last
    day is compiled to its end with the programs that fall into it: a week reads the same from each of its days.
    What had to be put off, left out or falls outside the window stands in `notices`. ValueError if a step still waits
    for its computed minutes.
    """
    options = options or Options()
    origin = _instant(first_day, time(0), tz)
    until_s = (_instant(last_day + timedelta(days=1), time(0), tz) - origin).total_seconds()
    notices = list(_plant_notices(plant, options))
    starts: list[tuple[float, float, Program]] = []
    portions: dict[int, list[Portion]] = {}
    for program in programs:
        days = [day for day in days_between(first_day - REACH, last_day + REACH) if program.runs_on(day)]
        asked = any(first_day <= day <= last_day for day in days)
        own = portions[program.id] = list(_portions(plant, program, notices if asked else [])) if days else []
        lasts_s = longest_s(plant, own)
        for day, start in product(days, program.start_times):
            due_s = (_instant(day, start, tz) - origin).total_seconds()
            if first_day <= day <= last_day:
                notices.extend(_clock_notices(program, day, start, tz, due_s))
            if own:
                starts.append((due_s, lasts_s, program))
    starts.sort(key=lambda start: start[0])
    needed = reaching([start[:2] for start in starts], until_s, forgets_s(plant))
    jobs = [
        Job(program.id, program.name, program.priority, due_s, [replace(portion) for portion in portions[program.id]])
        for due_s, _, program in starts[needed]
    ]
    names = {program.id: program.name for program in programs}
    return _finish(Blocks(plant, jobs, options.refuse_collisions, 0.0, until_s), names, origin, tz, options, notices)


def compile_once(
    plant: Plant,
    steps: Sequence[Step],
    starts_at: datetime,
    options: Options | None = None,
    name: str = "One-off run",
) -> Timeline:
    """The commands of a one-off run from an aware `starts_at`: one zone, one program, or a test of all zones."""
    options = options or Options()
    program = Program(0, name, (), EVERY_DAY, tuple(steps))
    notices = list(_plant_notices(plant, options))
    portions = list(_portions(plant, program, notices))
    blocks = Blocks(plant, [Job(0, name, 1, 0.0, portions)] if portions else [], options.refuse_collisions)
    return _finish(blocks, {0: name}, starts_at.astimezone(UTC), starts_at.tzinfo or UTC, options, notices)


def shortest_run_s(plant: Plant, valve: Valve) -> float:
    """The shortest cycle this plant can run with every stroke and hand-over finished before the next begins."""
    opens_s = max((v.opens_within_s for v in plant.valves), default=valve.opens_within_s)
    closes_s = max((v.closes_within_s for v in plant.valves), default=valve.closes_within_s)
    return math.ceil(3 * plant.command_delay_s + 2 * opens_s + 2 * closes_s + 3)


def _instant(day: date, clock: time, tz: tzinfo) -> datetime:
    """The UTC instant of a local clock time. A time skipped in spring is read with the offset before the change;
    a time that comes twice in autumn is its first pass."""
    return datetime.combine(day, clock, tzinfo=tz).astimezone(UTC)


def _clock_notices(program: Program, day: date, start: time, tz: tzinfo, due_s: float) -> Iterable[Notice]:
    local = datetime.combine(day, start, tzinfo=tz)
    there_and_back = local.astimezone(UTC).astimezone(tz)
    if there_and_back.replace(tzinfo=None) != local.replace(tzinfo=None):
        starts = writing.clock(there_and_back)
        text = f"{program.name}: {writing.clock(start)} does not exist on {writing.day(day)}, it starts at {starts}"
        yield Notice(NoticeKind.CLOCK_CHANGE, text, due_s, 0.0, program.id)
    elif local.utcoffset() != local.replace(fold=1).utcoffset():
        text = (
            f"{program.name}: {writing.clock(start)} comes twice on {writing.day(day)}, it runs the first time only"
        )
        yield Notice(NoticeKind.CLOCK_CHANGE, text, due_s, 0.0, program.id)


def _portions(plant: Plant, program: Program, notices: list[Notice]) -> Iterable[Portion]:
    """The enabled steps as portions; steps that this plant cannot run become notices."""
    valves = {valve.id: valve for valve in plant.valves}
    for step in program.enabled_steps:
        if step.minutes is None:
            raise ValueError(f"{program.name}: a step still waits for its computed minutes")
        valve = valves.get(step.valve_id)
        if valve is None:
            text = f"{program.name}: valve {step.valve_id} is not on this controller"
            notices.append(Notice(NoticeKind.REFUSED, text, 0.0, step.minutes * 60, program.id))
            continue
        cycles = step.cycles if step.soak_min > 0 else 1  # cycles without a soak are one run
        water_s = step.minutes * 60 / cycles
        shortest_s = shortest_run_s(plant, valve)
        if water_s < shortest_s:
            text = f"{program.name}: {valve.name} would run {water_s:.0f} s, this plant needs {shortest_s:.0f} s"
            notices.append(Notice(NoticeKind.REFUSED, text, 0.0, step.minutes * 60, program.id))
            continue
        yield Portion(valve, water_s, cycles, step.soak_min * 60)


def _plant_notices(plant: Plant, options: Options) -> Iterable[Notice]:
    """Why no timeline on this plant could be proved; register figures to correct."""

    def unsafe(text: str, excess: Excess | None = None) -> Notice:
        return Notice(NoticeKind.UNSAFE_PLANT, text, 0.0, excess=excess)

    for valve in plant.valves:
        flow, supply = valve.flow_l_min, plant.supply_l_min
        if flow is not None and supply is not None and flow > supply:
            yield unsafe(f"{valve.name} takes more water than the supply feeds", Excess(flow, supply))
        strokes_s = valve.opens_within_s - valve.opens_from_s + valve.closes_within_s - valve.closes_from_s
        error_s = plant.command_delay_s + strokes_s / 2 + 1
        if error_s > options.tolerance_s:
            yield unsafe(
                f"{valve.name}: delays may change a run by {error_s:.0f} s, {options.tolerance_s:.0f} s are"
                " allowed on a short one"
            )


def _finish(
    blocks: Blocks, names: dict[int, str], origin: datetime, tz: tzinfo, options: Options, notices: list[Notice]
) -> Timeline:
    blocks.run()
    runs = tuple(sorted(blocks.runs, key=lambda run: run.open_s))
    timeline = Timeline(origin, _with_longest(blocks.commands, blocks.plant), tuple(_demands(runs, options)), runs)
    told = dict.fromkeys((*notices, *blocks.notices, *_spill(timeline, names, tz, options)))
    return replace(timeline, notices=tuple(told))


def _with_longest(commands: Iterable[Command], plant: Plant) -> tuple[Command, ...]:
    """The commands in order, each opening and start carrying the longest duration it may last."""
    ordered = sorted(commands, key=lambda command: command.at_s)
    begun: dict[object, int] = {}

    def end(output: object, at_s: float) -> None:
        index = begun.pop(output, None)
        if index is not None:
            longest_s = at_s - ordered[index].at_s + plant.command_delay_s + MAX_ON_SPARE_S
            ordered[index] = replace(ordered[index], max_on_s=longest_s)

    for index, command in enumerate(ordered):
        output = command.output
        if command.action not in ON_ACTIONS:
            end(output, command.at_s)
            continue
        if command.action is Action.OPEN_VALVE and plant.interlocked:
            for other in [key for key in begun if isinstance(key, int)]:
                end(other, command.at_s)
        begun[output] = index
    return tuple(ordered)


def _demands(runs: tuple[Run, ...], options: Options) -> Iterable[Demand]:
    water: dict[int, list[float]] = {}
    for run in runs:
        water.setdefault(run.valve_id, []).append(run.water_s)
    for valve_id, seconds in sorted(water.items()):
        tolerance_s = max(options.tolerance_share * sum(seconds), options.tolerance_s * len(seconds))
        yield Demand(valve_id, sum(seconds), tolerance_s)


def _spill(timeline: Timeline, names: dict[int, str], tz: tzinfo, options: Options) -> Iterable[Notice]:
    """One notice for each program and local day of its start for what it waters outside the permitted time."""
    if not timeline.runs or (options.window is None and options.permitted_days is None):
        return
    last_s = max(run.close_s for run in timeline.runs)
    first, last = timeline.at(0, tz).date(), timeline.at(last_s, tz).date()
    permitted = list(permitted_spans(timeline.origin, first, last, tz, options))
    outside: dict[tuple[int, date], list[tuple[float, float]]] = {}
    for run in timeline.runs:
        inside_s = sum(max(0.0, min(run.close_s, until) - max(run.open_s, begin)) for begin, until in permitted)
        if run.close_s - run.open_s - inside_s > 1:
            day = timeline.at(run.due_s, tz).date()
            spill = (run.close_s - run.open_s - inside_s, run.close_s)
            outside.setdefault((run.program_id, day), []).append(spill)
    for (program_id, day), spills in outside.items():
        seconds, until_s = sum(spill[0] for spill in spills), max(spill[1] for spill in spills)
        until = timeline.at(until_s, tz)
        text = (
            f"{names.get(program_id, 'Program')} of {writing.weekday_day(day)} waters {math.ceil(seconds / 60)} min"
            f" outside the permitted time, until {writing.clock(until)} on {writing.weekday_day(until)}"
        )
        yield Notice(NoticeKind.OUTSIDE_WINDOW, text, until_s, seconds, program_id)


def permitted_spans(
    origin: datetime, first: date, last: date, tz: tzinfo, options: Options
) -> Iterable[tuple[float, float]]:
    """Permitted spans in seconds after the origin, from the day before `first` (its window may reach over)."""
    begins, ends = options.window or (time(0), time(0))
    for day in days_between(first - timedelta(days=1), last):
        if options.permitted_days is not None and not options.permitted_days.includes(day):
            continue
        end_day = day if ends > begins else day + timedelta(days=1)
        yield (
            (_instant(day, begins, tz) - origin).total_seconds(),
            (_instant(end_day, ends, tz) - origin).total_seconds(),
        )
