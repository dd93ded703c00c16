"""A site's season worked out by the water core: what every zone needs, and what a zone lacks to be computed."""

import datetime as dt
from dataclasses import dataclass, field
from typing import Any

from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.climate import Climatology
from scheduling.core.water.derivation import CannotCompute
from scheduling.core.water.season import ZoneMonth, ZoneSeason, zone_season
from scheduling.core.water.week import ThisWeek, WeekWeather, this_week
from scheduling.queries.climate import station_climatology, week_weather
from scheduling.queries.register import permitted_days_per_week, zone_inputs
from scheduling.queries.snapshot import freeze_climate, freeze_week, freeze_zone
from sites.models import Site, WeatherStation, Zone

RULE_WEEK = "the weather of the last seven days"
RULE_MONTH = "the normal of the month"


@dataclass(frozen=True)
class StationWeather:
    """What one station gives every site that hangs on it; `needs` tells what is missing instead."""

    climate: Climatology | None
    week: WeekWeather | None
    needs: str = ""


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
    return StationWeather(climate, week_weather(station, climate, today))


def plan_site(site: Site, weather: StationWeather, today: dt.date, month: int | None = None) -> SitePlan:
    """The season of every zone in use. `site.zones` should be prefetched.

    With `month` the programs follow that month's normal; left out, this week's weather where the station has it.
    """
    week = weather.week if month is None else None
    plan = SitePlan(site=site, year=today.year, month=month or today.month)
    frozen = {}
    for zone in site.zones.all():
        if not zone.in_use:
            continue
        found = _plan_zone(site, zone, weather, plan, week)
        if isinstance(found, str):
            plan.not_computed.append({"zone_id": zone.pk, "zone": str(zone), "needs": found})
            continue
        plan.zones.append(found)
        plan.warnings += [f"Zone {zone}: {words}" for words in found.now.warnings]
        frozen[str(zone.pk)] = freeze_zone(zone_inputs(zone, site))
    plan.basis = {
        "rule": RULE_WEEK if week else RULE_MONTH,
        "permitted_days_per_week": permitted_days_per_week(site),
        "station": weather.climate.station if weather.climate else "",
        "climate": freeze_climate(weather.climate) if weather.climate else None,
        "week": freeze_week(week),
        "zones": frozen,
    }
    return plan


def _plan_zone(
    site: Site, zone: Zone, weather: StationWeather, plan: SitePlan, week: WeekWeather | None
) -> ZonePlan | str:
    """The zone's plan, or in words what it needs."""
    if weather.climate is None:
        return weather.needs
    permitted = permitted_days_per_week(site)
    if permitted == 0:
        return "a permitted watering day (the site names none)"
    try:
        season = zone_season(zone_inputs(zone, site), weather.climate, plan.year, permitted)
        if isinstance(season, CannotCompute):
            return " and ".join(season.needs) + (f" ({season.reason})" if season.reason else "")
        if week is None:
            return ZonePlan(zone, season, season.months[plan.month - 1])
        return ZonePlan(zone, season, this_week(season, week, permitted_days_per_week=permitted))
    except WaterInputError as error:
        return f"a correction in the register: {error}"
