"""A station whose freezes a person can count, and sites at given heights above it."""

import datetime as dt

from scheduling.models import DailyWeather
from tests import factories

YEARS = range(2004, 2026)


def cold_on(day: int, shift: int = 0) -> float:
    """Minimum of a day of the year: -2.2 °C on day 80 and, from there on warmer, again on day 300; 0.1 K a day."""
    return round(-2.2 + 0.1 * min(day - 80, 300 + shift - day), 1)


def make_station(*, years=YEARS, spread=lambda year: 0, **fields):
    """Last hard freeze on 21 March, first on 27 October (days 80 and 300), this one `spread` days later a year."""
    fields = {"name": "Harbour", "elevation_m": 100, **fields}
    station = factories.WeatherStationFactory(code=fields["name"], **fields)
    DailyWeather.objects.bulk_create(
        DailyWeather(
            station=station,
            date=dt.date(year, 1, 1) + dt.timedelta(days=day - 1),
            temp_min_c=cold_on(day, spread(year)),
        )
        for year in years
        for day in (*range(60, 105), *range(260, 328))
    )
    return station


def site_above(station, rise_m: float, **fields):
    height = station.elevation_m + rise_m if station else 100
    return factories.SiteFactory(weather_station=station, elevation_m=height, **fields)
