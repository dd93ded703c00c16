"""What the soil holds and takes in: textures, root zone, longest interval, cycle and soak.

Intake and surface accumulation (ASA): SWAT_2008 of `sites.core.sources`, all 28 values and the intake row compared
with two independent copies; the protocol itself was not seen, and the available water is from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from scheduling.core.water.checks import Array, WaterInputError, complete

SLOPE_LIMITS_PERCENT = (3.0, 6.0, 12.0)
SHORTEST_SOAK_MIN, LONGEST_SOAK_MIN = 20.0, 120.0  # common practice
CYCLE_TOLERANCE_MIN = 0.5
A_CYCLE_MORE_MIN = 0.5  # what one more cycle weighs beside minutes off what was asked: common practice
MOST_TOO_MUCH = 1.05  # whole minutes never give more than this share of what was asked


@dataclass(frozen=True)
class Texture:
    """Available water mm/m, basic intake mm/h, ASA mm for slopes 0-3, 4-6, 7-12 and over 12 %."""

    key: str
    label: str
    available_mm_m: float
    intake_mm_h: float
    accumulation_mm: tuple[float, float, float, float]


TEXTURES: dict[str, Texture] = {
    texture.key: texture
    for texture in (
        Texture("clay", "Clay", 170, 2.5, (5.1, 3.8, 2.5, 2.5)),
        Texture("silty_clay", "Silty clay", 170, 3.8, (5.8, 4.8, 4.1, 3.3)),
        Texture("clay_loam", "Clay loam", 180, 5.1, (6.6, 5.6, 4.6, 3.8)),
        Texture("loam", "Loam", 170, 8.9, (7.6, 6.3, 5.3, 4.3)),
        Texture("sandy_loam", "Sandy loam", 120, 10.2, (8.4, 7.4, 6.1, 5.1)),
        Texture("loamy_sand", "Loamy sand", 80, 12.7, (9.1, 7.6, 6.6, 5.6)),
        Texture("sand", "Sand", 60, 15.2, (10.2, 8.9, 7.6, 6.3)),
    )
}
DEFAULT_TEXTURE = "loam"  # where nobody looked at the soil: common practice, no source


def texture_of(key: str) -> Texture:
    """The texture row, or `WaterInputError` naming the known ones."""
    if key not in TEXTURES:
        raise WaterInputError("soil texture", f"unknown: {key!r}; known are {', '.join(TEXTURES)}")
    return TEXTURES[key]


def allowable_accumulation(texture: str, slope_percent: float) -> float:
    """ASA in mm: what may stand on the surface before it runs off; between bands the steeper counts."""
    if not 0 <= slope_percent <= 100:
        raise WaterInputError("slope", "must lie between 0 and 100 %")
    band = sum(slope_percent > limit for limit in SLOPE_LIMITS_PERCENT)
    return texture_of(texture).accumulation_mm[band]


def total_available_water(available_mm_m: ArrayLike, root_depth_m: ArrayLike) -> Array:
    """TAW in mm: available water times root depth (FAO-56 Eq. 82, with FC - WP per metre given)."""
    return complete("available water", available_mm_m, 1, 400) * complete("root depth", root_depth_m, 0.01, 5)


def total_available_water_from_contents(fc: ArrayLike, wp: ArrayLike, root_depth_m: ArrayLike) -> Array:
    """TAW = 1000 (FC - WP) Zr, contents in m3/m3 (FAO-56 Eq. 82)."""
    capacity, wilting = complete("field capacity", fc, 0, 0.7), complete("wilting point", wp, 0, 0.7)
    if (wilting >= capacity).any():
        raise WaterInputError("wilting point", "must lie below field capacity")
    return 1000.0 * (capacity - wilting) * complete("root depth", root_depth_m, 0.01, 5)


def readily_available_water(taw_mm: ArrayLike, depletion_fraction: ArrayLike) -> Array:
    """RAW = p TAW (FAO-56 Eq. 83)."""
    return complete("TAW", taw_mm, 0) * complete("allowed depletion", depletion_fraction, 0.05, 0.95)


def depletion_fraction(table_p: ArrayLike, demand_mm_day: ArrayLike) -> Array:
    """p for the day's demand: p_table + 0.04 (5 - ETc), held to 0.1..0.8 (FAO-56 Table 22 note)."""
    raised = complete("p", table_p, 0.05, 0.95) + 0.04 * (5.0 - complete("demand", demand_mm_day, 0))
    return np.clip(raised, 0.1, 0.8)


def allowed_share(mad: ArrayLike, demand_mm_day: ArrayLike) -> Array:
    """The share of TAW that may be used up on a day: the planting's MAD, less where demand passes 5 mm a day.

    FAO-56 Table 22 note. On days of less demand MAD is not raised: usual values of landscapes (turf 0.5 where
    Table 22 has 0.4) already stand for their 2 to 4 mm a day, and would count the same thing twice.
    """
    return np.minimum(mad, depletion_fraction(mad, demand_mm_day))


def longest_interval_days(raw_mm: ArrayLike, demand_mm_day: ArrayLike) -> Array:
    """Whole days the readily available water lasts, at least 1, at most 365; trusts what was computed."""
    demand, raw = np.asarray(demand_mm_day, np.float64), np.asarray(raw_mm, np.float64)
    days = np.full(np.broadcast(raw, demand).shape, 365.0)
    np.divide(raw, demand, out=days, where=demand * 365.0 > raw)
    # A quotient a rounding error below a whole number is that number.
    return np.clip(np.floor(days + 1e-9), 1.0, 365.0)


@dataclass(frozen=True)
class CycleSoak:
    """One watering of a zone: `cycles` runs of `cycle_min`, `soak_min` from the end of one to the next start.

    `longest_cycle_min` is infinite where the soil takes the water as fast as it comes. `run_time_min` is
    always cycles times cycle_min.
    """

    cycles: int
    cycle_min: float
    soak_min: float
    longest_cycle_min: float

    @property
    def run_time_min(self) -> float:
        """Minutes the valve is open."""
        return self.cycles * self.cycle_min

    @property
    def elapsed_min(self) -> float:
        """Minutes from the first start to the last end."""
        return self.run_time_min + (self.cycles - 1) * self.soak_min


def longest_cycle_min(rate_mm_h: float, intake_mm_h: float, accumulation_mm: float) -> float:
    """Minutes until water starts to run off: 60 ASA/(PR - IR); infinite where PR <= IR."""
    if rate_mm_h <= intake_mm_h:
        return math.inf
    return 60.0 * accumulation_mm / (rate_mm_h - intake_mm_h)


def soak_min(intake_mm_h: float, accumulation_mm: float) -> float:
    """Minutes for the soil to take in a full ASA: 60 ASA/IR, held to 20..120 (common practice)."""
    return min(max(60.0 * accumulation_mm / intake_mm_h, SHORTEST_SOAK_MIN), LONGEST_SOAK_MIN)


def cycle_and_soak(run_time_min: float, rate_mm_h: float, intake_mm_h: float, accumulation_mm: float) -> CycleSoak:
    """Split a run into equal cycles without rounding: n = ceil(RT/t_max), cycle = RT/n."""
    longest = longest_cycle_min(rate_mm_h, intake_mm_h, accumulation_mm)
    soak = soak_min(intake_mm_h, accumulation_mm)
    cycles = max(1, math.ceil(run_time_min / longest - 1e-9)) if run_time_min > 0 else 0
    if cycles <= 1:
        return CycleSoak(cycles, run_time_min if cycles else 0.0, 0.0, longest)
    return CycleSoak(cycles, run_time_min / cycles, soak, longest)


def whole_minute_cycles(run_time_min: float, longest_min: float, soak: float) -> CycleSoak:
    """The whole-minute program nearest to the run time wanted and within 5 % of it, else the longest below it.

    Its cycles do not run off: one may exceed the longest by half a minute. A minute is the least.
    """
    if run_time_min <= 0:
        return CycleSoak(0, 0.0, 0.0, longest_min)
    one = run_time_min <= longest_min + CYCLE_TOLERANCE_MIN
    most = longest_min + CYCLE_TOLERANCE_MIN
    top = max(1, math.floor(min(run_time_min + 1, most) if one else most))
    lengths = (top, max(1, top - 1)) if one else range(top, max(1, top // 2) - 1, -1)
    counts = ((cycle, 1 if one else math.floor(run_time_min / cycle) + more) for cycle in lengths for more in (0, 1))
    fitting = [(cycle, count) for cycle, count in counts if 0 < cycle * count <= MOST_TOO_MUCH * run_time_min]
    near = [each for each in fitting if each[0] * each[1] >= (2 - MOST_TOO_MUCH) * run_time_min]
    if near:
        cycle, count = min(near, key=lambda each: abs(each[0] * each[1] - run_time_min) + A_CYCLE_MORE_MIN * each[1])
    else:
        cycle, count = max(fitting, key=lambda each: each[0] * each[1], default=(1, 1))
    return CycleSoak(count, float(cycle), soak if count > 1 else 0.0, longest_min)


def longest_run_min(window_min: float, longest_cycle: float, soak: float) -> float:
    """Minutes of water that one zone alone can get inside a window, soaks between its cycles included."""
    if math.isinf(window_min) or longest_cycle >= window_min:
        return window_min
    whole, rest = divmod(window_min, longest_cycle + soak)
    return whole * longest_cycle + min(rest, longest_cycle)
