"""Programs as they are planned, before they are rows."""

import datetime as dt
from dataclasses import dataclass

from sites.models import Controller, Zone


@dataclass(frozen=True)
class PlannedStep:
    zone: Zone
    run_time_min: int
    cycles: int
    soak_min: int


@dataclass(frozen=True)
class PlannedProgram:
    """`weekdays` are the days the program starts on, Monday 0; at a site with odd or even dates, all seven.

    Every `every_weeks` weeks, counted from `counted_from` where they are more than one.
    """

    controller: Controller
    name: str
    priority: int
    starts_at: dt.time
    weekdays: list[int]
    steps: tuple[PlannedStep, ...]
    every_weeks: int = 1
    counted_from: dt.date | None = None
