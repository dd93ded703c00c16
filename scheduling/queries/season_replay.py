"""A site's season lived through again: what each zone needed, what it got, days under stress, water lost."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.climate import Climatology
from scheduling.core.water.replay import Days, Ground, Replay, ground_of, replay_by_need, replay_given
from scheduling.core.water.season import ZoneSeason
from scheduling.core.water.season_chart import SeasonChart, season_chart
from scheduling.queries.climate import days_with_normals, station_climatology
from scheduling.queries.plan import StationWeather, site_seasons
from scheduling.queries.published import DailyRuns, daily_runs, permitted_dates
from sites.models import Site, Zone

BASIS = (
    "Daily soil-water balance, FAO-56 Eq. 82 to 88, begun with the soil in the middle of a cycle; zones as "
    "the register has them today. Got: run times as set at the controllers, without days the site was off or paused "
    "and without zones that a fault stopped. Needed: refilled on permitted days before the readily available water "
    "is used up. Lost: irrigation that overfilled the soil, and the share of each run that makes up for unevenness."
)


class NotEnough(Exception):
    """The season cannot be lived through again; `str()` says what is needed."""


@dataclass(frozen=True)
class SeasonGround:
    """All that a replay of a site's season needs; `seasons` only of zones that could be computed."""

    site: Site
    year: int
    climate: Climatology
    days: Days
    zones: tuple[Zone, ...]
    seasons: tuple[ZoneSeason, ...]
    left_out: tuple[dict, ...]

    @property
    def dates(self) -> list[dt.date]:
        return self.days.dates.tolist()


@dataclass(frozen=True)
class ZoneReplay:
    """One zone's season; litres None where neither flow nor area is known, depths in mm."""

    zone: Zone
    needed_l: float | None
    got_l: float | None
    lost_l: float | None
    needed_mm: float
    got_mm: float
    lost_irrigation_mm: float
    lost_rain_mm: float
    stress_days: int
    best_stress_days: int

    @property
    def percent(self) -> float | None:
        """What it got in percent of what it needed."""
        return 100.0 * self.got_mm / self.needed_mm if self.needed_mm > 0 else None


@dataclass(frozen=True)
class SiteReplay:
    """A season of a site up to `until`."""

    site: Site
    year: int
    until: dt.date
    zones: tuple[ZoneReplay, ...]
    left_out: tuple[dict, ...]
    filled_days: int
    unscheduled_days: int
    paused_days: int
    basis: str = BASIS

    def total(self, name: str) -> float:
        """Sum of a litres column over the zones where it is known."""
        return sum(getattr(line, name) or 0.0 for line in self.zones)

    @property
    def needed_l(self) -> float:
        return self.total("needed_l")

    @property
    def got_l(self) -> float:
        return self.total("got_l")

    @property
    def lost_l(self) -> float:
        return self.total("lost_l")


@dataclass(frozen=True)
class MonthLine:
    """One month of a zone, mm; `stress_days` in the growing months."""

    month: int
    et_mm: float
    rain_mm: float
    irrigation_mm: float
    needed_mm: float
    lost_irrigation_mm: float
    lost_rain_mm: float
    stress_days: int
    driest_mm: float


@dataclass(frozen=True)
class ZoneSeasonSheet:
    """One zone's season as chart and table."""

    line: ZoneReplay
    chart: SeasonChart
    months: tuple[MonthLine, ...]
    raw_mm: float
    taw_mm: float
    replay: SiteReplay


def season_ground(site: Site, year: int, until: dt.date) -> SeasonGround:
    """Weather, soil and emitters of a season from 1 January to `until`. Raises `NotEnough`."""
    if site.weather_station is None:
        raise NotEnough("a weather station for the site")
    try:
        climate = station_climatology(site.weather_station)
    except WaterInputError as error:
        raise NotEnough(f"a full year of daily weather at {site.weather_station.name} ({error})") from error
    found = site_seasons(site, StationWeather(climate), year)
    if not found.seasons:
        needs = "; ".join(f"zone {item['zone']}: {item['needs']}" for item in found.not_computed)
        raise NotEnough(needs or "a zone in use")
    zones, seasons = zip(*found.seasons, strict=True)
    days = days_with_normals(site.weather_station, climate, dt.date(year, 1, 1), until)
    return SeasonGround(site, year, climate, days, zones, seasons, found.not_computed)


def last_day(year: int, today: dt.date) -> dt.date:
    """The last day of a season that has been lived through; the year's end for years gone by."""
    return min(today - dt.timedelta(days=1), dt.date(year, 12, 31))


def site_replay(site: Site, *, season_year: int, today: dt.date) -> SiteReplay:
    """Needed against got for every zone of a season. Raises `NotEnough`."""
    ground, got, needed, runs = _replays(site, season_year, today)
    return _site_replay(ground, got, needed, runs)


def zone_season_sheet(zone: Zone, *, season_year: int, today: dt.date, unit_mm: float = 1.0) -> ZoneSeasonSheet:
    """The chart and months of one zone's season. Raises `NotEnough`, also where this zone cannot be computed."""
    ground, got, needed, runs = _replays(zone.site, season_year, today)
    replay = _site_replay(ground, got, needed, runs)
    places = [place for place, each in enumerate(ground.zones) if each.pk == zone.pk]
    if not places:
        lacking = [item["needs"] for item in ground.left_out if item["zone_id"] == zone.pk]
        raise NotEnough(lacking[0] if lacking else "the zone in use")
    place = places[0]
    soil: Ground = got.ground
    chart = season_chart(
        ground.days.dates,
        ground.days.et_mm,
        ground.days.rain_mm,
        got.gross_mm[:, place],
        got.balance.depletion_mm[:, place],
        float(soil.raw_mm[place]),
        float(soil.taw_mm[place]),
        got.stress[:, place],
        unit_mm,
    )
    months = _months(ground.days, got, needed, place)
    return ZoneSeasonSheet(
        replay.zones[place], chart, months, float(soil.raw_mm[place]), float(soil.taw_mm[place]), replay
    )


def _replays(site: Site, year: int, today: dt.date) -> tuple[SeasonGround, Replay, Replay, DailyRuns]:
    until = last_day(year, today)
    if until < dt.date(year, 1, 1):
        raise NotEnough("at least one day of the season")
    ground = season_ground(site, year, until)
    soil = ground_of(ground.seasons)
    runs = daily_runs([site], dt.date(year, 1, 1), until)[site.pk]
    got = replay_given(soil, ground.days, runs.of([zone.pk for zone in ground.zones]))
    needed = replay_by_need(soil, ground.days, permitted_dates(site, ground.dates))
    return ground, got, needed, runs


def _site_replay(ground: SeasonGround, got: Replay, needed: Replay, runs: DailyRuns) -> SiteReplay:
    growing = got.growing.any(axis=1)
    return SiteReplay(
        site=ground.site,
        year=ground.year,
        until=ground.dates[-1],
        zones=tuple(_line(zone, place, got, needed) for place, zone in enumerate(ground.zones)),
        left_out=ground.left_out,
        filled_days=ground.days.filled,
        unscheduled_days=int((growing & ~runs.in_force).sum()),
        paused_days=int((runs.paused & runs.in_force).sum()),
    )


def _line(zone: Zone, place: int, got: Replay, needed: Replay) -> ZoneReplay:
    return ZoneReplay(
        zone=zone,
        needed_l=_known(needed.litres[:, place]),
        got_l=_known(got.litres[:, place]),
        lost_l=_known(got.lost_irrigation_l[:, place]),
        needed_mm=float(needed.gross_mm[:, place].sum()),
        got_mm=float(got.gross_mm[:, place].sum()),
        lost_irrigation_mm=float(got.lost_irrigation_mm[:, place].sum()),
        lost_rain_mm=float(got.lost_rain_mm[:, place].sum()),
        stress_days=int(got.stress[:, place].sum()),
        best_stress_days=int(needed.stress[:, place].sum()),
    )


def _known(litres: np.ndarray) -> float | None:
    total = float(litres.sum())
    return None if np.isnan(total) else total


def _months(days: Days, got: Replay, needed: Replay, place: int) -> tuple[MonthLine, ...]:
    rows: Sequence[int] = sorted(set(days.month_row.tolist()))
    lines = []
    for row in rows:
        of = days.month_row == row
        lines.append(
            MonthLine(
                month=row + 1,
                et_mm=float(days.et_mm[of].sum()),
                rain_mm=float(days.rain_mm[of].sum()),
                irrigation_mm=float(got.gross_mm[of, place].sum()),
                needed_mm=float(needed.gross_mm[of, place].sum()),
                lost_irrigation_mm=float(got.lost_irrigation_mm[of, place].sum()),
                lost_rain_mm=float(got.lost_rain_mm[of, place].sum()),
                stress_days=int(got.stress[of, place].sum()),
                driest_mm=float(got.balance.depletion_mm[of, place].max()),
            )
        )
    return tuple(lines)
