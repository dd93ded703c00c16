"""Watering: weather by day, season schedules and their programs, pauses."""

from scheduling.models.schedule import (
    AppliedSchedule,
    Program,
    ProgramStep,
    SeasonSchedule,
    WateringPause,
    ZoneMonth,
)
from scheduling.models.weather import DailyWeather, WeatherImport

__all__ = [
    "AppliedSchedule",
    "DailyWeather",
    "Program",
    "ProgramStep",
    "SeasonSchedule",
    "WateringPause",
    "WeatherImport",
    "ZoneMonth",
]
