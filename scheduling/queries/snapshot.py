"""What a schedule was computed from, as JSON in its `basis`, so that a figure explains itself years later.

The register and the weather move on; a published figure is explained by the inputs of its own day.
"""

import datetime as dt
from dataclasses import fields
from typing import Any

import numpy as np

from scheduling.core.water.climate import Climatology, MonthlyNormal
from scheduling.core.water.derivation import Known
from scheduling.core.water.week import WeekWeather
from scheduling.core.water.zone_inputs import ZoneInputs

NORMALS = ("et_mm", "rain_mm", "tmax_c", "tmin_c")


INPUT_NAMES = tuple(field.name for field in fields(ZoneInputs))


def freeze_zone(inputs: ZoneInputs) -> dict[str, Any]:
    """Only what is known; defaults are found again by name when thawed."""
    frozen: dict[str, Any] = {}
    for name in INPUT_NAMES:
        value = getattr(inputs, name)
        if value is None or value == "":
            continue
        if isinstance(value, Known):
            frozen[name] = {"value": value.value, "origin": value.origin, "note": value.note}
        else:
            frozen[name] = value.isoformat() if isinstance(value, dt.date) else value
    return frozen


def thaw_zone(frozen: dict[str, Any]) -> ZoneInputs:
    thawed = {}
    for name, value in frozen.items():
        if isinstance(value, dict):
            value = Known(**value)
        elif name == "planted_on":
            value = dt.date.fromisoformat(value)
        thawed[name] = value
    return ZoneInputs(**thawed)


def freeze_climate(climate: Climatology) -> dict[str, Any]:
    frozen: dict[str, Any] = {
        "station": climate.station,
        "first_year": climate.first_year,
        "last_year": climate.last_year,
    }
    for name in NORMALS:
        normal: MonthlyNormal = getattr(climate, name)
        frozen[name] = {"mean": normal.mean.tolist(), "years": normal.years.tolist()}
    return frozen


def thaw_climate(frozen: dict[str, Any]) -> Climatology:
    """The means and years; percentiles are not kept and come back as NaN."""
    unknown = np.full(12, np.nan)
    normals = {
        name: MonthlyNormal(
            name, "", np.array(frozen[name]["mean"]), unknown, unknown, unknown, np.array(frozen[name]["years"])
        )
        for name in NORMALS
    }
    return Climatology(frozen["station"], frozen["first_year"], frozen["last_year"], **normals)


def freeze_week(week: WeekWeather | None) -> dict[str, Any] | None:
    if week is None:
        return None
    frozen: dict[str, Any] = {"first_day": week.first_day.isoformat(), "ahead": week.ahead}
    for name in ("et_mm", "rain_mm", "normal_et_mm", "normal_rain_mm"):
        frozen[name] = [None if np.isnan(value) else float(value) for value in getattr(week, name)]
    return frozen


def thaw_week(frozen: dict[str, Any] | None) -> WeekWeather | None:
    if frozen is None:
        return None
    arrays = {
        name: np.array([np.nan if value is None else value for value in frozen[name]])
        for name in ("et_mm", "rain_mm", "normal_et_mm", "normal_rain_mm")
    }
    first_day = dt.date.fromisoformat(frozen["first_day"])
    return WeekWeather(first_day=first_day, ahead=frozen.get("ahead", False), **arrays)
