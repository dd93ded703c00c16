"""Saves the demo's two weather stations through the import a person uses."""

import datetime as dt

from config.demo import weather
from sites.models import User, WeatherStation


def make_stations(*, today: dt.date, by: User) -> WeatherStation:
    """Both stations with their days; returns the replayed one, which the sites use."""
    WeatherStation.objects.create(
        code="SEATTLE-2012-2015", name="Seattle, measured daily series 2012-2015", **weather.PLACE
    )
    return WeatherStation.objects.create(
        code="DEMO-YEAR",
        name="Demo year: Seattle days of 2012-2015 replayed on today's calendar (not measured in these years)",
        **weather.PLACE,
    )
