"""Stored station days as the arrays of the water core."""

import datetime as dt

import numpy as np
from django.db.models import QuerySet

from scheduling.core.water.daily_et import DailyEt, DailyWeather, StationGeometry
from scheduling.models import DailyWeather as WeatherDay
from sites.models import WeatherStation

# Column of the table -> field of the core.
CORE_FIELD = {
    "precipitation_mm": "rain_mm",
    "temp_max_c": "tmax_c",
    "temp_min_c": "tmin_c",
    "wind_m_s": "wind_m_s",
    "rh_max_pct": "rh_max_pct",
    "rh_min_pct": "rh_min_pct",
    "radiation_mj_m2": "radiation_mj_m2",
}


def station_geometry(station: WeatherStation) -> StationGeometry:
    return StationGeometry(
        latitude_deg=station.latitude,
        elevation_m=station.elevation_m,
        wind_height_m=station.wind_height_m,
        setting="coastal" if station.coastal else "interior",
    )


def days_between(station: WeatherStation, first: dt.date, last: dt.date) -> QuerySet[WeatherDay]:
    """The station's stored days, both ends included, oldest first."""
    return WeatherDay.objects.filter(station=station, date__range=(first, last)).order_by("date")


def history(station: WeatherStation) -> tuple[DailyWeather, DailyEt]:
    """Every stored day with the reference ET stored beside it; NaN where a value is missing."""
    rows = (
        WeatherDay.objects.filter(station=station)
        .order_by("date")
        .values_list("date", "temp_max_c", "temp_min_c", "precipitation_mm", "eto_mm")
    )
    columns = list(zip(*rows, strict=True)) or [()] * 5
    dates = np.array(columns[0], dtype="datetime64[D]")
    tmax, tmin, rain, eto = (np.array(column, dtype=np.float64) for column in columns[1:])
    weather = DailyWeather(dates=dates, tmax_c=tmax, tmin_c=tmin, rain_mm=rain)
    return weather, DailyEt(dates, eto, np.zeros(len(dates), dtype=np.int16))


def et_and_rain(station: WeatherStation, first: dt.date, until: dt.date) -> tuple[np.ndarray, np.ndarray]:
    """ET and rain (mm) of a span, both days included, oldest first; NaN where the station was silent."""
    days = (until - first).days + 1
    et, rain = np.full(days, np.nan), np.full(days, np.nan)
    for date, eto_mm, rain_mm in days_between(station, first, until).values_list(
        "date", "eto_mm", "precipitation_mm"
    ):
        place = (date - first).days
        et[place] = np.nan if eto_mm is None else eto_mm
        rain[place] = np.nan if rain_mm is None else rain_mm
    return et, rain
