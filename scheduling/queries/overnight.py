"""Nights between two readings of a meter: what ran although nothing was to be irrigated."""

import datetime as dt
import zoneinfo
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from scheduling.core.water.meter import LeakCheck, Reading, counter_step, overnight
from scheduling.queries.published import DailyRuns
from sites.models import Meter, MeterReading, Site

NO_SCHEDULE = "no schedule was published on these days"
WATERED = "watering was scheduled on these days"


@dataclass(frozen=True)
class NightRead:
    """One night: its two readings, the flow between them in L/h and the least flow these readings could tell.

    `remark` says why the night tells nothing; it is empty for a night without scheduled watering.
    """

    first: MeterReading
    last: MeterReading
    hours: float
    flow: LeakCheck
    remark: str

    @property
    def leaks(self) -> bool:
        return not self.remark and self.flow.tellable


def nights(
    meter: Meter, site: Site, runs: DailyRuns, largest_per_day: float, litres_per_unit: float
) -> list[NightRead]:
    """Every pair of readings around a night inside the days of `runs`, oldest first.

    Both of its days count as a whole: on which side of a read a program would have run is not known surely enough.
    """
    zone = zoneinfo.ZoneInfo(site.time_zone)
    readings = [row for row in meter.readings.all() if not row.estimated]
    step = counter_step([row.counter for row in readings])
    found = []
    for before, after in _pairs(readings):
        first, last = ((row.read_on - runs.first).days for row in (before, after))
        evening, morning = _read(before, zone), _read(after, zone)
        flow = overnight(evening, morning, meter.digits, largest_per_day, litres_per_unit, step)
        if flow is None or first < 0 or last >= runs.days:
            continue
        hours = (morning.at - evening.at).total_seconds() / 3600.0
        found.append(NightRead(before, after, hours, flow, _remark(runs, first, last)))
    return found


def _pairs(readings: Sequence[MeterReading]) -> Iterator[tuple[MeterReading, MeterReading]]:
    ordered = sorted(readings, key=lambda row: row.read_on)
    for before, after in zip(ordered, ordered[1:], strict=False):
        if before.read_at and after.read_at and after.read_on - before.read_on == dt.timedelta(days=1):
            yield before, after


def _read(row: MeterReading, zone: zoneinfo.ZoneInfo) -> Reading:
    """At its true moment, so that a night in which the clocks change has its real length."""
    assert row.read_at is not None
    at = dt.datetime.combine(row.read_on, row.read_at, tzinfo=zone).astimezone(dt.UTC)
    return Reading(at, float(row.counter), "", row.estimated)


def _remark(runs: DailyRuns, first: int, last: int) -> str:
    if not runs.in_force[first : last + 1].all():
        return NO_SCHEDULE
    watered = any(minutes[first : last + 1].any() for minutes in runs.minutes.values())
    return WATERED if watered else ""
