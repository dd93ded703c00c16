"""Cycles of many zones in one night, one valve at a time, so that soaking costs as little time as possible."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scheduling.core.water.checks import WaterInputError


@dataclass(frozen=True)
class DayRun:
    """One zone's watering on one day: run time is cycles times cycle_min; soak between its cycles."""

    key: str
    cycles: int
    cycle_min: int
    soak_min: int

    @property
    def run_time_min(self) -> int:
        """Minutes the valve is open that day."""
        return self.cycles * self.cycle_min


@dataclass(frozen=True)
class ValveStart:
    """A valve opens `offset_min` after the program's start for `minutes`; `cycle` counts from 1."""

    key: str
    cycle: int
    offset_min: float
    minutes: int


@dataclass(frozen=True)
class Night:
    """The starts of one day in order and the minutes from program start to the last close."""

    starts: tuple[ValveStart, ...]
    elapsed_min: float


def interleave(runs: Sequence[DayRun], gap_min: float = 0.25, fill_min: float = 0.0) -> Night:
    """Order the cycles: of the zones that have soaked enough, the one with the longest way of soaks to go runs next,
    else the next in order; the sequence of commands is put in order by the same rule.

    A gap stands before each start (command and fill of the valve) and before each soak (the valve shutting),
    `fill_min` once at the beginning. Keys must differ. The greedy order is not always the shortest possible, but
    never longer than all soaks in a row.
    """
    if len({run.key for run in runs}) < len(runs):
        raise WaterInputError("zones", "each zone may be only once in a night")
    left = {run.key: run.cycles for run in runs if run.cycles > 0}
    ready = dict.fromkeys(left, 0.0)
    by_key = {run.key: run for run in runs}
    starts: list[ValveStart] = []
    now = fill_min

    def way_to_go(key: str) -> float:
        run = by_key[key]
        return left[key] * run.cycle_min + (left[key] - 1) * run.soak_min if left[key] > 1 else 0.0

    while left:
        free = [key for key in left if ready[key] <= now + gap_min] or [min(left, key=lambda k: ready[k])]
        key = max(free, key=way_to_go)
        run = by_key[key]
        begin = max(now + gap_min, ready[key])
        starts.append(ValveStart(key, run.cycles - left[key] + 1, begin, run.cycle_min))
        now = begin + run.cycle_min
        ready[key] = now + gap_min + run.soak_min
        left[key] -= 1
        if not left[key]:
            del left[key]
    return Night(tuple(starts), now if starts else 0.0)


def night_minutes(
    weekly_minutes: Sequence[float], days_per_week: float, gap_min: float = 0.25, fill_min: float = 0.0
) -> float:
    """T_day = sum of the week's minutes / days + starts x gap + fill, one zone at a time, one cycle each."""
    if days_per_week <= 0:
        raise WaterInputError("days a week", "must be above 0")
    running = [minutes for minutes in weekly_minutes if minutes > 0]
    return sum(running) / days_per_week + len(running) * gap_min + fill_min
