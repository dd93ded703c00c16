"""What a schedule was computed from, as JSON in its `basis`, so that a figure explains itself years later.

The register and the weather move on; a published figure is explained by the inputs of its own day.
"""

import datetime as dt
from dataclasses import fields
from typing import Any

import numpy as np

from scheduling.core.water.climate import Climatology, MonthlyNormal
from scheduling.core.water.derivation import Known
from scheduling.core.water.week import Morning, ThisWeek
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
    et_mm, rain_mm, tmax_c, tmin_c = (
        MonthlyNormal(
            name, "", np.array(frozen[name]["mean"]), unknown, unknown, unknown, np.array(frozen[name]["years"])
        )
        for name in NORMALS
    )
    return Climatology(frozen["station"], frozen["first_year"], frozen["last_year"], et_mm, rain_mm, tmax_c, tmin_c)


MORNING_MM = tuple(field.name for field in fields(Morning) if field.name.endswith("_mm"))
KEPT_OF_WEEK = (
    "depth_mm", "exact_run_time_min", "run_time_min", "cycles", "cycle_min", "soak_min", "litres", "every_weeks",
    "shared_mm", "shared_l", "assumed",
)  # fmt: skip


def freeze_advice(week: ThisWeek) -> dict[str, Any]:
    """The week of a zone with its mornings in columns."""
    frozen: dict[str, Any] = {name: getattr(week, name) for name in KEPT_OF_WEEK}
    frozen["first_day"] = week.first_day.isoformat()
    frozen["dates"] = [date.isoformat() for date in week.dates]
    frozen["due_on"] = week.due_on.isoformat() if week.due_on else None
    frozen["may_water"] = [morning.may_water for morning in week.mornings]
    for name in MORNING_MM:
        frozen[f"mornings_{name}"] = [round(getattr(morning, name), 3) for morning in week.mornings]
    return frozen


def thaw_advice(frozen: dict[str, Any]) -> ThisWeek:
    first = dt.date.fromisoformat(frozen["first_day"])
    mornings = tuple(
        Morning(
            date=first + dt.timedelta(days=row),
            may_water=may,
            **{name: frozen[f"mornings_{name}"][row] for name in MORNING_MM},
        )
        for row, may in enumerate(frozen["may_water"])
    )
    return ThisWeek(
        first_day=first,
        mornings=mornings,
        dates=tuple(dt.date.fromisoformat(text) for text in frozen["dates"]),
        due_on=dt.date.fromisoformat(frozen["due_on"]) if frozen["due_on"] else None,
        **{name: frozen[name] for name in KEPT_OF_WEEK},
    )
