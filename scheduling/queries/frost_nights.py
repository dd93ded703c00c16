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
    nights: dict[WeatherStation, list[tuple[float, dt.date]]] = defaultdict(list)
    for day in cold.order_by("station__name", "station", "date"):
        assert day.temp_min_c is not None  # days without a figure are left out above
        nights[day.station].append((day.temp_min_c, day.date))
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
    return tuple(_night(station, of_it, tuple(on[station.pk])) for station, of_it in nights.items() if on[station.pk])


def _night(station: WeatherStation, nights: list[tuple[float, dt.date]], sites: tuple[Site, ...]) -> FrostNight:
    (first_c, first_on), (coldest_c, coldest_on) = nights[0], min(nights)
    return FrostNight(station, first_on, first_c, coldest_on, coldest_c, sites)
