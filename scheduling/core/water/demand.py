"""What a planting needs: plant factors by category and month, exposure, new planting, trees.

Sources by their names in `sites.core.sources`: S623 (0.5 dry and 0.7 humid for trees and shrubs confirmed, the other
rows from memory), MEYER_1985, LCM_2000 (ranges and midpoints of ks confirmed, the ends of kd and kmc from memory),
FAO56_TABLE_12, UC_SLIDE (food plants, from memory: S623 leaves them out).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from scheduling.core.water.checks import Array, WaterInputError, complete
from sites.core.sources import FAO56_TABLE_12, MEYER_1985, S623, UC_SLIDE

TURF_KC_COOL = (0.61, 0.64, 0.75, 1.04, 0.95, 0.88, 0.94, 0.86, 0.74, 0.75, 0.69, 0.60)
# January: 0.55 as an independent copy prints it. The UC page prints 0.61, the cool-season figure beside it.
TURF_KC_WARM = (0.55, 0.54, 0.76, 0.72, 0.79, 0.68, 0.71, 0.71, 0.62, 0.54, 0.58, 0.55)

Kind = Literal["turf", "bed", "woody"]


@dataclass(frozen=True)
class Planting:
    """A planting category with its factor of reference ET, managed root depth and allowed depletion.

    `monthly` holds the Kc of January to December on the northern half of the earth, None for one factor all
    year. `humid_factor` applies where summers are humid. Root depth and MAD: common practice, no source.
    """

    key: str
    label: str
    kind: Kind
    factor: float
    humid_factor: float
    monthly: tuple[float, ...] | None
    root_depth_m: float
    mad: float
    source: str


SPORTS_TURF = f"{FAO56_TABLE_12.short} turf (well watered); S623 excludes sports turf"


def _flat(
    key: str, label: str, kind: Kind, factors: tuple[float, float], depth: tuple[float, float], source: str
) -> Planting:
    """One factor all year; `depth` is root depth in m and MAD."""
    return Planting(key, label, kind, factors[0], factors[1], None, *depth, source)


PLANTINGS: dict[str, Planting] = {
    planting.key: planting
    for planting in (
        Planting("cool_turf", "Cool-season turf", "turf", 0.8, 0.8, TURF_KC_COOL, 0.15, 0.5, MEYER_1985.short),
        Planting("warm_turf", "Warm-season turf", "turf", 0.6, 0.6, TURF_KC_WARM, 0.15, 0.5, MEYER_1985.short),
        Planting("sports_turf", "Sports turf", "turf", 0.95, 0.95, None, 0.20, 0.4, SPORTS_TURF),
        _flat("annuals", "Annual flowers", "bed", (0.8, 0.8), (0.25, 0.35), S623.unconfirmed),
        _flat("perennials", "Perennials and ground cover", "bed", (0.5, 0.7), (0.30, 0.5), S623.unconfirmed),
        _flat("shrubs", "Shrubs", "woody", (0.5, 0.7), (0.45, 0.5), S623.short),
        _flat("trees", "Trees", "woody", (0.5, 0.7), (0.60, 0.5), S623.short),
        _flat("drought_tolerant", "Drought-tolerant planting", "woody", (0.3, 0.3), (0.45, 0.65), S623.unconfirmed),
        _flat("vegetables", "Vegetables", "bed", (1.0, 1.0), (0.30, 0.35), UC_SLIDE.unconfirmed),
        _flat("deciduous_fruit", "Deciduous fruit", "woody", (0.8, 0.8), (0.60, 0.5), UC_SLIDE.unconfirmed),
        _flat("evergreen_fruit", "Evergreen fruit", "woody", (1.0, 1.0), (0.60, 0.5), UC_SLIDE.unconfirmed),
    )
}

# Microclimate, LCM_2000 chapter 2: low 0.5-0.9, average 1.0, high 1.1-1.4 (ends from memory); points common practice.
EXPOSURE_FACTOR = {"shade": 0.7, "part_shade": 0.85, "sun": 1.0, "hot": 1.25}

# ks: midpoints of the ranges of LCM_2000, confirmed. kd 0.5-0.9, 1.0, 1.1-1.3: chapter 2, ends from memory.
SPECIES_FACTOR = {"very_low": 0.05, "low": 0.2, "moderate": 0.5, "high": 0.8}
DENSITY_FACTOR = {"low": 0.7, "average": 1.0, "high": 1.2}


def landscape_coefficient(ks: ArrayLike, kd: ArrayLike, kmc: ArrayLike) -> Array:
    """KL = ks kd kmc (LCM_2000). Use either this product or one plant factor, never both."""
    return complete("ks", ks, 0, 1.2) * complete("kd", kd, 0.1, 1.5) * complete("kmc", kmc, 0.1, 1.6)


def turf_kc(season: Literal["cool", "warm"], southern: bool = False) -> Array:
    """Monthly turf Kc, shape (12,), January first (MEYER_1985); shifted by six months in the south."""
    row = np.array(TURF_KC_COOL if season == "cool" else TURF_KC_WARM)
    return np.roll(row, 6) if southern else row


def monthly_plant_factor(planting: str, exposure: str, southern: bool, humid: bool = False) -> Array:
    """Factor K of reference ET by month, shape (12,), for an established planting.

    The plant factor stands for the species at average density in the open and takes the place of ks in
    ks kd kmc; only the exposure multiplies it, so that no factor is applied twice. The reference is short
    grass, never the tall one. Raises `WaterInputError` for an unknown planting or exposure.
    """
    if planting not in PLANTINGS:
        raise WaterInputError("planting", f"unknown: {planting!r}; known are {', '.join(PLANTINGS)}")
    if exposure not in EXPOSURE_FACTOR:
        raise WaterInputError("exposure", f"unknown: {exposure!r}; known are {', '.join(EXPOSURE_FACTOR)}")
    found = PLANTINGS[planting]
    if found.monthly is not None:
        row = np.roll(found.monthly, 6) if southern else np.array(found.monthly)
    else:
        row = np.full(12, found.humid_factor if humid else found.factor)
    return row * EXPOSURE_FACTOR[exposure]


# Days until a new planting counts as established, and the factor it needs at first: common practice.
ESTABLISHMENT_DAYS = {"turf": 56, "bed": 120, "woody": 730}
ESTABLISHMENT_FACTOR = {"turf": 1.0, "bed": 0.9, "woody": 0.8}
NEW_ROOT_SHARE = 0.5


def establishment_share(planting: str, days_since_planting: ArrayLike) -> Array:
    """How new a planting is: 1 on the day of planting, falling straight to 0; 0 before planting too."""
    days = complete("days since planting", days_since_planting)
    share = 1.0 - days / ESTABLISHMENT_DAYS[PLANTINGS[planting].kind]
    return np.where(days < 0, 0.0, np.clip(share, 0.0, 1.0))


def establishing_factor(planting: str, factor: ArrayLike, share: ArrayLike) -> Array:
    """K of a new planting: raised toward the establishment factor, never lowered (common practice)."""
    own = complete("plant factor", factor, 0, 2)
    first = np.maximum(own, ESTABLISHMENT_FACTOR[PLANTINGS[planting].kind])
    return own + _share(share) * (first - own)


def _share(share: ArrayLike) -> Array:
    """A share between 0 and 1."""
    return complete("share", share, 0, 1)


def establishing_root_depth(root_depth_m: ArrayLike, share: ArrayLike) -> Array:
    """Roots of a new planting reach half of the managed depth at first (common practice, no source)."""
    return complete("root depth", root_depth_m, 0.01, 5) * (1.0 - (1.0 - NEW_ROOT_SHARE) * _share(share))


def plant_demand(et_mm: ArrayLike, factor: ArrayLike) -> Array:
    """Plant water requirement in mm: reference ET times factor (S623, LCM_2000)."""
    return complete("reference ET", et_mm, 0) * complete("plant factor", factor, 0, 2)
