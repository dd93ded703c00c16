"""Seasonal percent: each month's need against the peak, per zone and one setting for a whole controller."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from scheduling.core.water.checks import Array, WaterInputError, complete

LARGEST_SETTING = 150


def percent_of_peak(need_per_day: ArrayLike) -> Array:
    """100 need/largest need along the last axis; needs PER DAY, since months differ in length."""
    need = complete("need", need_per_day, 0)
    peak = need.max(axis=-1, keepdims=True)
    return 100.0 * np.divide(need, peak, out=np.zeros_like(need), where=peak > 0)


@dataclass(frozen=True)
class ZoneCost:
    """What the one setting costs a zone in a month: percent and litres more (+) or less (-) than its own."""

    own_percent: float
    set_percent: int
    over_percent: float
    over_litres: float


@dataclass(frozen=True)
class ControllerMonth:
    """One percent for a controller in a month, the weighted harm it does, and the cost of it by zone."""

    percent: int
    harm: float
    zones: tuple[ZoneCost, ...]


def seasonal_percentage(
    zone_percent: ArrayLike, area_m2: ArrayLike, sensitivity: ArrayLike, peak_litres: ArrayLike
) -> tuple[ControllerMonth, ...]:
    """The setting of each month that does the least harm over the zones of a controller.

    zone_percent (zones, months); area_m2, sensitivity (0..1, how badly the planting takes a wrong amount) and
    peak_litres (water of a month at 100 %) of shape (zones,). Harm = sum of area sensitivity (set - own)^2,
    least among the multiples of 5; a zone's own rounding is no harm. Weights: common practice, no source.
    """
    own = np.atleast_2d(complete("zone percent", zone_percent, 0))
    weight = complete("area", area_m2, 0) * complete("sensitivity", sensitivity, 0, 1)
    litres = complete("peak litres", peak_litres, 0)
    if weight.shape != (own.shape[0],) or weight.sum() <= 0:
        raise WaterInputError("area", "one positive weight is needed for at least one zone")
    settings = np.arange(0, LARGEST_SETTING + 1, 5)
    months = []
    for month in range(own.shape[1]):
        harm = (weight[:, None] * (settings[None, :] - own[:, month, None]) ** 2).sum(axis=0) / weight.sum()
        best = int(settings[harm.argmin()])
        costs = tuple(
            ZoneCost(float(p), best, float(best - p), float((best - p) / 100.0 * full))
            for p, full in zip(own[:, month], litres, strict=True)
        )
        months.append(ControllerMonth(best, float(harm.min()), costs))
    return tuple(months)


# How badly a planting takes too much or too little: common practice, no source.
SENSITIVITY = {
    "cool_turf": 0.7,
    "warm_turf": 0.6,
    "sports_turf": 1.0,
    "annuals": 1.0,
    "perennials": 0.7,
    "shrubs": 0.5,
    "trees": 0.5,
    "drought_tolerant": 0.4,
    "vegetables": 1.0,
    "deciduous_fruit": 0.8,
    "evergreen_fruit": 0.8,
}
