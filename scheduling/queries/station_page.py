"""A weather station as a person reads it: its climate by month, its last days, its imports."""

import datetime as dt
from dataclasses import dataclass

from scheduling.core.water.checks import WaterInputError
from scheduling.models import DailyWeather, ForecastDay, WeatherImport
from scheduling.queries.climate import station_climatology
from sites.core import writing
from sites.models import WeatherStation

SHOWN_DAYS = 14
SHOWN_IMPORTS = 10


@dataclass(frozen=True)
class ClimateLine:
    """One month of the normal year: totals in mm, temperatures in degC, percentiles over the years."""

    month: str
    et_mm: float
    et_p10_mm: float
    et_p90_mm: float
    rain_mm: float
    tmax_c: float
    tmin_c: float
    years: int


@dataclass(frozen=True)
class StationSheet:
    climate: tuple[ClimateLine, ...]
    et_year_mm: float
    rain_year_mm: float
    first_year: int | None
    last_year: int | None
    no_climate_because: str
    days: tuple[DailyWeather, ...]
    imports: tuple[WeatherImport, ...]
    forecast: tuple[ForecastDay, ...]


def station_sheet(station: WeatherStation, today: dt.date) -> StationSheet:
    forecast = tuple(ForecastDay.objects.filter(station=station, date__gte=today).select_related("entered_by"))
    days = tuple(DailyWeather.objects.filter(station=station).order_by("-date")[:SHOWN_DAYS])
    imports = tuple(
        WeatherImport.objects.filter(station=station).defer("refused_text").select_related("by")[:SHOWN_IMPORTS]
    )
    try:
        climate = station_climatology(station)
    except WaterInputError as error:
        return StationSheet((), 0.0, 0.0, None, None, str(error), days, imports, forecast)
    lines = tuple(
        ClimateLine(
            month=writing.month_name(index + 1),
            et_mm=float(climate.et_mm.mean[index]),
            et_p10_mm=float(climate.et_mm.p10[index]),
            et_p90_mm=float(climate.et_mm.p90[index]),
            rain_mm=float(climate.rain_mm.mean[index]),
            tmax_c=float(climate.tmax_c.mean[index]),
            tmin_c=float(climate.tmin_c.mean[index]),
            years=int(climate.et_mm.years[index]),
        )
        for index in range(12)
    )
    year = (float(climate.et_mm.mean.sum()), float(climate.rain_mm.mean.sum()))
    return StationSheet(lines, *year, climate.first_year, climate.last_year, "", days, imports, forecast)
