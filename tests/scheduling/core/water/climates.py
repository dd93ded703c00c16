"""Two climates for the tests: one of round figures, one of the real daily series of Seattle 2012-2015.

The series is the one the `vega_datasets` package carries (precipitation mm, temperatures degC, wind m/s).
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from scheduling.core.station_files import Column, StationFile, read_declared_csv
from scheduling.core.water.climate import Climatology, MonthlyNormal, monthly_climatology
from scheduling.core.water.daily_et import DailyWeather, StationGeometry, daily_reference_et

ET_MM = (30, 40, 70, 100, 140, 160, 180, 150, 100, 60, 35, 25)
RAIN_MM = (80, 60, 60, 50, 40, 30, 20, 25, 40, 60, 80, 90)


def monthly(quantity, values):
    row = np.asarray(values, dtype=float)
    return MonthlyNormal(quantity, "mm", row, row * 0.8, row, row * 1.2, np.full(12, 10))


def make_climate(et_mm=ET_MM, rain_mm=RAIN_MM, tmax_c=22.0, tmin_c=10.0) -> Climatology:
    return Climatology(
        "round figures",
        2010,
        2019,
        monthly("ET", et_mm),
        monthly("rain", rain_mm),
        monthly("tmax", np.full(12, tmax_c)),
        monthly("tmin", np.full(12, tmin_c)),
    )


SEATTLE = StationGeometry(47.45, 130.0, wind_height_m=10.0)
SEATTLE_COLUMNS = (
    Column("precipitation", "precipitation", "mm"),
    Column("temp_max", "temp_max", "c"),
    Column("temp_min", "temp_min", "c"),
    Column("wind", "wind", "m_s"),
)


@cache
def seattle_text() -> str:
    vega_datasets = pytest.importorskip("vega_datasets")
    return (Path(vega_datasets.__file__).parent / "_data" / "seattle-weather.csv").read_text()


@cache
def seattle_file() -> StationFile:
    return read_declared_csv(seattle_text(), SEATTLE_COLUMNS, ignored=("weather",))


@cache
def seattle_weather() -> DailyWeather:
    days = seattle_file().good_rows

    def column(field):
        return np.array([np.nan if day[field] is None else day[field] for day in days])

    return DailyWeather(
        np.array([day.date for day in days], dtype="datetime64[D]"),
        column("temp_max"),
        column("temp_min"),
        column("precipitation"),
        column("wind"),
    )


@cache
def seattle_climate() -> Climatology:
    return monthly_climatology("Seattle", seattle_weather(), daily_reference_et(seattle_weather(), SEATTLE))
