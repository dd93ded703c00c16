"""The words that compiler, verifier and simulator share: commands, timeline, delays, rules."""

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from enum import StrEnum

HOUR_S = 3600.0  # in which a pump's starts are counted
EPSILON_S = 2e-5  # times are floats; a shortfall below this is none


class Action(StrEnum):
    OPEN_VALVE = "open_valve"
    CLOSE_VALVE = "close_valve"
    OPEN_MASTER = "open_master"
    CLOSE_MASTER = "close_master"
    START_PUMP = "start_pump"
    STOP_PUMP = "stop_pump"


ON_ACTIONS = (Action.OPEN_VALVE, Action.OPEN_MASTER, Action.START_PUMP)
MASTER, PUMP = "master", "pump"  # what these outputs are called where a valve has its id
_WORDS = {
    Action.OPEN_VALVE: "open",
    Action.CLOSE_VALVE: "close",
    Action.OPEN_MASTER: "open master valve",
    Action.CLOSE_MASTER: "close master valve",
    Action.START_PUMP: "start pump",
    Action.STOP_PUMP: "stop pump",
}


@dataclass(frozen=True)
class Command:
    """Sent at `at_s` after the timeline's origin.

    max_on_s: longest duration the start or opening carries with it, for field devices that enforce one.
    """

    at_s: float
    action: Action
    valve_id: int | None = None
    max_on_s: float | None = None

    @property
    def output(self) -> int | str:
        """What it switches: a valve's id, "master" or "pump"."""
        if self.valve_id is not None:
            return self.valve_id
        return PUMP if self.action in (Action.START_PUMP, Action.STOP_PUMP) else MASTER

    def words(self, names: dict[int, str]) -> str:
        if self.valve_id is None:
            return _WORDS[self.action]
        return f"{_WORDS[self.action]} {names.get(self.valve_id, self.valve_id)}"


@dataclass(frozen=True)
class Demand:
    """Seconds of water a zone valve must get over the whole timeline, give or take `tolerance_s`."""

    valve_id: int
    water_s: float
    tolerance_s: float


@dataclass(frozen=True)
class Run:
    """One planned run of a valve, for charts: opened and closed by command at these seconds.

    due_s: when the start of the program it belongs to was due.
    """

    valve_id: int
    program_id: int
    open_s: float
    close_s: float
    water_s: float
    due_s: float = 0.0


class NoticeKind(StrEnum):
    QUEUED = "queued"  # a program waited for another one
    REFUSED = "refused"  # a program or step was not planned
    PUMP_WAIT = "pump_wait"  # start put off for rest or starts an hour
    PUMP_STOP = "pump_stop"  # the pump stops in the middle of a program
    EXTENDED = "extended"  # a zone runs longer so that the pump meets its minimum run
    SOAK_WAIT = "soak_wait"  # nothing else to water while a zone soaks
    OUTSIDE_WINDOW = "outside_window"  # watering outside the permitted hours or days
    CLOCK_CHANGE = "clock_change"  # the start time does not exist or exists twice that day
    UNSAFE_PLANT = "unsafe_plant"  # the plant itself cannot be run safely


@dataclass(frozen=True)
class Excess:
    """What a valve takes and what its supply feeds: figures for the page to put into the reader's units."""

    flow_l_min: float
    supply_l_min: float


@dataclass(frozen=True)
class Notice:
    """Something the compiler had to decide or could not do. `seconds` is its size, `at_s` its place."""

    kind: NoticeKind
    text: str
    at_s: float
    seconds: float = 0.0
    program_id: int | None = None
    excess: Excess | None = None


@dataclass(frozen=True)
class Timeline:
    """Commands in order of time. `origin` is an aware UTC datetime."""

    origin: datetime
    commands: tuple[Command, ...]
    demands: tuple[Demand, ...]
    runs: tuple[Run, ...] = ()
    notices: tuple[Notice, ...] = ()

    def at(self, seconds: float, tz: tzinfo) -> datetime:
        """The local time that many seconds after the origin."""
        return (self.origin + timedelta(seconds=seconds)).astimezone(tz)

    @property
    def lasts_s(self) -> float:
        """When the last command is sent."""
        return max((command.at_s for command in self.commands), default=0.0)

    def pump_runs(self) -> tuple[tuple[float, float], ...]:
        """(start, stop) command times of the pump."""
        starts = [c.at_s for c in self.commands if c.action is Action.START_PUMP]
        stops = [c.at_s for c in self.commands if c.action is Action.STOP_PUMP]
        return tuple(zip(starts, stops, strict=False))

    def notices_of(self, *kinds: NoticeKind) -> tuple[Notice, ...]:
        return tuple(notice for notice in self.notices if notice.kind in kinds)


@dataclass(frozen=True)
class CommandDelay:
    """What one command's delays turned out to be.

    effect_s: from command to coil or contactor. stroke_s: from coil to valve open or shut.
    displaced_stroke_s: with interlocked outputs, the closing time of the valve this opening switches off.
    """

    effect_s: float
    stroke_s: float = 0.0
    displaced_stroke_s: float = 0.0


Delays = tuple[CommandDelay, ...]  # one for each command of the timeline, same order


class Rule(StrEnum):
    """What a timeline must keep for all delays. The value is how it reads in a proof."""

    WELL_FORMED = "every command changes something"
    ORDER = "no command overtakes another"
    FULL_STROKE = "a valve is open before it is told to close, and shut before it opens again"
    FLOW_PATH = "a path is open while the pump runs, from before it starts until after it stops"
    TOGETHER = "no more valves open than allowed, beyond the hand-over"
    HANDOVER = "a hand-over ends in time"
    ALL_OFF = "everything is off at the end"
    MINUTES = "each zone gets its minutes"
    PUMP_RUN = "the pump runs at least its minimum"
    PUMP_REST = "the pump rests between runs"
    PUMP_STARTS = "the pump starts no more often than allowed in an hour"
