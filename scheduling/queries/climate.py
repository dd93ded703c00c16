"""A station's monthly normals, kept in the cache until one of its days changes, and the days around today."""

import datetime as dt

import numpy as np
from django.core.cache import cache
from django.db.models import Count, Max, Sum

from scheduling.core.water.climate import Climatology, daily_normals, filled_with_normals, monthly_climatology
from scheduling.core.water.replay import Days
from scheduling.core.water.week import WeekWeather
from scheduling.models import DailyWeather, ForecastDay
from scheduling.queries.weather import et_and_rain, history
from sites.models import WeatherStation

MOST_SILENT_DAYS = 3  # more of the last seven: how wet the soil is cannot be known, common practice
CACHE_SECONDS = 24 * 3600
BALANCE_DAYS = 120  # long enough that the state at its start no longer matters, short enough for every night


def station_state(station: WeatherStation) -> str:
    """A key that changes with the station's days. The sums stand in it so that a corrected day counts, not only a
    new one."""
    state = DailyWeather.objects.filter(station=station).aggregate(
        days=Count("pk"), last=Max("date"), et=Sum("eto_mm"), rain=Sum("precipitation_mm"), warm=Sum("temp_max_c")
    )
    return f"{station.pk}:{state['days']}:{state['last']}:{state['et']}:{state['rain']}:{state['warm']}"


def station_climatology(station: WeatherStation) -> Climatology:
    """Normals from all stored days. Raises `WaterInputError` while some month is not covered by any year."""
    key = f"climatology:2:{station_state(station)}"  # 2: with how far weeks lie from the normals
    found = cache.get(key)
    if found is None:
        found = monthly_climatology(station.name, *history(station))
        cache.set(key, found, CACHE_SECONDS)
    return found


def days_with_normals(station: WeatherStation, climate: Climatology, first: dt.date, until: dt.date) -> Days:
    """ET and rain of a span, both days included; a silent day shows the station's normal of that day."""
    et, rain = et_and_rain(station, first, until)
    dates = np.arange(np.datetime64(first), np.datetime64(until) + 1)
    return Days(
        dates=dates,
        et_mm=filled_with_normals(et, climate.et_mm.mean, dates),
        rain_mm=filled_with_normals(rain, climate.rain_mm.mean, dates),
        filled=int((np.isnan(et) | np.isnan(rain)).sum()),
    )


def recent_days(station: WeatherStation, climate: Climatology, today: dt.date) -> Days | None:
    """The days up to yesterday that a soil balance of today needs; None where the station was silent of late."""
    yesterday = today - dt.timedelta(days=1)
    et, rain = et_and_rain(station, today - dt.timedelta(days=7), yesterday)
    if int((np.isnan(et) | np.isnan(rain)).sum()) > MOST_SILENT_DAYS:
        return None
    return days_with_normals(station, climate, today - dt.timedelta(days=BALANCE_DAYS), yesterday)


def coming_week(station: WeatherStation, climate: Climatology, today: dt.date) -> WeekWeather:
    """Seven days from today on: the forecast where one was entered, NaN otherwise, with the normals beside it."""
    et, rain, chance = (np.full(7, np.nan) for _ in range(3))
    for day in ForecastDay.objects.filter(station=station, date__range=(today, today + dt.timedelta(days=6))):
        place = (day.date - today).days
        et[place] = np.nan if day.eto_mm is None else day.eto_mm
        rain[place] = np.nan if day.precipitation_mm is None else day.precipitation_mm
        chance[place] = np.nan if day.rain_chance_percent is None else day.rain_chance_percent / 100
    dates = np.arange(np.datetime64(today), np.datetime64(today) + 7)
    return WeekWeather(
        first_day=today,
        et_mm=et,
        rain_mm=rain,
        normal_et_mm=daily_normals(climate.et_mm.mean, dates),
        normal_rain_mm=daily_normals(climate.rain_mm.mean, dates),
        rain_chance=chance,
    )
