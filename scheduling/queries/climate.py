"""A station's monthly normals, kept in the cache until one of its days changes."""

import datetime as dt

import numpy as np
from django.core.cache import cache
from django.db.models import Count, Max, Sum

from scheduling.core.water.climate import Climatology, daily_normals, monthly_climatology
from scheduling.core.water.week import WeekWeather
from scheduling.models import DailyWeather
from scheduling.queries.weather import history, last_seven_days
from sites.models import WeatherStation

MOST_SILENT_DAYS = 3  # more of the last seven: the month's normal is used, common practice
CACHE_SECONDS = 24 * 3600


def station_climatology(station: WeatherStation) -> Climatology:
    """Normals from all stored days. Raises `WaterInputError` while some month is not covered by any year.

    The sums stand in the key so that a corrected day counts, not only a new one.
    """
    state = DailyWeather.objects.filter(station=station).aggregate(
        days=Count("pk"), last=Max("date"), et=Sum("eto_mm"), rain=Sum("precipitation_mm"), warm=Sum("temp_max_c")
    )
    key = f"climatology:{station.pk}:{state['days']}:{state['last']}:{state['et']}:{state['rain']}:{state['warm']}"
    found = cache.get(key)
    if found is None:
        found = monthly_climatology(station.name, *history(station))
        cache.set(key, found, CACHE_SECONDS)
    return found


def week_weather(station: WeatherStation, climate: Climatology, today: dt.date) -> WeekWeather | None:
    """The seven days before `today` with their normals; None where the station was silent for too many."""
    et, rain = last_seven_days(station, today)
    if int((np.isnan(et) | np.isnan(rain)).sum()) > MOST_SILENT_DAYS:
        return None
    first = today - dt.timedelta(days=7)
    dates = np.arange(np.datetime64(first), np.datetime64(today))
    return WeekWeather(
        first_day=first,
        et_mm=et,
        rain_mm=rain,
        normal_et_mm=daily_normals(climate.et_mm.mean, dates),
        normal_rain_mm=daily_normals(climate.rain_mm.mean, dates),
    )
