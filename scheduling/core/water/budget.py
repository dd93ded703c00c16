"""Water allowances, block tariffs and the comparison of years.

CCR-23 and EPA-WB are CCR_23 and EPA_BUDGET of `sites.core.sources`. Both keep their own units (in, ft2, gal).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from scheduling.core.water.checks import WaterInputError

LEGAL_GAL_PER_FT2_IN = 0.62  # the ordinance's own rounding: for its forms only, 0.54 % low
ETAF = {"residential": 0.55, "non_residential": 0.45, "2009": 0.70, "1992": 0.80}
EFFICIENCY = {"overhead": 0.75, "drip": 0.81}  # CCR-23 section 492.4
CREDITED_RAIN_SHARE = 0.25
LWA_SHARE = 0.70  # EPA-WB
EPA_GAL_PER_FT2_IN = 0.6233  # the method's own rounding


@dataclass(frozen=True)
class Hydrozone:
    """One hydrozone of the ordinance: area ft2, plant factor, irrigation efficiency."""

    name: str
    area_ft2: float
    plant_factor: float
    efficiency: float

    def __post_init__(self) -> None:
        if self.area_ft2 < 0 or not 0 <= self.plant_factor <= 1.2 or not 0 < self.efficiency <= 1:
            raise WaterInputError(self.name, "needs area >= 0, plant factor 0 to 1.2, efficiency above 0 to 1")

    @property
    def etaf(self) -> float:
        """Evapotranspiration adjustment factor of the zone: PF/IE."""
        return self.plant_factor / self.efficiency


@dataclass(frozen=True)
class OrdinanceBudget:
    """Allowance and estimated use of a year, gal; `average_etaf` over the ordinary zones."""

    mawa_gal: float
    etwu_gal: float
    average_etaf: float
    allowed_etaf: float

    @property
    def complies(self) -> bool:
        """Estimated use within the allowance."""
        return self.etwu_gal <= self.mawa_gal


def net_annual_et_in(et_in: float, annual_rain_in: float = 0.0) -> float:
    """ETo less a quarter of the year's rain, the optional form of CCR-23."""
    return max(0.0, et_in - CREDITED_RAIN_SHARE * annual_rain_in)


def maximum_applied_water_gal(et_in: float, area_ft2: float, sla_ft2: float = 0.0, etaf: float = 0.55) -> float:
    """MAWA = ETo 0.62 [ETAF LA + (1 - ETAF) SLA]; the area includes the special landscape area (CCR-23)."""
    if not 0 <= sla_ft2 <= area_ft2 or et_in < 0:
        raise WaterInputError("special landscape area", "must lie between 0 and the landscape area")
    return et_in * LEGAL_GAL_PER_FT2_IN * (etaf * area_ft2 + (1.0 - etaf) * sla_ft2)


def estimated_total_use_gal(et_in: float, zones: Sequence[Hydrozone], sla_ft2: float = 0.0) -> float:
    """ETWU = ETo 0.62 [sum(PF/IE HA) + SLA] (CCR-23)."""
    return et_in * LEGAL_GAL_PER_FT2_IN * (sum(zone.etaf * zone.area_ft2 for zone in zones) + sla_ft2)


def ordinance_budget(
    et_in: float, zones: Sequence[Hydrozone], sla_ft2: float = 0.0, etaf: float = 0.55
) -> OrdinanceBudget:
    """MAWA against ETWU for a site; factors differ by jurisdiction and are passed in (CCR-23)."""
    area = sum(zone.area_ft2 for zone in zones)
    average = sum(zone.etaf * zone.area_ft2 for zone in zones) / area if area else 0.0
    return OrdinanceBudget(
        maximum_applied_water_gal(et_in, area + sla_ft2, sla_ft2, etaf),
        estimated_total_use_gal(et_in, zones, sla_ft2),
        average,
        etaf,
    )


@dataclass(frozen=True)
class PeakZone:
    """One zone of the EPA method: area ft2, landscape coefficient KL, DU of the low quarter."""

    name: str
    area_ft2: float
    kl: float
    du_lq: float


def landscape_allowance_gal(peak_et_in: float, area_ft2: float) -> float:
    """LWA = 0.70 ETo A 0.6233 for the peak month (EPA-WB)."""
    return LWA_SHARE * peak_et_in * area_ft2 * EPA_GAL_PER_FT2_IN


def landscape_requirement_gal(peak_et_in: float, peak_rain_in: float, zones: Sequence[PeakZone]) -> float:
    """LWR = sum (1/DU) max(0, ETo KL - 0.25 R) A 0.6233 for the peak month (EPA_BUDGET; constants from memory)."""
    credit = CREDITED_RAIN_SHARE * peak_rain_in
    return sum(
        max(0.0, peak_et_in * zone.kl - credit) / zone.du_lq * zone.area_ft2 * EPA_GAL_PER_FT2_IN for zone in zones
    )


@dataclass(frozen=True)
class Block:
    """A tariff block: up to this many units in the period (None: no end) at this price a unit."""

    up_to_units: float | None
    price_per_unit: float


@dataclass(frozen=True)
class Tariff:
    """Fixed charge and rising blocks; with `per_month` block sizes shrink or grow with the billing days."""

    fixed: float
    blocks: tuple[Block, ...]
    per_month: bool = False

    def __post_init__(self) -> None:
        ends = [block.up_to_units for block in self.blocks]
        inner = [end for end in ends[:-1] if end is not None]
        rising = all(a < b for a, b in zip(inner, inner[1:], strict=False))
        if not ends or ends[-1] is not None or len(inner) != len(ends) - 1 or not rising:
            raise WaterInputError("tariff", "blocks must rise and only the last may be without end")


@dataclass(frozen=True)
class CostLine:
    """One block of a bill."""

    units: float
    price_per_unit: float
    cost: float


@dataclass(frozen=True)
class Bill:
    """A bill with the block lines behind it."""

    fixed: float
    lines: tuple[CostLine, ...]

    @property
    def total(self) -> float:
        """Fixed charge and all blocks."""
        return self.fixed + sum(line.cost for line in self.lines)


MEAN_MONTH_DAYS = 30.4


def bill(tariff: Tariff, units: float, days: float | None = None) -> Bill:
    """Cost of `units` in one billing period; `days` pro-rates monthly blocks by days/30.4."""
    if not 0 <= units < math.inf:
        raise WaterInputError("units", "must be a number from 0")
    scale = 1.0
    if tariff.per_month:
        if days is None or not 0 < days < math.inf:
            raise WaterInputError("days", "are needed to pro-rate monthly blocks")
        scale = days / MEAN_MONTH_DAYS
    lines, below = [], 0.0
    for block in tariff.blocks:
        end = units if block.up_to_units is None else min(units, block.up_to_units * scale)
        inside = max(0.0, end - below)
        lines.append(CostLine(inside, block.price_per_unit, inside * block.price_per_unit))
        below = max(below, end)
    return Bill(tariff.fixed, tuple(lines))


def normalised_use(use: float, net_et_year_mm: float, net_et_normal_mm: float) -> float:
    """Use of a year put to normal weather: use times normal net ET over the year's net ET."""
    if net_et_year_mm <= 0 or net_et_normal_mm < 0 or use < 0:
        raise WaterInputError("net ET", "of the year must be above 0 and use not negative")
    return use * net_et_normal_mm / net_et_year_mm


@dataclass(frozen=True)
class YearOnYear:
    """This period against the one before, raw and normalised, change in percent."""

    raw_change_percent: float
    normalised_this: float
    normalised_last: float
    normalised_change_percent: float


def year_on_year(
    use: float, net_et_mm: float, last_use: float, last_net_et_mm: float, normal_net_et_mm: float
) -> YearOnYear:
    """Compare like periods of two years; take base (indoor) use off both first."""
    if last_use <= 0:
        raise WaterInputError("last use", "must be above 0")
    this, last = (
        normalised_use(use, net_et_mm, normal_net_et_mm),
        normalised_use(last_use, last_net_et_mm, normal_net_et_mm),
    )
    return YearOnYear(100.0 * (use / last_use - 1.0), this, last, 100.0 * (this / last - 1.0))


Verdict = Literal["within", "above", "below"]
EXPECTED_BAND_SHARE = 0.15  # audited zones; common practice


def against_expected(
    metered_l: float, expected_l: float, band_share: float = EXPECTED_BAND_SHARE
) -> tuple[float, Verdict]:
    """Difference of meter and schedule in percent, and whether it lies outside the band.

    Expected litres = sum of run time times flow; widen the band where flows are defaults.
    """
    if expected_l <= 0:
        raise WaterInputError("expected use", "must be above 0")
    difference = 100.0 * (metered_l / expected_l - 1.0)
    if abs(difference) <= 100.0 * band_share:
        return difference, "within"
    return difference, "above" if difference > 0 else "below"
