"""A site's season run again with one thing changed: litres, cost and stress days side by side."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from scheduling.core.water.changes import CHANGES, TWO_DAYS, Change
from scheduling.core.water.climate import filled_with_normals
from scheduling.core.water.derivation import CannotCompute
from scheduling.core.water.replay import Days, Replay, ground_of, replay_by_need
from scheduling.core.water.season import ZoneSeason, zone_season
from scheduling.queries.published import permitted_dates
from scheduling.queries.register import permitted_days_per_week
from scheduling.queries.season_replay import SeasonGround, season_ground
from scheduling.queries.site_budget import Cost, cost_of_months
from scheduling.queries.weather import history
from sites.models import Site, WeatherStation, Zone

BASIS = (
    "Both columns are watered by need: on permitted days, before the readily available water is used up. Days that "
    "have not come yet, or that the station missed, show its normals. Litres by the flow of a zone, else by rate and "
    "area; cost by the site's tariff."
)
FEWEST_DAYS = 360  # of a year, for it to count as a year of the record


@dataclass(frozen=True)
class Season:
    """One run of the season: litres by month, cost where the site has a tariff, days under stress over all zones."""

    litres_by_month: tuple[float, ...]
    cost: Cost | None
    stress_days: int

    @property
    def litres(self) -> float:
        return sum(self.litres_by_month)


@dataclass(frozen=True)
class ZoneWhatIf:
    """One zone before and after; litres None where neither flow nor area is known."""

    zone: Zone
    before_l: float | None
    after_l: float | None
    before_stress: int
    after_stress: int
    touched: bool


@dataclass(frozen=True)
class WhatIf:
    """A season as it is and with one change. `detail` names what was chosen, the year of the record for one.

    `left_out` are the zones that could not be computed, with what they need.
    """

    change: Change
    season_year: int
    before: Season
    after: Season
    zones: tuple[ZoneWhatIf, ...]
    detail: str = ""
    left_out: tuple[dict, ...] = ()
    basis: str = BASIS

    @property
    def without_litres(self) -> tuple[str, ...]:
        """Zones that are in the days under stress but in no sum of litres."""
        return tuple(str(line.zone) for line in self.zones if line.before_l is None)

    @property
    def litres_percent(self) -> float | None:
        """The change in litres, percent of before."""
        return 100.0 * (self.after.litres / self.before.litres - 1.0) if self.before.litres else None

    @property
    def cost_change(self) -> float | None:
        if self.before.cost is None or self.after.cost is None:
            return None
        return self.after.cost.total - self.before.cost.total


def what_if(site: Site, season_year: int, change: str) -> WhatIf:
    """The whole season of a site again with one thing changed, a key of `core.water.changes.CHANGES`.

    Raises `NotEnough` with what the site needs first, KeyError for an unknown change.
    """
    return _compare(season_ground(site, season_year, dt.date(season_year, 12, 31)), CHANGES[change])


def what_ifs(
    site: Site, season_year: int, keys: Iterable[str] = tuple(CHANGES), until: dt.date | None = None
) -> tuple[WhatIf, ...]:
    """Every change, or those named, the most litres saved first; to the year's end or up to `until`.

    Raises as `what_if`.
    """
    ground = season_ground(site, season_year, until or dt.date(season_year, 12, 31))
    found = [_compare(ground, CHANGES[key]) for key in keys]
    return tuple(sorted(found, key=lambda each: each.after.litres))


def _compare(ground: SeasonGround, change: Change) -> WhatIf:
    days, permitted, detail = ground.days, permitted_dates(ground.site, ground.dates), ""
    seasons = _changed(ground, change)
    if change.key == "two_days":
        seasons = ground.seasons
        narrowed = permitted_dates(ground.site, ground.dates, TWO_DAYS)
        after_run = replay_by_need(ground_of(seasons), days, narrowed)
    elif change.key == "hot_year":
        assert ground.site.weather_station is not None
        days, detail = driest_year(ground.site.weather_station, ground)
        dates = days.dates.tolist()
        after_run = replay_by_need(ground_of(seasons), days, permitted_dates(ground.site, dates))
    else:
        after_run = replay_by_need(ground_of(seasons), days, permitted)
    before_run = replay_by_need(ground_of(ground.seasons), ground.days, permitted)
    zones = tuple(
        ZoneWhatIf(
            zone,
            _known(before_run.litres[:, place]),
            _known(after_run.litres[:, place]),
            int(before_run.stress[:, place].sum()),
            int(after_run.stress[:, place].sum()),
            change.key in ("two_days", "hot_year") or seasons[place] is not ground.seasons[place],
        )
        for place, zone in enumerate(ground.zones)
    )
    before, after = _season(ground.site, before_run), _season(ground.site, after_run)
    return WhatIf(change, ground.year, before, after, zones, detail, ground.left_out)


def _changed(ground: SeasonGround, change: Change) -> tuple[ZoneSeason, ...]:
    """The zones' seasons with the change; a zone it does not touch keeps its season."""
    permitted = permitted_days_per_week(ground.site)
    changed = []
    for season in ground.seasons:
        inputs = season.zone.zone
        other = change.apply(inputs)
        again = season if other is inputs else zone_season(other, ground.climate, ground.year, permitted)
        assert not isinstance(again, CannotCompute)
        changed.append(again)
    return tuple(changed)


def driest_year(station: WeatherStation, ground: SeasonGround) -> tuple[Days, str]:
    """The year of the station's record whose growing months left most to water, on its own dates.

    Whole years count, and the season itself with normals for the days to come.
    """
    weather, et = history(station)
    years = weather.dates.astype("datetime64[Y]").astype(int) + 1970
    rain = np.zeros(len(years)) if weather.rain_mm is None else weather.rain_mm
    growing = np.asarray(ground_of(ground.seasons).growing.any(axis=1))
    best = (left_by_rain_mm(ground.days, growing), ground.year)
    days_of = {ground.year: ground.days}
    for year in sorted(set(years.tolist()) - {ground.year}):
        of = years == year
        if of.sum() < FEWEST_DAYS:
            continue
        dates = weather.dates[of]
        days_of[year] = Days(
            dates,
            filled_with_normals(et.et_mm[of], ground.climate.et_mm.mean, dates),
            filled_with_normals(rain[of], ground.climate.rain_mm.mean, dates),
        )
        best = max(best, (left_by_rain_mm(days_of[year], growing), year))
    year = best[1]
    if year == ground.year:
        return ground.days, "No year of the record was drier than this season"
    return days_of[year], f"{year}: of {len(days_of)} years the one with most ET left by rain, month by month"


def left_by_rain_mm(days: Days, growing: np.ndarray) -> float:
    """ET less rain, each month on its own: a wet winter waters no summer."""
    short = np.bincount(days.month_row, weights=days.et_mm - days.rain_mm, minlength=12)
    return float(np.maximum(short, 0.0)[growing].sum())


def _season(site: Site, run: Replay) -> Season:
    litres = np.nansum(run.litres, axis=1)
    by_month = tuple(float(litres[run.days.month_row == row].sum()) for row in range(12))
    return Season(by_month, cost_of_months(site, by_month), int(run.stress.sum()))


def _known(litres: Sequence[float] | np.ndarray) -> float | None:
    total = float(np.sum(litres))
    return None if np.isnan(total) else total
