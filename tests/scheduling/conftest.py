"""The measured Seattle series, imported once by the real action and copied for every test that wants it."""

from pathlib import Path

import pytest
import vega_datasets

from scheduling.actions.weather import import_station_text
from scheduling.models import DailyWeather
from sites.models import WeatherStation
from tests import factories

_KEPT: dict[bool, list[dict]] = {}  # by whether the station is coastal: its reference ET is stored with the days


@pytest.fixture(scope="session")
def seattle_text() -> str:
    path = Path(vega_datasets.__file__).parent / "_data" / "seattle-weather.csv"
    return path.read_text(encoding="utf-8")


@pytest.fixture
def seattle(db, seattle_text) -> WeatherStation:
    """The station with its 1,461 days of 2012 to 2015."""
    station = factories.WeatherStationFactory(coastal=True)
    if station.coastal not in _KEPT:
        import_station_text(
            station=station,
            text=seattle_text,
            file_name="seattle-weather.csv",
            file_format="seattle",
            keep_good_rows=False,
            by=None,
        )
        _KEPT[station.coastal] = list(DailyWeather.objects.values())
        return station
    rows = [{**row, "id": None, "station_id": station.pk} for row in _KEPT[station.coastal]]
    DailyWeather.objects.bulk_create(DailyWeather(**row) for row in rows)
    return station
