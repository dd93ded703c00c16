"""A schedule's week as it is shown: controllers, the supplies they draw on, and what was proved of them."""

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass

from scheduling.core.sequence.parts import Part
from scheduling.core.sequence.plant import Plant
from scheduling.core.sequence.timeline import Timeline
from scheduling.core.sequence.together import Clash, SupplyVerdict
from scheduling.core.sequence.verify import CounterExample, Verdict
from scheduling.queries.week_concerns import Concern
from sites.models import Controller, WaterSupply

Moments = tuple[tuple[dt.datetime, str], ...]  # what happened when, in local time


@dataclass(frozen=True)
class TimedRun:
    """One opening of a valve in local time."""

    opens_at: dt.datetime
    closes_at: dt.datetime
    valve: str
    program: str


@dataclass(frozen=True)
class Tag:
    """A word and the class of the tag it stands in."""

    words: str
    kind: str


@dataclass(frozen=True)
class Kept:
    """A rule the week keeps for every delay, and by how many seconds at the worst moment, which `text` tells."""

    rule: str
    margin_s: float
    at: dt.datetime
    text: str


@dataclass(frozen=True)
class ControllerWeek:
    """One controller's week. `ok` None: nothing runs. `story` tells the counter-example step by step.

    `verdict` is on the controller alone; a `clash` is what it breaks with others on its supply.
    """

    controller: Controller
    ok: bool | None
    words: str
    kept: tuple[Kept, ...]
    story: Moments
    notices: tuple[str, ...]
    runs: tuple[TimedRun, ...]
    pump_starts: int
    plant: Plant | None = None
    timeline: Timeline | None = None
    verdict: Verdict | None = None
    concerns: tuple[Concern, ...] = ()
    remedy: str = ""
    clash: Clash | None = None

    @property
    def sound(self) -> bool:
        """Proved, and nothing of the week is a concern."""
        return self.ok is not False and not self.concerns

    @property
    def tag(self) -> Tag:
        """Never green: of lost commands and power cuts nothing is said here."""
        if self.ok is False:
            return Tag("not safe", "bad")
        if self.concerns:
            return Tag("look below", "warn")
        return Tag("nothing runs" if self.ok is None else "commands proved", "soft")

    @property
    def broken(self) -> Clash | CounterExample | None:
        """What the commands break, alone or with others."""
        return self.clash or (self.verdict if isinstance(self.verdict, CounterExample) else None)

    @property
    def part(self) -> Part | None:
        """What it sends, for the core."""
        if self.plant is None or self.timeline is None:
            return None
        return Part(self.plant, self.timeline, self.controller.name)

    @property
    def runs_by_day(self) -> list[tuple[dt.date, list[TimedRun]]]:
        days: dict[dt.date, list[TimedRun]] = defaultdict(list)
        for run in self.runs:
            days[run.opens_at.date()].append(run)
        return sorted(days.items())


@dataclass(frozen=True)
class SupplyWeek:
    """All controllers of one supply; `supply` is None where it is not known what feeds the only one in it."""

    supply: WaterSupply | None
    controllers: tuple[ControllerWeek, ...]
    verdict: SupplyVerdict | None = None
    kept: tuple[Kept, ...] = ()

    @property
    def name(self) -> str:
        return self.supply.name if self.supply else ""

    @property
    def ok(self) -> bool:
        return all(week.ok is not False for week in self.controllers)

    @property
    def sound(self) -> bool:
        return all(week.sound for week in self.controllers)

    @property
    def runs(self) -> bool:
        return any(week.runs for week in self.controllers)

    @property
    def parts(self) -> tuple[Part, ...]:
        """What its controllers send; those whose programs cannot be compiled are missing."""
        return tuple(week.part for week in self.controllers if week.part is not None)


@dataclass(frozen=True)
class WeekTimeline:
    """Every supply of the site for seven days; `ok` only if no controller has a counter-example."""

    week_starts_on: dt.date
    supplies: tuple[SupplyWeek, ...]

    @property
    def controllers(self) -> tuple[ControllerWeek, ...]:
        return tuple(week for supply in self.supplies for week in supply.controllers)

    @property
    def ok(self) -> bool:
        return all(supply.ok for supply in self.supplies)

    @property
    def sound(self) -> bool:
        """Proved throughout, with no concern."""
        return all(supply.sound for supply in self.supplies)
