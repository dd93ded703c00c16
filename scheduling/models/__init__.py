"""Watering: weather by day, season schedules and their programs, pauses."""

from scheduling.models.catch_cans import CatchCanTest
from scheduling.models.schedule import (
    AppliedSchedule,
    Program,
    ProgramStep,
    SeasonSchedule,
    WateringPause,
    ZoneMonth,
)
from scheduling.models.weather import DailyWeather, ForecastDay, WeatherImport

__all__ = [
    "AppliedSchedule",
    "CatchCanTest",
    "DailyWeather",
    "ForecastDay",
    "Program",
    "ProgramStep",
    "SeasonSchedule",
    "WateringPause",
    "WeatherImport",
    "ZoneMonth",
]
