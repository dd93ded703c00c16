"""Effective rain of a month: the part of the normal rain that a planting can use. Depths in mm.

A plan by normals uses it; the daily balance counts rain by what the soil has room for.
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
