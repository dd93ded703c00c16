"""Fitting zones to the clock: weekdays and start times inside a site's permitted days and window."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.interleave import DayRun, Night, interleave
from scheduling.core.water.soil import whole_minute_cycles

EVERY_DAY = frozenset(range(7))
DAY_MIN = 24 * 60
PARITY_DAYS_PER_WEEK = 3.5
MOST_DAYS_LATER = 3  # between parts of a watering: what was given lasts that long where it is watered once a week
LONGEST_RUN_MIN = 100_000  # ten times what a week has: far too much is told by name, beyond it is a typing error
Parity = Literal["", "odd", "even"]


@dataclass(frozen=True)
class ClockZone:
    """What one zone asks of the clock: minutes and days of an average week, and what its soil allows.

    days_per_week is below one where the soil lasts for weeks. `weekdays` are the days it is to be watered on where
    they are settled already; zones that share them are told so by the same days.
    """

    key: str
    run_time_min_per_week: float
    days_per_week: float
    longest_interval_days: int = 7
    longest_cycle_min: float = math.inf
    soak_min: float = 0.0
    shortest_run_min: int = 2
    flow_l_min: float | None = None
    weekdays: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        # NaN would be lost among the zones that are off, and a run without end never be fitted.
        if not 0 <= self.run_time_min_per_week <= LONGEST_RUN_MIN:
            raise WaterInputError(
                "run time", f"of zone {self.key} must lie between 0 and {LONGEST_RUN_MIN} min a week"
            )
        if not (self.longest_cycle_min > 0 and 0 <= self.soak_min <= DAY_MIN):
            raise WaterInputError("cycle and soak", f"of zone {self.key} must be above 0 min and at most a day")


@dataclass(frozen=True)
class WateringRule:
    """A site's permission: weekdays (Monday 0) or dates of one parity, and a window in minutes after midnight.

    A window may pass midnight; its weekday is the day it ends on. supply_flow_l_min is what the supply gives.
    """

    weekdays: frozenset[int] = EVERY_DAY
    parity: Parity = ""
    window_start_min: int = 22 * 60
    window_end_min: int = 6 * 60
    supply_flow_l_min: float | None = None
    gap_min: float = 0.25
    fill_min: float = 0.0

    def __post_init__(self) -> None:
        if not self.weekdays or not self.weekdays <= EVERY_DAY:
            raise WaterInputError("permitted days", "needs at least one weekday, 0 (Monday) to 6")
        for minute in (self.window_start_min, self.window_end_min):
            if not 0 <= minute < DAY_MIN:
                raise WaterInputError("window", "must be minutes after midnight, 0 to 1439")

    @property
    def window_min(self) -> int:
        """Length of the window; equal ends mean the whole day."""
        return (self.window_end_min - self.window_start_min) % DAY_MIN or DAY_MIN

    @property
    def most_days_per_week(self) -> int:
        """Days a week on which water may run (whole days; a parity rule gives at least 3)."""
        return 3 if self.parity else len(self.weekdays)


@dataclass(frozen=True)
class ClockProgram:
    """One controller program: its days, start (minutes after midnight), runs and the order of the valves.

    `weekdays` is empty where the days go by the parity of the date. It runs every `every_weeks` weeks.
    """

    name: str
    weekdays: tuple[int, ...]
    parity: Parity
    start_min: int
    duration_min: float
    runs: tuple[DayRun, ...]
    night: Night
    every_weeks: int = 1


@dataclass(frozen=True)
class Remedy:
    """A change that might make a plan fit: what, by how much, whether it would, and what would still be over."""

    kind: Literal["another_day", "run_together", "wider_window", "less_water"]
    words: str
    fits: bool
    over_min: float


@dataclass(frozen=True)
class ClockPlan:
    """Programs of a site; where they do not fit, `over_min` and the remedies in the order to try them."""

    programs: tuple[ClockProgram, ...]
    fits: bool
    over_min: float
    busiest_min: float
    window_min: int
    off: tuple[str, ...]
    warnings: tuple[str, ...]
    remedies: tuple[Remedy, ...]


def fit_to_clock(zones: Sequence[ClockZone], rule: WateringRule, most_programs: int = 3) -> ClockPlan:
    """Choose days and starts, one valve at a time, finishing by the end of the window.

    Zones that ask for equally many days share a program; programs get days of their own where they can, else
    follow one another. Zones without minutes are `off`. Where the days are settled and a night is too long, programs
    give their week's water in smaller parts on more days, each soon after the one before.
    """
    plan = _plan(zones, rule, most_programs)
    if not plan.fits and not rule.parity:
        plan = _on_more_days(zones, rule, most_programs, plan)
    if plan.fits:
        return plan
    return replace(plan, remedies=_remedies(zones, rule, most_programs, plan))


def _on_more_days(zones: Sequence[ClockZone], rule: WateringRule, most_programs: int, plan: ClockPlan) -> ClockPlan:
    """The plan with settled programs on more permitted days, one day more at a time, as long as that shortens it."""
    while not plan.fits:
        tries = [
            _with_day(zones, days, (day + later) % 7)
            for days in sorted({zone.weekdays for zone in zones if zone.weekdays})
            for day in days
            for later in range(1, MOST_DAYS_LATER + 1)
            if (day + later) % 7 in rule.weekdays - set(days)
        ]
        plans = [(_plan(each, rule, most_programs), each) for each in tries]
        better, more = min(plans, key=lambda found: found[0].busiest_min, default=(plan, zones))
        if better.busiest_min >= plan.busiest_min:
            break
        plan, zones = better, more
    return plan


def _with_day(zones: Sequence[ClockZone], days: tuple[int, ...], day: int) -> list[ClockZone]:
    """The same zones, those settled on `days` on one more."""
    more, often = tuple(sorted((*days, day))), (len(days) + 1) / len(days)
    return [
        replace(zone, weekdays=more, days_per_week=zone.days_per_week * often) if zone.weekdays == days else zone
        for zone in zones
    ]


Draft = tuple[tuple[int, ...], tuple[DayRun, ...], Night]


def _plan(zones: Sequence[ClockZone], rule: WateringRule, most_programs: int) -> ClockPlan:
    running = [zone for zone in zones if zone.run_time_min_per_week > 0]
    drafts: list[Draft] = []
    weeks: list[int] = []
    warnings: list[str] = []
    load: dict[int, float] = dict.fromkeys(range(7), 0.0)
    for days, settled, members in _by_days(running, rule, most_programs):
        weekdays = settled or (
            () if rule.parity and days >= 1 else spread_weekdays(rule.weekdays, math.ceil(days), load)
        )
        a_week = PARITY_DAYS_PER_WEEK if rule.parity and not weekdays else days
        runs = tuple(day_run(zone, a_week) for zone in members)
        night = _night(runs, rule)
        for weekday in weekdays:
            load[weekday] += night.elapsed_min
        drafts.append((weekdays, runs, night))
        weeks.append(max(1, round(max(1, len(settled)) / days)))
        if not settled:
            warnings += _gap_warnings(members, weekdays, weeks[-1], rule)
    offsets = _offsets(drafts)
    busiest = max((at + draft[2].elapsed_min for at, draft in zip(offsets, drafts, strict=True)), default=0.0)
    over = max(0.0, busiest - rule.window_min)
    first = rule.window_start_min if over else rule.window_end_min - math.ceil(busiest)
    programs = tuple(
        ClockProgram(
            "ABCDEFG"[index],
            weekdays,
            rule.parity,
            (first + math.ceil(at)) % DAY_MIN,
            night.elapsed_min,
            runs,
            night,
            every,
        )
        for index, (at, (weekdays, runs, night), every) in enumerate(zip(offsets, drafts, weeks, strict=True))
    )
    off = tuple(zone.key for zone in zones if zone.run_time_min_per_week <= 0)
    return ClockPlan(programs, over == 0, over, busiest, rule.window_min, off, tuple(warnings), ())


def _night(runs: Sequence[DayRun], rule: WateringRule) -> Night:
    """The longest of four nights: soaks as asked and a minute longer, between valves the gap and none.

    Commands and strokes take seconds that this clock does not know, and seconds can tip the order of soaking zones.
    """
    longer = [replace(run, soak_min=run.soak_min + 1) if run.cycles > 1 else run for run in runs]
    nights = (interleave(each, gap, rule.fill_min) for each in (runs, longer) for gap in (rule.gap_min, 0.0))
    return max(nights, key=lambda night: night.elapsed_min)


def _by_days(
    zones: list[ClockZone], rule: WateringRule, most_programs: int
) -> list[tuple[float, tuple[int, ...], list[ClockZone]]]:
    """Zones by days a week and the weekdays settled for them, most days first; too many groups: the rarest joins
    the next more frequent. Settled groups are taken as they are."""
    groups: dict[tuple[float, tuple[int, ...]], list[ClockZone]] = {}
    for zone in zones:
        days = min(zone.days_per_week, float(len(rule.weekdays)))
        if rule.parity and not zone.weekdays:
            days = 3.0 if days >= 1 else 0.5 if days > 0.25 else 0.25  # an even count of weeks keeps odd dates odd
        groups.setdefault((days, zone.weekdays), []).append(zone)
    while len(groups) > max(1, most_programs) and not any(settled for _, settled in groups):
        rare, next_up = sorted(groups)[:2]
        groups[next_up] += groups.pop(rare)
    return [(days, settled, members) for (days, settled), members in sorted(groups.items(), reverse=True)]


def spread_weekdays(permitted: frozenset[int], count: int, load: dict[int, float]) -> tuple[int, ...]:
    """The `count` permitted weekdays with the shortest longest gap; then the evenest, least laden, earliest."""

    def worth(days: tuple[int, ...]) -> tuple[int, int, float, tuple[int, ...]]:
        return longest_gap(days), sum(gap * gap for gap in gaps(days)), sum(load[day] for day in days), days

    return min(itertools.combinations(sorted(permitted), min(count, len(permitted))), key=worth)


def gaps(weekdays: tuple[int, ...]) -> tuple[int, ...]:
    """Days from each watering to the next, round the week."""
    following = weekdays[1:] + (weekdays[0] + 7,)
    return tuple(after - before for before, after in zip(weekdays, following, strict=True))


def longest_gap(weekdays: tuple[int, ...]) -> int:
    """The longest of the gaps."""
    return max(gaps(weekdays))


def day_run(zone: ClockZone, days: float) -> DayRun:
    """The zone's run on each of so many watering days a week, in whole minutes and cycles its soil takes."""
    minutes = max(zone.run_time_min_per_week / days, zone.shortest_run_min)
    split = whole_minute_cycles(minutes, zone.longest_cycle_min, zone.soak_min)
    return DayRun(zone.key, split.cycles, round(split.cycle_min), math.ceil(split.soak_min - 1e-9))


def _gap_warnings(
    members: list[ClockZone], weekdays: tuple[int, ...], every_weeks: int, rule: WateringRule
) -> list[str]:
    # The 31st and the 1st are both odd: even dates can lie three days apart.
    if weekdays:
        gap = longest_gap(weekdays) + 7 * (every_weeks - 1)
    else:
        gap = 3 if rule.parity == "even" else 2
    return [
        f"{zone.key}: {gap} days between waterings, the soil lasts {zone.longest_interval_days}"
        for zone in members
        if gap > zone.longest_interval_days
    ]


def _offsets(drafts: list[Draft]) -> list[float]:
    """Start of each program after the first start: behind every earlier program that shares a day with it."""
    offsets: list[float] = []
    for index, (weekdays, _, _) in enumerate(drafts):
        behind = [
            offsets[earlier] + math.ceil(drafts[earlier][2].elapsed_min)
            for earlier in range(index)
            if not weekdays or set(weekdays) & set(drafts[earlier][0])
        ]
        offsets.append(max(behind, default=0.0))
    return offsets


def _remedies(
    zones: Sequence[ClockZone], rule: WateringRule, most_programs: int, plan: ClockPlan
) -> tuple[Remedy, ...]:
    remedies = [_another_day(zones, rule, most_programs), _run_together(plan, zones, rule)]
    wider = math.ceil(plan.over_min)
    remedies.append(
        Remedy(
            "wider_window",
            f"a window {wider} min longer",
            plan.window_min + wider <= DAY_MIN,
            max(0.0, plan.busiest_min - DAY_MIN),
        )
    )
    share = math.ceil(100.0 * plan.over_min / plan.busiest_min)
    remedies.append(Remedy("less_water", f"about {share} % less water", True, 0.0))
    return tuple(remedy for remedy in remedies if remedy is not None)


def _another_day(zones: Sequence[ClockZone], rule: WateringRule, most_programs: int) -> Remedy | None:
    """One more watering day a week for every zone, on a permitted day if one is free, else on a new one."""
    used = math.ceil(
        max(min(zone.days_per_week, len(rule.weekdays)) for zone in zones if zone.run_time_min_per_week > 0)
    )
    if rule.parity or used >= 7:
        return None
    more = [replace(zone, days_per_week=zone.days_per_week + 1, weekdays=()) for zone in zones]
    if used < len(rule.weekdays):
        plan = _plan(more, rule, most_programs)
        return Remedy("another_day", f"{used + 1} watering days a week", plan.fits, plan.over_min)
    plans = (
        _plan(more, replace(rule, weekdays=rule.weekdays | {day}), most_programs)
        for day in sorted(EVERY_DAY - rule.weekdays)
    )
    best = min(plans, key=lambda plan: plan.over_min)
    return Remedy("another_day", "permission for one more weekday", best.fits, best.over_min)


def _run_together(plan: ClockPlan, zones: Sequence[ClockZone], rule: WateringRule) -> Remedy | None:
    """Pairs of zones whose flows the supply carries together; each pair takes the longer of its run times."""
    supply = rule.supply_flow_l_min
    if supply is None:
        return None
    flow = {zone.key: zone.flow_l_min for zone in zones}
    saved = [_saved_by_pairs(program.runs, flow, supply) for program in plan.programs]
    if not any(saved):
        return None
    drafts = [
        (program.weekdays, program.runs, replace(program.night, elapsed_min=program.night.elapsed_min - less))
        for program, less in zip(plan.programs, saved, strict=True)
    ]
    busiest = max(at + draft[2].elapsed_min for at, draft in zip(_offsets(drafts), drafts, strict=True))
    over = max(0.0, busiest - rule.window_min)
    return Remedy("run_together", "two low-flow zones at a time", over == 0, over)


def _saved_by_pairs(runs: tuple[DayRun, ...], flow: dict[str, float | None], supply_l_min: float) -> float:
    """Minutes a night gets shorter when zones run in pairs the supply can carry, longest runs paired first."""
    saved = 0.0
    waiting = sorted(runs, key=lambda run: -run.run_time_min)
    while waiting:
        own = flow[waiting.pop(0).key]
        if own is None:
            continue
        for other in waiting:
            beside = flow[other.key]
            if beside is not None and own + beside <= supply_l_min:
                waiting.remove(other)
                saved += other.run_time_min
                break
    return saved
