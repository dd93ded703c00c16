"""Saves the demo's two weather stations and a forecast through the actions a person uses."""

import datetime as dt

from config.demo import weather
from config.demo.dice import dice
from scheduling.actions.forecasts import save_forecast
from scheduling.actions.weather import import_station_text
from scheduling.models import DailyWeather, ForecastDay
from sites.models import User, WeatherStation

FORECAST_DAYS = 5  # of the seven that can be entered; the normals stand in for the others


def make_stations(*, today: dt.date, by: User) -> WeatherStation:
    """Both stations with their days; returns the replayed one, which the sites use."""
    text = weather.measured_text()
    measured = WeatherStation.objects.create(
        code="SEATTLE-2012-2015", name="Seattle, measured daily series 2012-2015", **weather.PLACE
    )
    replayed = WeatherStation.objects.create(
        code="DEMO-YEAR",
        name="Demo year: Seattle 2012-2015 replayed, not measured",
        **weather.PLACE,
    )
    for station, days, file_name in (
        (measured, text, weather.SERIES.name),
        (replayed, weather.replayed_text(text, today), f"replayed-{weather.SERIES.name}"),
    ):
        import_station_text(
            station=station,
            text=days,
            file_name=file_name,
            file_format="seattle",
            keep_good_rows=True,
            by=by,
            today=max(today, weather.LAST_DAY),
        )
    return replayed


def lengthen_freeze_record(*, seed: int, today: dt.date, station: WeatherStation) -> None:
    """Minimum temperatures alone for the years before the replay: by a record of four years no site has own dates."""
    minima = weather.earlier_minima(seed, today)
    rows = [DailyWeather(station=station, date=date, temp_min_c=cold_c) for date, cold_c in minima.items()]
    DailyWeather.objects.bulk_create(rows, batch_size=2000)


def enter_forecast(*, seed: int, today: dt.date, station: WeatherStation, by: User) -> None:
    """The coming days as a forecast would have them: whole figures, a little off what the station will measure."""
    rng = dice(seed, "forecast")
    days = []
    for date, rain_mm, warm_c, cold_c in weather.coming_days(today, FORECAST_DAYS):
        off = rng.choice((-1, 0, 1))
        days.append(
            ForecastDay(
                date=date,
                precipitation_mm=float(round(rain_mm)),
                temp_max_c=float(round(warm_c) + off),
                temp_min_c=float(round(min(cold_c, warm_c)) + off),
            )
        )
    save_forecast(station=station, days=days, by=by)
