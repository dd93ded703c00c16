"""Effective rain: the part of the rain a planting can use, by five published rules. Depths in mm.

A plan uses the monthly rule or the fixed fraction; a weekly correction uses the soil reservoir when a balance
exists, else the fixed fraction. Never two caps in one sum.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from scheduling.core.water.checks import Array, complete

MM_PER_INCH = 25.4
LARGEST_SCS_STORAGE_MM = 175.0
DEFAULT_RAIN_FRACTION = 0.5  # general landscape, common practice


def scs_storage_factor(storage_mm: ArrayLike) -> Array:
    """SF of the USDA-SCS rule (NEH-623.2 Eq. 2-85), about 1 at 75 mm; not extrapolated beyond 175 mm."""
    depth = np.minimum(complete("usable soil storage", storage_mm, 0), LARGEST_SCS_STORAGE_MM) / MM_PER_INCH
    return 0.531747 + 0.295164 * depth - 0.057697 * depth**2 + 0.003804 * depth**3


def scs_monthly(rain_mm: ArrayLike, demand_mm: ArrayLike, storage_mm: ArrayLike) -> Array:
    """Effective rain of a month (NEH-623.2 Eq. 2-84, mm form); never above the rain or the demand.

    `storage_mm` is the usable part of the root zone's water, normally 40 to 60 %. The mm coefficients follow
    from the inch form; mixing the two is an error found in the wild.
    """
    rain, demand = complete("rain", rain_mm, 0), complete("demand", demand_mm, 0)
    effective = scs_storage_factor(storage_mm) * (1.25 * rain**0.824 - 2.93) * 10 ** (0.000955 * demand)
    return np.maximum(np.minimum(np.minimum(effective, rain), demand), 0.0)


def scs_monthly_inches(rain_in: ArrayLike, demand_in: ArrayLike, storage_in: ArrayLike) -> Array:
    """The same rule in its original inches (NEH-623.2 Eq. 2-84)."""
    rain, demand = complete("rain", rain_in, 0), complete("demand", demand_in, 0)
    factor = scs_storage_factor(complete("usable soil storage", storage_in, 0) * MM_PER_INCH)
    effective = factor * (0.70917 * rain**0.82416 - 0.11556) * 10 ** (0.02426 * demand)
    return np.maximum(np.minimum(np.minimum(effective, rain), demand), 0.0)


def fao_simplified_monthly(rain_mm: ArrayLike) -> Array:
    """P (125 - 0.2 P)/125 up to 250 mm a month, 125 + 0.1 P above (SCS_MONTHLY: USDA-SCS, as in CROPWAT)."""
    rain = complete("rain", rain_mm, 0)
    return np.where(rain <= 250.0, rain * (125.0 - 0.2 * rain) / 125.0, 125.0 + 0.1 * rain)


def fixed_fraction(rain_mm: ArrayLike, fraction: float = DEFAULT_RAIN_FRACTION, cap_mm: ArrayLike = np.inf) -> Array:
    """min(f P, cap); f 0.5 for landscapes is common practice, 0.25 in two water budget methods."""
    return np.minimum(complete("rain fraction", fraction, 0, 1) * complete("rain", rain_mm, 0), cap_mm)


def event_rule(rain_mm: ArrayLike) -> Array:
    """Credit of one rain event: first 0.1 in lost, full to 1 in, two thirds to 2 in, nothing above.

    Source: TEXAS_RAIN, texaset.tamu.edu.
    """
    inches = complete("rain", rain_mm, 0) / MM_PER_INCH
    full = np.clip(inches, 0.1, 1.0) - 0.1
    partial = (np.clip(inches, 1.0, 2.0) - 1.0) * (2.0 / 3.0)
    return (full + partial) * MM_PER_INCH


def soil_limited(
    rain_mm: ArrayLike,
    depletion_mm: ArrayLike,
    demand_mm: ArrayLike,
    et_mm: ArrayLike,
    runoff_mm: ArrayLike = 0.0,
) -> Array:
    """Credit of a day's rain: what the soil had room for plus the day's demand (FAO-56 chapter 8).

    Rain below 0.2 of the day's reference ET is ignored.
    """
    rain = complete("rain", rain_mm, 0)
    room = complete("depletion", depletion_mm, 0) + complete("demand", demand_mm, 0)
    counted = np.where(rain < 0.2 * complete("reference ET", et_mm, 0), 0.0, rain)
    return np.minimum(np.maximum(counted - complete("runoff", runoff_mm, 0), 0.0), room)
