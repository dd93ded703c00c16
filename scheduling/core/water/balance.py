"""Daily soil-water balance of many zones: arrays over zones, a loop over days only.

FAO-56 Eq. 82 to 88 without capillary rise. Strict float64: an irrigation trigger is a yes or no, and float32 or
reordered sums would flip it in some zones.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduling.core.water.advice import Flags, Outlook, plan_waterings
from scheduling.core.water.checks import Array, WaterInputError, complete

IGNORED_RAIN_SHARE = 0.2  # rain below 0.2 ETo of the day evaporates unused (FAO-56 chapter 8)


@dataclass(frozen=True)
class ZoneSoil:
    """Soil of the zones, each of shape (zones,): TAW mm, allowed depletion as a share, depletion at start mm."""

    taw_mm: Array
    depletion_fraction: Array
    start_depletion_mm: Array


@dataclass(frozen=True)
class DailyDrive:
    """Weather and demand of the days.

    et_mm, rain_mm, runoff_mm (days, stations) or (days,); station (zones,) picks each zone's column.
    plant_factor (rows, zones) with `factor_row` (days,) naming the row of each day (a month, say): one row
    needs no `factor_row`, as many rows as days neither.
    """

    et_mm: Array
    rain_mm: Array
    plant_factor: Array
    station: NDArray[np.int64] | None = None
    factor_row: NDArray[np.int64] | None = None
    runoff_mm: Array | None = None


@dataclass(frozen=True)
class GivenIrrigation:
    """Net depths as applied, mm, shape (days, zones) (gross times application efficiency)."""

    net_mm: Array


@dataclass(frozen=True)
class IrrigationByNeed:
    """Refill to field capacity in the morning of a permitted day once depletion reaches RAW.

    permitted (days,) or (days, zones). With `look_ahead` a zone is also refilled when the demand until its next
    permitted day would pass RAW.
    """

    permitted: Flags
    look_ahead: bool = False


@dataclass(frozen=True)
class IrrigationByAdvice:
    """Watered as advised from the outlook, which knows nothing of the days to come but their normals or forecast.

    The advice is set on the days of `set_on`, (days,), for the days until the next of them, and runs unchanged.
    `least_mm` (zones,) is the smallest depth worth a run.
    """

    outlook: Outlook
    set_on: Flags
    least_mm: Array | float = 0.0

    def from_day(self, day: int, depletion_mm: Array) -> Array:
        """Depths of the days until the advice is set again, (days, zones)."""
        later = np.flatnonzero(self.set_on[day + 1 :])
        until = int(later[0]) + 1 if len(later) else len(self.set_on) - day
        plan = plan_waterings(self.outlook, depletion_mm, first=day, days=until, least_mm=self.least_mm)
        return plan.depth_mm


Irrigation = GivenIrrigation | IrrigationByNeed | IrrigationByAdvice


@dataclass(frozen=True)
class Balance:
    """Daily results of shape (days, zones), mm; `depletion_mm` stands at the end of the day.

    `ks` rests on the depletion at the start of the day. `rain_mm` is what entered the soil, `demand_mm` what an
    unstressed planting would have used.
    """

    depletion_mm: Array
    ks: Array
    eta_mm: Array
    deep_percolation_mm: Array
    irrigation_mm: Array
    rain_mm: Array
    demand_mm: Array
    start_depletion_mm: Array

    @property
    def stress_days(self) -> NDArray[np.int64]:
        """Days under stress of each zone."""
        return np.count_nonzero(self.ks < 1.0, axis=0)

    @property
    def irrigations(self) -> NDArray[np.int64]:
        """Days with irrigation of each zone."""
        return np.count_nonzero(self.irrigation_mm > 0.0, axis=0)

    @property
    def closure_mm(self) -> Array:
        """Error of the mass balance of each zone over all days: 0 but for rounding."""
        gain = self.irrigation_mm.sum(axis=0) + self.rain_mm.sum(axis=0)
        loss = self.eta_mm.sum(axis=0) + self.deep_percolation_mm.sum(axis=0)
        end = self.depletion_mm[-1] if len(self.depletion_mm) else self.start_depletion_mm
        return (end - self.start_depletion_mm) - (loss - gain)


def soil_water_balance(
    drive: DailyDrive,
    soil: ZoneSoil,
    irrigation: Irrigation,
    paused: Flags | None = None,
) -> Balance:
    """Run the balance over all days.

    `paused` (days,) or (days, zones) marks days on which nothing is irrigated (rain pause). Raises
    `WaterInputError` for NaN, negative depths or shapes that do not fit. Source: FAO-56 Eq. 82-88.
    """
    taw, raw, depletion = _checked_soil(soil)
    demand, rain = _drive_by_zone(drive, len(taw))
    days, zones = demand.shape
    allowed = _by_zone("paused", np.zeros(days, np.bool_) if paused is None else paused, days, zones) == 0
    depth_on = _depths(irrigation, demand, allowed, raw)
    blank = [np.empty((days, zones)) for _ in range(5)]
    out = Balance(blank[0], blank[1], blank[2], blank[3], blank[4], rain, demand, depletion.copy())
    span = taw - raw
    for day in range(days):
        stress = out.ks[day]
        np.subtract(taw, depletion, out=stress)
        np.divide(stress, span, out=stress)
        np.minimum(stress, 1.0, out=stress)
        out.irrigation_mm[day] = depth_on(day, depletion)
        depletion = _one_day(out, day, depletion, taw)
    return out


def _depths(irrigation: Irrigation, demand: Array, allowed: Flags, raw: Array) -> Callable[[int, Array], Array]:
    """What is given on a day whose morning shows this depletion, (zones,) mm."""
    days, zones = demand.shape
    if isinstance(irrigation, GivenIrrigation):
        applied = np.where(allowed, complete("irrigation", _shaped(irrigation.net_mm, days, zones), 0), 0.0)
        return lambda day, depletion: applied[day]
    if isinstance(irrigation, IrrigationByAdvice):
        advised = np.zeros((days, zones))

        def as_advised(day: int, depletion: Array) -> Array:
            if day == 0 or irrigation.set_on[day]:
                plan = irrigation.from_day(day, depletion)
                advised[day : day + len(plan)] = plan * allowed[day : day + len(plan)]
            return advised[day]

        return as_advised
    permitted = _by_zone("permitted", irrigation.permitted, days, zones)
    may = allowed & permitted
    ahead = demand_until_next(demand, permitted) if irrigation.look_ahead else np.zeros((days, 1))
    return lambda day, depletion: depletion * (may[day] & (depletion + ahead[day] >= raw))


def _one_day(out: Balance, day: int, depletion: Array, taw: Array) -> Array:
    """Eq. 85-88 for one day, written into `out`; returns the depletion at its end."""
    eta, lost, end = out.eta_mm[day], out.deep_percolation_mm[day], out.depletion_mm[day]
    np.subtract(depletion, out.rain_mm[day], out=lost)
    np.subtract(lost, out.irrigation_mm[day], out=lost)  # depletion before the plants drink; may be negative
    np.multiply(out.ks[day], out.demand_mm[day], out=eta)
    # The plants cannot take more than the soil holds: keeps D within TAW and the mass balance closed.
    np.subtract(taw, lost, out=end)
    np.minimum(eta, end, out=eta)
    np.add(lost, eta, out=end)
    np.minimum(end, taw, out=end)  # rounding
    np.negative(end, out=lost)
    np.maximum(lost, 0.0, out=lost)
    np.maximum(end, 0.0, out=end)
    return end


def _checked_soil(soil: ZoneSoil) -> tuple[Array, Array, Array]:
    taw = np.atleast_1d(complete("TAW", soil.taw_mm, 0.1))
    share = np.broadcast_to(complete("allowed depletion", soil.depletion_fraction, 0.05, 0.95), taw.shape)
    start = np.broadcast_to(complete("start depletion", soil.start_depletion_mm, 0), taw.shape)
    if (start > taw).any():
        raise WaterInputError("start depletion", "is more than the soil holds")
    return taw, share * taw, start.copy()


def _drive_by_zone(drive: DailyDrive, zones: int) -> tuple[Array, Array]:
    """Unstressed demand and rain entering the soil, both (days, zones)."""
    et, rain = complete("ET", drive.et_mm, 0), complete("rain", drive.rain_mm, 0)
    et, rain = (values[:, None] if values.ndim == 1 else values for values in (et, rain))
    if et.shape != rain.shape:
        raise WaterInputError("rain", "needs the same days and stations as ET")
    entering = np.where(rain < IGNORED_RAIN_SHARE * et, 0.0, rain)
    if drive.runoff_mm is not None:
        entering = np.maximum(entering - complete("runoff", drive.runoff_mm, 0).reshape(et.shape), 0.0)
    station = np.zeros(zones, np.int64) if drive.station is None else np.asarray(drive.station)
    if station.shape != (zones,) or (station.size and not 0 <= station.min() <= station.max() < et.shape[1]):
        raise WaterInputError("station", "needs one valid column for each zone")
    factor = np.atleast_2d(complete("plant factor", drive.plant_factor, 0, 2))
    demand = et[:, station]
    if drive.factor_row is not None:
        demand *= factor[np.asarray(drive.factor_row)]
    elif factor.shape[0] in (1, len(et)):
        demand *= factor
    else:
        raise WaterInputError("plant factor", "needs one row, one row a day, or factor_row")
    return demand, entering[:, station]


def _shaped(values: Array, days: int, zones: int) -> Array:
    array = np.asarray(values)
    if array.ndim == 1 and array.shape == (days,):
        array = array[:, None]
    try:
        return np.broadcast_to(array, (days, zones))
    except ValueError:
        raise WaterInputError("irrigation", f"needs the shape {days} days x {zones} zones") from None


def _by_zone(field: str, flags: Flags, days: int, zones: int) -> Flags:
    array = np.asarray(flags, dtype=np.bool_)
    if array.shape not in ((days,), (days, zones)):
        raise WaterInputError(field, f"needs {days} days, or {days} days x {zones} zones")
    return np.broadcast_to(array[:, None] if array.ndim == 1 else array, (days, zones))


def demand_until_next(demand_mm: Array, permitted: Flags) -> Array:
    """Demand from each day to the eve of the zone's next permitted day, (days, zones); the end of the series
    counts as permitted."""
    total = np.zeros(demand_mm.shape[1])
    until = np.empty_like(demand_mm)
    for day in range(len(demand_mm) - 1, -1, -1):
        np.add(total, demand_mm[day], out=until[day])
        total = np.where(permitted[day], 0.0, until[day])
    return until
