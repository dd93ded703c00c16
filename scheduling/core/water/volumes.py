"""Exact unit constants of volumes, depths and areas, and the conversions a water bill needs.

US gallon 3.785411784 L, foot 0.3048 m, inch 25.4 mm, acre 4046.8564224 m2 (international definitions). 1 mm on
1 m2 = 1 L.
"""

from __future__ import annotations

from typing import Literal

L_PER_US_GAL = 3.785411784
L_PER_IMP_GAL = 4.54609
L_PER_FT3 = 28.316846592
MM_PER_IN = 25.4
M2_PER_FT2 = 0.09290304
M2_PER_ACRE = 4046.8564224
GAL_PER_FT2_IN = M2_PER_FT2 * MM_PER_IN / L_PER_US_GAL  # 0.62338

VolumeUnit = Literal["L", "m3", "kL", "gal", "kgal", "ft3", "CCF", "acre_in", "acre_ft", "imp_gal"]

LITRES_PER: dict[str, float] = {
    "L": 1.0,
    "m3": 1000.0,
    "kL": 1000.0,
    "gal": L_PER_US_GAL,
    "kgal": 1000.0 * L_PER_US_GAL,
    "ft3": L_PER_FT3,
    "CCF": 100.0 * L_PER_FT3,
    "acre_in": M2_PER_ACRE * MM_PER_IN,
    "acre_ft": M2_PER_ACRE * 304.8,
    "imp_gal": L_PER_IMP_GAL,
}


def to_litres(volume: float, unit: VolumeUnit) -> float:
    """A volume in litres."""
    return volume * LITRES_PER[unit]


def from_litres(litres: float, unit: VolumeUnit) -> float:
    """Litres in another unit."""
    return litres / LITRES_PER[unit]
