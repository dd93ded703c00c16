"""How fast and how evenly a zone puts water down, and for how long it must run.

DU after UC_DAVIS_DU of `sites.core.sources` (ANSI/ASABE S626 not seen); KB-90 = Keller, Bliesner 1990.
Rates mm/h, flows L/min, lengths m.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from scheduling.core.water.checks import Array, WaterInputError, complete

LOWEST_DU_TO_WATER_BY = 0.40  # below it: repair before adding water (common practice)
FEWEST_CANS = 24  # UC extension guide: 24 to 40, a multiple of 4
STRONGEST_TEST_WIND_M_S = 2.2  # 5 mph, AUDIT_2009 after ASAE S398.1


@dataclass(frozen=True)
class EmitterClass:
    """A generic device class with the usual rate and uniformity: midpoints, common practice.

    `rate_mm_h` is None where a rate says nothing (water is given by volume per plant). The ranges are what a
    zone of the class may turn out to be when somebody measures it.
    """

    key: str
    label: str
    rate_mm_h: float | None
    du_lq: float
    shortest_run_min: int
    rate_range_mm_h: tuple[float, float] | None
    du_range: tuple[float, float]


EMITTERS: dict[str, EmitterClass] = {
    emitter.key: emitter
    for emitter in (
        EmitterClass("fixed_spray", "Fixed spray", 45.0, 0.60, 2, (35, 55), (0.40, 0.65)),
        EmitterClass("rotating_nozzle", "Multi-stream rotating nozzle", 12.5, 0.675, 2, (9, 16), (0.60, 0.75)),
        EmitterClass("rotor", "Gear or impact rotor", 12.5, 0.675, 2, (5, 20), (0.49, 0.75)),
        EmitterClass("micro_spray", "Micro-spray", 16.5, 0.675, 2, (8, 25), (0.60, 0.75)),
        EmitterClass("drip_grid", "In-line drip grid", 15.0, 0.85, 5, (5, 25), (0.80, 0.90)),
        EmitterClass("point_drip", "Point-source drip", None, 0.85, 5, None, (0.80, 0.90)),
        EmitterClass("bubbler", "Bubbler", None, 0.85, 2, None, (0.80, 0.90)),
    )
}


def rate_from_flow(flow_l_min: ArrayLike, area_m2: ArrayLike) -> Array:
    """Rate of a whole zone: 60 Q/A."""
    return 60.0 * complete("flow", flow_l_min, 0) / complete("area", area_m2, 0.01)


def full_circle_flow(flow_l_min: ArrayLike, arc_deg: ArrayLike) -> Array:
    """Flow of a part-circle head scaled to the full circle."""
    return complete("flow", flow_l_min, 0) * 360.0 / complete("arc", arc_deg, 1, 360)


def rate_on_grid(flow_l_min: ArrayLike, spacing_m: ArrayLike, row_spacing_m: ArrayLike) -> Array:
    """Rate of full-circle heads on a rectangular grid: 60 q/(Sx Sy)."""
    ground = complete("spacing", spacing_m, 0.01) * complete("row spacing", row_spacing_m, 0.01)
    return 60.0 * complete("flow", flow_l_min, 0) / ground


def rate_on_triangle(flow_l_min: ArrayLike, spacing_m: ArrayLike) -> Array:
    """Rate of full-circle heads on an equilateral triangle: 60 q/(0.866 S2)."""
    ground = math.sqrt(3.0) / 2.0 * complete("spacing", spacing_m, 0.01) ** 2
    return 60.0 * complete("flow", flow_l_min, 0) / ground


def rate_of_drip_grid(emitter_l_h: ArrayLike, emitter_spacing_m: ArrayLike, row_spacing_m: ArrayLike) -> Array:
    """Rate of in-line drip: q/(Se Sr), q in L/h."""
    ground = complete("emitter spacing", emitter_spacing_m, 0.01) * complete("row spacing", row_spacing_m, 0.01)
    return complete("emitter flow", emitter_l_h, 0) / ground


def flow_from_rate(rate_mm_h: ArrayLike, area_m2: ArrayLike) -> Array:
    """Zone flow in L/min: rate times area/60."""
    return complete("rate", rate_mm_h, 0) * complete("area", area_m2, 0) / 60.0


@dataclass(frozen=True)
class CatchCanResult:
    """A catch-can test worked out; `du_lh` is of the lower half, `remarks` say what weakens the test."""

    cans: int
    mean_ml: float
    rate_mm_h: float
    du_lq: float
    du_lh: float
    remarks: tuple[str, ...]

    @property
    def repair_first(self) -> bool:
        """True where more water would not help the dry spots."""
        return self.du_lq < LOWEST_DU_TO_WATER_BY


def lowest_share_uniformity(catches: ArrayLike, share: float = 0.25) -> float:
    """Mean of the lowest share of the catches over the mean of all (S626, KB-90).

    The number of low cans is n share rounded half up, at least one. Catches must come from equal mouths.
    """
    values = np.sort(complete("catches", catches, 0).ravel())
    if values.size == 0 or values.mean() <= 0:
        raise WaterInputError("catches", "no water was caught")
    low = max(1, math.floor(values.size * share + 0.5))
    return float(values[:low].mean() / values.mean())


def catch_can_test(
    catches_ml: ArrayLike, mouth_cm2: float, minutes: float, wind_m_s: float | None = None
) -> CatchCanResult:
    """Rate and uniformity from a catch-can test with equal cans: rate = 600 V/(A t), V mL, A cm2, t min."""
    catches = complete("catches", catches_ml, 0).ravel()
    complete("can mouth", mouth_cm2, 1)
    complete("test minutes", minutes, 0.1)
    remarks = []
    if catches.size < FEWEST_CANS or catches.size % 4:
        remarks.append(f"{catches.size} cans: use at least {FEWEST_CANS} and a multiple of 4")
    if wind_m_s is not None and wind_m_s > STRONGEST_TEST_WIND_M_S:
        remarks.append(f"wind {wind_m_s:g} m/s: repeat the test below {STRONGEST_TEST_WIND_M_S:g} m/s")
    du = lowest_share_uniformity(catches)
    mean = float(catches.mean())
    rate = 600.0 * mean / (mouth_cm2 * minutes)
    return CatchCanResult(catches.size, mean, rate, du, lowest_share_uniformity(catches, 0.5), tuple(remarks))


def scheduling_multiplier(du_lq: ArrayLike) -> Array:
    """SM = 1/(0.4 + 0.6 DU), DU held to 0.40..1 so that SM <= 1.5625 (IA_2005, constants from memory).

    Apply exactly one of SM, 1/efficiency, 1/DU. Below 0.40 see `repair_before_adding_water`.
    """
    return 1.0 / (0.4 + 0.6 * np.clip(complete("DU", du_lq, 0, 1), LOWEST_DU_TO_WATER_BY, 1.0))


def repair_before_adding_water(du_lq: ArrayLike) -> np.ndarray:
    """True where the uniformity is so low that longer runs only waste water (common practice)."""
    return complete("DU", du_lq, 0, 1) < LOWEST_DU_TO_WATER_BY


def run_time_min(net_mm: ArrayLike, rate_mm_h: ArrayLike, multiplier: ArrayLike = 1.0) -> Array:
    """Minutes to apply a net depth: 60 d SM/PR."""
    rate = complete("application rate", rate_mm_h, 0.01)
    return 60.0 * complete("net depth", net_mm, 0) * complete("multiplier", multiplier, 1) / rate
