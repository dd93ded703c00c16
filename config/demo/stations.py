"""Saves the demo's two weather stations through the import a person uses."""

import datetime as dt

from config.demo import weather
from scheduling.actions.weather import import_station_text
from sites.models import User, WeatherStation


def make_stations(*, today: dt.date, by: User) -> WeatherStation:
    """Both stations with their days; returns the replayed one, which the sites use."""
    text = weather.measured_text()
    measured = WeatherStation.objects.create(
        code="SEATTLE-2012-2015", name="Seattle, measured daily series 2012-2015", **weather.PLACE
    )
    replayed = WeatherStation.objects.create(
        code="DEMO-YEAR",
        name="Demo year: Seattle days of 2012-2015 replayed on today's calendar (not measured in these years)",
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
