"""A week's sequence as charts and words beside the proof: pictures, margins, the day's runs as a table."""

import datetime as dt
import zoneinfo
from dataclasses import dataclass

from scheduling.core.sequence.chart import ChartData, Flag, watering_days
from scheduling.core.sequence.compile import Options, permitted_spans
from scheduling.core.sequence.verify import Proof
from scheduling.queries.sequence_weeks import ControllerWeek, SupplyWeek
from scheduling.queries.supply_proof import SupplyProof, supply_proof
from sites.models import Site, Valve

FLAGS = 3


@dataclass(frozen=True)
class OutputRun:
    """One line of the table: an output on from one moment to another."""

    output: str
    on_at: dt.datetime
    off_at: dt.datetime
    program: str

    @property
    def minutes(self) -> float:
        return (self.off_at - self.on_at).total_seconds() / 60


@dataclass(frozen=True)
class SequencePage:
    """One controller's week with everything the page shows of it. `today`: the date with a chart of its own."""

    week: ControllerWeek
    days: tuple[dt.date, ...]
    day: dt.date | None
    is_today: bool
    table: tuple[tuple[dt.date, list[OutputRun]], ...]

    @property
    def margins(self) -> tuple:
        """The smallest margins with the numbers they have in the chart."""
        return tuple(enumerate(self.week.kept[:FLAGS], start=1))


def sequence_page(week: ControllerWeek, site: Site, now: dt.datetime) -> SequencePage:
    data = chart_data(week, site, now, "")
    days = tuple(watering_days(data)) if data else ()
    today = now.astimezone(zoneinfo.ZoneInfo(site.time_zone)).date()
    day = next((one for one in days if one >= today), days[0] if days else None)
    return SequencePage(week, days, day, day == today, _table(week, site))


@dataclass(frozen=True)
class SupplyPage:
    """A supply's proof and the pages of its controllers."""

    proof: SupplyProof
    controllers: tuple[SequencePage, ...]


def supply_page(supply: SupplyWeek, site: Site, now: dt.datetime, *, one_off: bool = False) -> SupplyPage:
    proof = supply_proof(supply, one_off=one_off)
    return SupplyPage(proof, tuple(sequence_page(week, site, now) for week in supply.controllers))


def chart_data(week: ControllerWeek, site: Site, now: dt.datetime | None, title: str) -> ChartData | None:
    """What the chart draws; None where nothing could be compiled."""
    timeline, plant = week.timeline, week.plant
    if timeline is None or plant is None:
        return None
    zone = zoneinfo.ZoneInfo(site.time_zone)
    window = site.watering_window_start, site.watering_window_end
    flags: tuple[Flag, ...] = ()
    if week.broken is not None:
        flags = (Flag(week.broken.at_s, "", broken=True),)
    elif isinstance(week.verdict, Proof):
        flags = tuple(Flag(margin.at_s, str(n)) for n, margin in enumerate(week.verdict.margins[:FLAGS], start=1))
    last_s = max((run.close_s for run in timeline.runs), default=0.0)
    first, last = timeline.at(0, zone).date(), timeline.at(last_s, zone).date()
    return ChartData(
        title=title or f"{site.name}, {week.controller}",
        timeline=timeline,
        plant=plant,
        tz=zone,
        window=tuple(permitted_spans(timeline.origin, first, last, zone, Options(window=window))),
        day_starts_hour=12 if window[1] <= window[0] else 0,
        flags=flags,
        names={valve.pk: _zone_words(valve) for valve in week.controller.valves.all()},
        now_s=(now - timeline.origin).total_seconds() if now else None,
    )


def _zone_words(valve: Valve) -> str:
    """The zones a valve waters: what people know a row of the chart by."""
    return ", ".join(str(zone) for zone in valve.zones.all() if zone.in_use) or valve.name


def _table(week: ControllerWeek, site: Site) -> tuple[tuple[dt.date, list[OutputRun]], ...]:
    if week.timeline is None:
        return ()
    zone, timeline = zoneinfo.ZoneInfo(site.time_zone), week.timeline
    rows = [OutputRun(run.valve, run.opens_at, run.closes_at, run.program) for run in week.runs]
    rows += [
        OutputRun("Pump", timeline.at(begin, zone), timeline.at(end, zone), "") for begin, end in timeline.pump_runs()
    ]
    days: dict[dt.date, list[OutputRun]] = {}
    for row in sorted(rows, key=lambda row: (row.on_at, row.output)):
        days.setdefault(row.on_at.date(), []).append(row)
    return tuple(sorted(days.items()))
