"""A forecast typed in for a weather station: kept by day, its reference ET found where temperatures were given."""

from collections.abc import Iterable

import numpy as np
from django.db import transaction

from scheduling.core.water.daily_et import DailyWeather, daily_reference_et, method_words
from scheduling.models import ForecastDay
from scheduling.queries.weather import station_geometry
from sites.actions.audit import record
from sites.models import User, WeatherStation

ENTERED = "entered"


def save_forecast(*, station: WeatherStation, days: Iterable[ForecastDay], by: User | None) -> int:
    """Store the days that say something, take away those that say nothing; returns how many days stand now.

    A reference ET that was entered stays; with temperatures alone it is computed as for a measured day that lacks
    all else. The days are this station's, each date once.
    """
    days = list(days)
    told = [day for day in days if _says_something(day)]
    silent = [day.date for day in days if not _says_something(day)]
    with transaction.atomic():
        WeatherStation.objects.select_for_update().get(pk=station.pk)  # one writer a station
        ForecastDay.objects.filter(station=station, date__in=silent).delete()
        for day in told:
            day.station, day.entered_by = station, by
            day.pk = None  # the conflict is found by station and date
            _find_reference_et(day)
        ForecastDay.objects.bulk_create(
            told,
            update_conflicts=True,
            unique_fields=["station", "date"],
            update_fields=[
                "temp_max_c", "temp_min_c", "precipitation_mm", "rain_chance_percent", "eto_mm", "eto_method",
                "entered_at", "entered_by",
            ],
        )  # fmt: skip
        record(by=by, verb="entered forecast", subject=station, days=len(told), cleared=len(silent))
    return len(told)


def _says_something(day: ForecastDay) -> bool:
    return any(value is not None for value in (day.temp_max_c, day.precipitation_mm, day.eto_mm))


def _find_reference_et(day: ForecastDay) -> None:
    if day.eto_mm is not None:
        day.eto_method = ENTERED
    elif day.temp_max_c is None:
        day.eto_method = ""
    else:
        weather = DailyWeather(
            np.array([day.date], dtype="datetime64[D]"), np.array([day.temp_max_c]), np.array([day.temp_min_c])
        )
        found = daily_reference_et(weather, station_geometry(day.station))
        day.eto_mm, day.eto_method = float(found.et_mm[0]), method_words(int(found.method[0]))
