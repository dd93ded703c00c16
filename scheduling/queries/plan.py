"""A site's season worked out by the water core: what every zone needs, and what a zone lacks to be computed."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.climate import Climatology
from scheduling.core.water.derivation import CannotCompute
from scheduling.core.water.replay import Days
from scheduling.core.water.season import ZoneMonth, ZoneSeason, zone_season
from scheduling.core.water.week import MOST_FILLED_DAYS, ThisWeek, WeekWeather, this_week
from scheduling.core.water.zone_inputs import LIMITS
from scheduling.queries.climate import coming_week, recent_days, station_climatology, week_weather
from scheduling.queries.register import permitted_days_per_week, zone_inputs
from scheduling.queries.snapshot import freeze_climate, freeze_week, freeze_zone
from sites.core.units import format_quantity
from sites.models import Firm, Site, WeatherStation, Zone

RULE_WEEK = "the weather of the last seven days"
RULE_BALANCE = "the soil's daily balance up to yesterday and the coming week"
RULE_FORECAST = "the forecast entered for the coming week"
RULE_MONTH = "the normal of the month"


@dataclass(frozen=True)
class StationWeather:
    """What one station gives every site that hangs on it; `needs` tells what is missing instead.

    `week` are the last seven days, `recent` the season so far for a soil balance, `coming` the next seven days by
    the forecast somebody entered, else by the normals. The first two are None where the station was silent; `coming`
    stays, since a forecast may be all that is known of such a station.
    """

    climate: Climatology | None
    week: WeekWeather | None
    needs: str = ""
    recent: Days | None = None
    coming: WeekWeather | None = None

    @property
    def forecast(self) -> WeekWeather | None:
        """The coming week where enough of it was entered to water by it without a soil balance."""
        coming = self.coming
        return coming if coming is not None and len(coming.filled_days) <= MOST_FILLED_DAYS else None


@dataclass(frozen=True)
class SiteSeasons:
    """The season of every zone of a site that could be computed, and what the others need."""

    site: Site
    seasons: tuple[tuple[Zone, ZoneSeason], ...]
    not_computed: tuple[dict[str, Any], ...]


@dataclass(frozen=True)
class ZonePlan:
    """A zone that could be computed: its year, and the watering that goes into the programs now.

    `now` is the coming week by the last days' weather, or the month's normal.
    """

    zone: Zone
    season: ZoneSeason
    now: ThisWeek | ZoneMonth

    @property
    def longest_interval_days(self) -> int:
        month = self.season.months[self.now.month - 1]
        return month.longest_interval_days


@dataclass
class SitePlan:
    """All zones of a site, computed or not, with the basis that explains the figures later."""

    site: Site
    year: int
    month: int
    zones: list[ZonePlan] = field(default_factory=list)
    not_computed: list[dict[str, Any]] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    basis: dict[str, Any] = field(default_factory=dict)


def station_weather(station: WeatherStation | None, today: dt.date) -> StationWeather:
    """Climate and last week of a station, or what it needs before any site of it can be computed."""
    if station is None:
        return StationWeather(None, None, "a weather station for the site")
    try:
        climate = station_climatology(station)
    except WaterInputError as error:
        return StationWeather(None, None, f"a full year of daily weather at {station.name} ({error})")
    week, coming = week_weather(station, climate, today), coming_week(station, climate, today)
    if week is None:
        return StationWeather(climate, None, coming=coming)
    return StationWeather(climate, week, "", recent_days(station, climate, today), coming)


def site_seasons(site: Site, weather: StationWeather, year: int) -> SiteSeasons:
    """The season of every zone in use. `site.zones` should be prefetched."""
    seasons, lacking = [], []
    for zone in site.zones.all():
        if not zone.in_use:
            continue
        found = _season(site, zone, weather, year)
        if isinstance(found, str):
            lacking.append({"zone_id": zone.pk, "zone": str(zone), "needs": found})
        else:
            seasons.append((zone, found))
    return SiteSeasons(site, tuple(seasons), tuple(lacking))


def plan_site(
    found: SiteSeasons,
    weather: StationWeather,
    today: dt.date,
    month: int | None = None,
    depletion_mm: Mapping[int, float] | None = None,
) -> SitePlan:
    """What goes into the site's programs now.

    With `month` that month's normal; left out, the coming week from the zones' depletion this morning where it is
    known, else the last seven days' weather where the station has it, else the forecast where one was entered.
    """
    site = found.site
    known = {zone.pk: depletion_mm[zone.pk] for zone, _ in found.seasons if zone.pk in (depletion_mm or {})}
    week = None
    if month is None:
        week = weather.coming if known else weather.week or weather.forecast
    plan = SitePlan(site=site, year=today.year, month=month or today.month, not_computed=list(found.not_computed))
    permitted = permitted_days_per_week(site)
    for zone, season in found.seasons:
        now: ThisWeek | ZoneMonth = season.months[plan.month - 1]
        if week is not None and known:
            now = this_week(season, week, depletion_mm=known[zone.pk], permitted_days_per_week=permitted)
        elif week is not None:
            now = this_week(season, week, permitted_days_per_week=permitted)
        plan.zones.append(ZonePlan(zone, season, now))
        plan.warnings += [f"Zone {zone}: {words}" for words in now.warnings]
    plan.basis = {
        "rule": _rule(week, balanced=bool(known)),
        "permitted_days_per_week": permitted,
        "station": weather.climate.station if weather.climate else "",
        "climate": freeze_climate(weather.climate) if weather.climate else None,
        "week": freeze_week(week),
        "depletion_mm": {str(pk): value for pk, value in known.items()},
        "zones": {str(zone.pk): freeze_zone(season.zone.zone) for zone, season in found.seasons},
    }
    return plan


# Field of the core whose limits are told in the firm's units -> its name and quantity.
TOLD_IN_UNITS = {
    "application_rate_mm_h": ("application rate", "rate"),
    "area_m2": ("area", "area"),
    "flow_l_min": ("flow", "flow"),
    "root_depth_m": ("root depth", "length"),
}


def _in_firms_units(error: WaterInputError, zone: Zone) -> str:
    if error.field not in TOLD_IN_UNITS:
        return str(error)
    name, quantity = TOLD_IN_UNITS[error.field]
    units = Firm.current().units
    found, low, high = (
        format_quantity(value, quantity, units, decimals=3)
        for value in (getattr(zone, error.field), *LIMITS[error.field])
    )
    return f"the {name} is {found}, must lie between {low} and {high}"


def _rule(week: WeekWeather | None, *, balanced: bool) -> str:
    if week is None:
        return RULE_MONTH
    if not balanced:
        return RULE_FORECAST if week.ahead else RULE_WEEK
    entered = int(np.count_nonzero(~(np.isnan(week.et_mm) & np.isnan(week.rain_mm))))
    return f"{RULE_BALANCE}, {entered} of its days by the forecast entered" if entered else RULE_BALANCE


def _season(site: Site, zone: Zone, weather: StationWeather, year: int) -> ZoneSeason | str:
    """The zone's season, or in words what it needs."""
    if weather.climate is None:
        return weather.needs
    permitted = permitted_days_per_week(site)
    if permitted == 0:
        return "a permitted watering day (the site names none)"
    try:
        season = zone_season(zone_inputs(zone, site), weather.climate, year, permitted)
    except WaterInputError as error:
        return f"a correction in the register: {_in_firms_units(error, zone)}"
    if isinstance(season, CannotCompute):
        return " and ".join(season.needs) + (f" ({season.reason})" if season.reason else "")
    return season
