"""A site's season worked out by the water core: what every zone needs, and what a zone lacks to be computed."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.climate import Climatology
from scheduling.core.water.derivation import CannotCompute
from scheduling.core.water.replay import Days
from scheduling.core.water.season import ZoneMonth, ZoneSeason, zone_season
from scheduling.core.water.week import ThisWeek, WeekWeather
from scheduling.core.water.zone_inputs import LIMITS
from scheduling.queries.climate import coming_week, recent_days, station_climatology
from scheduling.queries.register import permitted_days_per_week, window_min, zone_inputs
from scheduling.queries.snapshot import freeze_advice, freeze_climate, freeze_zone
from sites.core.units import format_quantity
from sites.models import Firm, Site, WeatherStation, Zone

RULE_WEEK = "the soil's daily balance up to yesterday and the coming week"
RULE_FORECAST = "the forecast entered for the coming week; how wet the soil is, is not known"
RULE_MONTH = "the normal of the month"


@dataclass(frozen=True)
class StationWeather:
    """What one station gives every site that hangs on it; `needs` tells what is missing instead.

    `recent` is the season so far for a soil balance, None where the station was silent of late; `coming` the next
    seven days by the forecast somebody entered, else by the normals.
    """

    climate: Climatology | None
    needs: str = ""
    recent: Days | None = None
    coming: WeekWeather | None = None


@dataclass(frozen=True)
class SiteSeasons:
    """The season of every zone of a site that could be computed, and what the others need."""

    site: Site
    seasons: tuple[tuple[Zone, ZoneSeason], ...]
    not_computed: tuple[dict[str, Any], ...]


@dataclass(frozen=True)
class ZonePlan:
    """A zone that could be computed: its year, and the watering that goes into the programs now.

    `now` is the coming week as its soil needs it, or the month's normal.
    """

    zone: Zone
    season: ZoneSeason
    now: ThisWeek | ZoneMonth


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
    published_week: dict[str, float] | None = None


def station_weather(station: WeatherStation | None, today: dt.date) -> StationWeather:
    """Climate and last week of a station, or what it needs before any site of it can be computed."""
    if station is None:
        return StationWeather(None, "a weather station for the site")
    try:
        climate = station_climatology(station)
    except WaterInputError as error:
        return StationWeather(None, f"a full year of daily weather at {station.name} ({error})")
    return StationWeather(climate, "", recent_days(station, climate, today), coming_week(station, climate, today))


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
    weeks: Mapping[int, ThisWeek] | None = None,
) -> SitePlan:
    """What goes into the site's programs now: by `weeks` what the soil of each zone needs, else a month's normal.

    With `month` that month's normal, and for zones that `weeks` does not hold.
    """
    site = found.site
    ahead: dict[int, ThisWeek] = {}
    if month is None and weeks:
        ahead = {zone.pk: weeks[zone.pk] for zone, _ in found.seasons if zone.pk in weeks}
    plan = SitePlan(site=site, year=today.year, month=month or today.month, not_computed=list(found.not_computed))
    for zone, season in found.seasons:
        now: ThisWeek | ZoneMonth = ahead.get(zone.pk) or season.months[plan.month - 1]
        plan.zones.append(ZonePlan(zone, season, now))
        plan.warnings += [f"Zone {zone}: {words}" for words in now.warnings]
    plan.basis = {
        "rule": _rule(weather, list(ahead.values())),
        "permitted_days_per_week": permitted_days_per_week(site),
        "window_min": window_min(site),
        "station": weather.climate.station if weather.climate else "",
        "climate": freeze_climate(weather.climate) if weather.climate else None,
        "forecast_days": weather.coming.days_entered if ahead and weather.coming else 0,
        "advice": {str(pk): freeze_advice(week) for pk, week in ahead.items()},
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
    if error.field not in TOLD_IN_UNITS or getattr(zone, error.field) is None:
        return str(error)
    name, quantity = TOLD_IN_UNITS[error.field]
    units, (lowest, highest) = Firm.current().units, LIMITS[error.field]
    value = getattr(zone, error.field)
    found, low, high = (format_quantity(each, quantity, units, decimals=3) for each in (value, lowest, highest))
    if lowest <= value <= highest:
        return f"the {name}, {found}, {error.problem}"
    return f"the {name} is {found}, must lie between {low} and {high}"


def _rule(weather: StationWeather, weeks: list[ThisWeek]) -> str:
    if not weeks:
        return RULE_MONTH
    if weather.recent is None:
        return RULE_FORECAST
    entered = weather.coming.days_entered if weather.coming else 0
    return f"{RULE_WEEK}, {entered} of its days by the forecast entered" if entered else RULE_WEEK


def _season(site: Site, zone: Zone, weather: StationWeather, year: int) -> ZoneSeason | str:
    """The zone's season, or in words what it needs."""
    if weather.climate is None:
        return weather.needs
    permitted = permitted_days_per_week(site)
    if permitted == 0:
        return "a permitted watering day (the site names none)"
    try:
        season = zone_season(
            zone_inputs(zone, site), weather.climate, year, permitted, window_min=float(window_min(site))
        )
    except WaterInputError as error:
        return f"a correction in the register: {_in_firms_units(error, zone)}"
    if isinstance(season, CannotCompute):
        return " and ".join(season.needs) + (f" ({season.reason})" if season.reason else "")
    return season
