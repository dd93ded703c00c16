"""Season windows: what they mean for each visit, and what the stations' freeze history suggests."""

import datetime as dt
import statistics
import textwrap
from collections.abc import Callable
from dataclasses import dataclass, replace

from jobs.core.routing.frost import (
    HARD_FREEZE_C,
    FreezeRisk,
    FrostLimit,
    Side,
    freeze_risk,
    startup_opens,
    winterise_by,
)
from jobs.models import SeasonWindow, VisitKind
from scheduling.models import DailyWeather
from sites.core.units import format_quantity
from sites.models import Firm, Site, WeatherStation

SEASONAL = (VisitKind.STARTUP, VisitKind.MID_SEASON, VisitKind.WINTERISATION)
CHANCES = (0.1, 0.2, 0.5)
# Common practice, no source: two months for a round, checks begin once the startups have settled.
ROUND_DAYS = 60
SETTLE_DAYS = 28
NAME_CHARS = 60  # leaves room in the reason for its figures
REASON_CHARS = SeasonWindow._meta.get_field("reason").max_length or 200


def part_of(window: SeasonWindow, sequence: int, count: int) -> tuple[dt.date, dt.date]:
    """(opens, due) of visit `sequence` of `count` in a window: equal parts of it, so that visits spread."""
    days = (window.due_on - window.opens_on).days + 1
    first = days * (sequence - 1) // count
    last = max(first, days * sequence // count - 1)
    return window.opens_on + dt.timedelta(days=first), window.opens_on + dt.timedelta(days=last)


@dataclass(frozen=True)
class Suggestion:
    """A window as the freeze history suggests it; no dates where the record gives none."""

    kind: str
    opens_on: dt.date | None
    due_on: dt.date | None
    reason: str
    sufficient: bool

    @property
    def usable(self) -> bool:
        return self.opens_on is not None and self.due_on is not None

    @property
    def name(self) -> str:
        return VisitKind(self.kind).label


def suggested_windows(season_year: int, chance: float) -> list[Suggestion]:
    """Startup opens when a later hard freeze is at most this likely, winterisation is due before an earlier one.

    Each station counts for its own sites: startup at their median elevation, winterisation at the highest, because
    a deadline must protect everybody. Of several stations the most careful date counts.
    """
    stations = _stations()
    limits = [limit for station, rises in stations for limit in _limits(station, rises, season_year, chance)]
    starts = [limit for side, limit in limits if side == "spring"]
    ends = [limit for side, limit in limits if side == "autumn"]
    startup = _startup(starts)
    winterisation = _winterisation(ends)
    return [startup, _mid_season(startup, winterisation), winterisation]


def windows_over(season_year: int, today: dt.date) -> list[VisitKind]:
    """The kinds of visit whose window of this season has passed."""
    ended = set(SeasonWindow.objects.filter(season_year=season_year, due_on__lt=today).values_list("kind", flat=True))
    return [kind for kind in SEASONAL if kind in ended]


def _stations() -> list[tuple[WeatherStation, list[float]]]:
    """Stations with the rises (m) of their current sites."""
    rises: dict[int, list[float]] = {}
    sites = Site.objects.current().filter(weather_station__isnull=False).select_related("weather_station")
    stations = {}
    for site in sites:
        stations[site.weather_station_id] = site.weather_station
        rises.setdefault(site.weather_station_id, []).append(site.elevation_m - site.weather_station.elevation_m)
    return [(stations[pk], rises[pk]) for pk in sorted(stations)]


def _limits(
    station: WeatherStation, rises: list[float], season_year: int, chance: float
) -> list[tuple[Side, FrostLimit]]:
    days = DailyWeather.objects.filter(station=station, temp_min_c__isnull=False)
    minima = dict(days.values_list("date", "temp_min_c"))

    def risk(side: Side, rise_m: float) -> FreezeRisk:
        return freeze_risk(minima, side, HARD_FREEZE_C, latitude=station.latitude, rise_m=rise_m)

    middle, highest = statistics.median(rises), max(rises)
    units = Firm.current().units
    cold = format_quantity(HARD_FREEZE_C, "temperature", units)
    return [
        ("spring", startup_opens(risk("spring", middle), season_year, chance, _where(station, middle, units), cold)),
        ("autumn", winterise_by(risk("autumn", highest), season_year, chance, _where(station, highest, units), cold)),
    ]


def _where(station: WeatherStation, rise_m: float, units: str) -> str:
    """The station, and how far above it its sites lie."""
    name = textwrap.shorten(station.name, NAME_CHARS, placeholder="…")
    if round(rise_m) == 0:
        return name
    return f"{name} {'+' if rise_m > 0 else '-'} {format_quantity(abs(round(rise_m)), 'length', units, decimals=0)}"


def _pick(limits: list[FrostLimit], choose: Callable) -> FrostLimit:
    dated = [limit for limit in limits if limit.on]
    if dated:
        return choose(dated, key=lambda limit: limit.on)
    return limits[0] if limits else FrostLimit(None, "no site has a weather station", sufficient=False)


def _startup(limits: list[FrostLimit]) -> Suggestion:
    limit = _pick(limits, max)
    due = limit.on + dt.timedelta(days=ROUND_DAYS) if limit.on else None
    return Suggestion(VisitKind.STARTUP, limit.on, due, limit.reason[:REASON_CHARS], limit.sufficient)


def _winterisation(limits: list[FrostLimit]) -> Suggestion:
    limit = _pick(limits, min)
    opens = limit.on - dt.timedelta(days=ROUND_DAYS) if limit.on else None
    return Suggestion(VisitKind.WINTERISATION, opens, limit.on, limit.reason[:REASON_CHARS], limit.sufficient)


def _mid_season(startup: Suggestion, winterisation: Suggestion) -> Suggestion:
    reason = f"from {SETTLE_DAYS} days after the last startup to {SETTLE_DAYS} days before winterisation begins"
    empty = Suggestion(VisitKind.MID_SEASON, None, None, reason, startup.sufficient and winterisation.sufficient)
    if not startup.due_on or not winterisation.opens_on:
        return replace(empty, reason="needs the two dates of startup and winterisation")
    opens = startup.due_on + dt.timedelta(days=SETTLE_DAYS)
    due = winterisation.opens_on - dt.timedelta(days=SETTLE_DAYS)
    return replace(empty, opens_on=opens, due_on=due) if opens <= due else empty
