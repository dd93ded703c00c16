"""Nights of frost in the forecast, and the sites whose water is still on when they come."""

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass

from scheduling.models import ForecastDay
from sites.models import Site, WeatherStation
from sites.queries.site_state import state_lines

FROST_C = 0.0  # of the air at the station, in the forecast: common practice, no source
DAYS_AHEAD = 7


@dataclass(frozen=True)
class FrostNight:
    """The first frost that is forecast at a station and the coldest one, with the sites of it that are on."""

    station: WeatherStation
    first_on: dt.date
    first_c: float
    coldest_on: dt.date
    coldest_c: float
    sites: tuple[Site, ...]


def frost_nights(today: dt.date, site: Site | None = None) -> tuple[FrostNight, ...]:
    """Stations with frost in the coming week at which a site, or this one, is on. Three queries."""
    cold = ForecastDay.objects.filter(
        temp_min_c__lte=FROST_C, date__gte=today, date__lt=today + dt.timedelta(days=DAYS_AHEAD)
    ).select_related("station")
    nights: dict[WeatherStation, list[ForecastDay]] = defaultdict(list)
    for day in cold.order_by("station__name", "station", "date"):
        nights[day.station].append(day)
    if not nights:
        return ()
    sites = Site.objects.current().filter(weather_station__in=nights)
    if site is not None:
        sites = sites.filter(pk=site.pk)
    lines = state_lines() if site is None else state_lines([site.pk])
    on: dict[int | None, list[Site]] = defaultdict(list)
    for row in sites:
        if lines[row.pk].at(today).is_on:
            on[row.weather_station_id].append(row)
    return tuple(_night(station, days, tuple(on[station.pk])) for station, days in nights.items() if on[station.pk])


def _night(station: WeatherStation, days: list[ForecastDay], sites: tuple[Site, ...]) -> FrostNight:
    coldest = min(days, key=lambda day: day.temp_min_c)
    return FrostNight(
        station=station,
        first_on=days[0].date,
        first_c=days[0].temp_min_c,
        coldest_on=coldest.date,
        coldest_c=coldest.temp_min_c,
        sites=sites,
    )
