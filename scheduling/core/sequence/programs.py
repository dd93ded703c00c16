"""Watering programs: which zone valves, how long, on which days, from which times. Pure values."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, time, timedelta


@dataclass(frozen=True)
class Weekdays:
    """Days of the week, Monday 0 to Sunday 6."""

    days: frozenset[int]

    def __post_init__(self) -> None:
        if not self.days <= frozenset(range(7)):
            raise ValueError("weekdays are 0 (Monday) to 6 (Sunday)")

    def includes(self, day: date) -> bool:
        return day.weekday() in self.days


@dataclass(frozen=True)
class EveryNDays:
    """Every n-th day counted from `anchor`, also before it."""

    n: int
    anchor: date

    def __post_init__(self) -> None:
        if self.n < 1:
            raise ValueError("an interval is at least 1 day")

    def includes(self, day: date) -> bool:
        return (day - self.anchor).days % self.n == 0


@dataclass(frozen=True)
class OddDays:
    """Odd days of the month; the 31st is left out by default, the 1st follows it."""

    skip_31st: bool = True

    def includes(self, day: date) -> bool:
        return day.day % 2 == 1 and not (self.skip_31st and day.day == 31)


@dataclass(frozen=True)
class EvenDays:
    def includes(self, day: date) -> bool:
        return day.day % 2 == 0


@dataclass(frozen=True)
class Dates:
    """These dates and no others."""

    dates: frozenset[date]

    def includes(self, day: date) -> bool:
        return day in self.dates


DayRule = Weekdays | Dates | EveryNDays | OddDays | EvenDays
EVERY_DAY = Weekdays(frozenset(range(7)))


@dataclass(frozen=True)
class Step:
    """One zone valve in a program.

    minutes: all cycles together; None means "as computed" and must be filled by `with_minutes`.
    soak_min: shortest pause between the end of one cycle and the start of the next.
    """

    valve_id: int
    minutes: float | None
    cycles: int = 1
    soak_min: float = 0.0
    enabled: bool = True

    def __post_init__(self) -> None:
        if self.minutes is not None and self.minutes <= 0:
            raise ValueError("a step waters for more than 0 minutes")
        if self.cycles < 1:
            raise ValueError("a step has at least one cycle")
        if self.soak_min < 0:
            raise ValueError("a soak is not negative")


@dataclass(frozen=True)
class Program:
    """Steps that run in order from each start time on each day of the rule.

    priority: the lower number goes first when two programs wait. active_from, active_until: both included.
    """

    id: int
    name: str
    start_times: tuple[time, ...]
    days: DayRule
    steps: tuple[Step, ...]
    priority: int = 1
    active_from: date | None = None
    active_until: date | None = None
    enabled: bool = True

    def runs_on(self, day: date) -> bool:
        if not self.enabled or not self.days.includes(day):
            return False
        if self.active_from is not None and day < self.active_from:
            return False
        return self.active_until is None or day <= self.active_until

    @property
    def enabled_steps(self) -> tuple[Step, ...]:
        return tuple(step for step in self.steps if step.enabled)

    @property
    def minutes(self) -> float:
        """Watering minutes of one start, without pauses."""
        return sum(step.minutes or 0.0 for step in self.enabled_steps)


def days_between(first_day: date, last_day: date) -> tuple[date, ...]:
    """Both days included; empty if the last is before the first."""
    return tuple(first_day + timedelta(days=n) for n in range((last_day - first_day).days + 1))


def with_minutes(program: Program, minutes_by_valve: Mapping[int, float]) -> Program:
    """The program with every "as computed" step filled; a step without a figure is switched off."""

    def fill(step: Step) -> Step:
        if step.minutes is not None:
            return step
        minutes = minutes_by_valve.get(step.valve_id, 0.0)
        return replace(step, minutes=minutes) if minutes > 0 else replace(step, enabled=False)

    return replace(program, steps=tuple(fill(step) for step in program.steps))


def move_step(program: Program, position: int, to: int) -> Program:
    """The program with the step at `position` (from 0) moved to `to`; others keep their order."""
    steps = list(program.steps)
    step = steps.pop(position)
    steps.insert(max(0, min(to, len(steps))), step)
    return replace(program, steps=tuple(steps))


def duplicate_step(program: Program, position: int) -> Program:
    steps = list(program.steps)
    steps.insert(position + 1, steps[position])
    return replace(program, steps=tuple(steps))


def switch_step(program: Program, position: int, enabled: bool) -> Program:
    steps = list(program.steps)
    steps[position] = replace(steps[position], enabled=enabled)
    return replace(program, steps=tuple(steps))


def walk_through_steps(valve_ids: tuple[int, ...], minutes: float = 2.0) -> tuple[Step, ...]:
    """Steps of a walk-through test of all zones; 2 minutes each is common practice, no source."""
    return tuple(Step(valve_id, minutes) for valve_id in valve_ids)
