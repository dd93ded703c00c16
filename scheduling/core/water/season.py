"""The run time of one zone month by month, from climate, planting, soil and emitters."""

from __future__ import annotations

import calendar
import datetime as dt
import math
from dataclasses import dataclass

import numpy as np

from scheduling.core.water import demand, rain, soil
from scheduling.core.water.checks import Array, WaterInputError
from scheduling.core.water.climate import Climatology
from scheduling.core.water.derivation import CannotCompute
from scheduling.core.water.seasonal_percentage import percent_of_peak
from scheduling.core.water.zone_inputs import ResolvedZone, ZoneInputs, resolve

USABLE_STORAGE_SHARE = 0.5  # NEH-623.2: 40 to 60 % of the root zone's available water
COLDEST_GROWING_MEAN_C = 5.0  # below it a month counts as out of season: common practice


@dataclass(frozen=True)
class ZoneMonth:
    """One month of a zone. Depths in mm for the month, `net_need_mm_day` per day; litres None without area.

    `run_time_min` is one watering day in whole minutes and always cycles times cycle_min; days_per_week is below
    one where the soil lasts for weeks: a half for every second week.
    `exact_run_time_min_per_week` is what the formula gave before rounding. `zero_because` tells why a month
    has no minutes; `warnings` are for the eye of the office.
    """

    month: int
    et_mm: float
    plant_factor: float
    demand_mm: float
    effective_rain_mm: float
    net_need_mm: float
    net_need_mm_day: float
    exact_run_time_min_per_week: float
    longest_interval_days: int
    days_per_week: float
    run_time_min: int
    cycles: int
    cycle_min: int
    soak_min: int
    percent_of_peak: float
    litres: float | None
    zero_because: str = ""
    warnings: tuple[str, ...] = ()

    @property
    def run_time_min_per_week(self) -> float:
        """Minutes of an average week as programmed."""
        return self.run_time_min * self.days_per_week


@dataclass(frozen=True)
class ZoneSeason:
    """Twelve months of a zone, the settled inputs behind them and the climate they rest on.

    raw_mm is what may be used up before water is due, at the month's demand; window_min the longest night.
    """

    year: int
    zone: ResolvedZone
    climate: Climatology
    taw_mm: Array
    raw_mm: Array
    establishment: Array
    months: tuple[ZoneMonth, ...]
    window_min: float = math.inf

    @property
    def largest_depth_mm(self) -> float:
        """The net depth that one night's window can put down; infinite without a window."""
        return _largest_depth_mm(self.zone, self.window_min)

    @property
    def peak(self) -> ZoneMonth:
        """The month of the largest need per day."""
        return max(self.months, key=lambda month: month.net_need_mm_day)

    @property
    def litres(self) -> float | None:
        """Water of the year as programmed; None where area and flow are unknown."""
        if any(month.litres is None for month in self.months):
            return None
        return sum(month.litres or 0.0 for month in self.months)

    @property
    def warnings(self) -> tuple[str, ...]:
        """Every warning of the year once, in order."""
        return tuple(dict.fromkeys(words for month in self.months for words in month.warnings))


def zone_season(
    zone: ZoneInputs,
    climate: Climatology,
    year: int,
    permitted_days_per_week: int = 7,
    in_season: tuple[bool, ...] | None = None,
    window_min: float = math.inf,
) -> ZoneSeason | CannotCompute:
    """The season of a zone, or what is needed to compute it.

    `in_season` (12 flags, January first) says when the site's water is on; left out, months with a normal mean
    temperature of 5 degC or more count. window_min is how long a night the site may water. Formulas:
    `explain.explain_month`. Raises `WaterInputError`, also where a night is too short for the day's demand.
    """
    settled = resolve(zone)
    if isinstance(settled, CannotCompute):
        return settled
    share = _establishment(zone, year)
    taw = soil.total_available_water(
        settled.texture.available_mm_m, demand.establishing_root_depth(settled.root_depth_m.value, share)
    )
    if in_season is None:
        in_season = growing_months(climate)
    days = np.array([calendar.monthrange(year, month)[1] for month in range(1, 13)], dtype=float)
    factor = plant_factors(settled, share)
    raw = soil.allowed_share(settled.mad.value, demand.plant_demand(climate.et_mm.mean, factor) / days) * taw
    holds = np.minimum(raw, _largest_depth_mm(settled, window_min))
    months = _months(settled, climate, (days, factor), taw, holds, permitted_days_per_week, in_season)
    found = ZoneSeason(year, settled, climate, taw, raw, share, months, window_min)
    _refuse_endless_runs(found)
    return found


def _largest_depth_mm(settled: ResolvedZone, window_min: float) -> float:
    minutes = soil.longest_run_min(window_min, *longest_cycle_and_soak(settled))
    return minutes * settled.rate.value_mm_h / 60.0 / settled.multiplier


def _refuse_endless_runs(found: ZoneSeason) -> None:
    """A zone that a night of its own cannot keep watered: its rate is a slip of the pen, or there is no window."""
    need = found.peak.net_need_mm_day
    if need > found.largest_depth_mm:
        minutes = 60.0 * need * found.zone.multiplier / found.zone.rate.value_mm_h
        raise WaterInputError(
            "application_rate_mm_h",
            f"is too low: a day of the peak month would take {minutes:.0f} min, the site's window has "
            f"{found.window_min:.0f} min",
        )


def growing_months(climate: Climatology) -> tuple[bool, ...]:
    """Months warm enough for plants to use water (mean of at least 5 degC, common practice)."""
    mean = (climate.tmax_c.mean + climate.tmin_c.mean) / 2.0
    return tuple(bool(warm) for warm in mean >= COLDEST_GROWING_MEAN_C)


def _establishment(zone: ZoneInputs, year: int) -> Array:
    """How new the planting is in the middle of each month, shape (12,)."""
    if zone.planted_on is None:
        return np.zeros(12)
    since = [float((dt.date(year, month, 15) - zone.planted_on).days) for month in range(1, 13)]
    return demand.establishment_share(zone.planting, since)


def plant_factors(settled: ResolvedZone, share: Array) -> Array:
    """K by month, shape (12,): the zone's own factor, else category, month and exposure; raised while new."""
    zone = settled.zone
    if zone.plant_factor is not None:
        own = zone.plant_factor if isinstance(zone.plant_factor, int | float) else zone.plant_factor.value
        factor = np.full(12, float(own))
    else:
        factor = demand.monthly_plant_factor(zone.planting, zone.exposure, settled.southern, zone.humid_climate)
    return demand.establishing_factor(zone.planting, factor, share)


def _months(
    settled: ResolvedZone,
    climate: Climatology,
    days_and_factor: tuple[Array, Array],
    taw: Array,
    raw: Array,
    permitted: int,
    in_season: tuple[bool, ...],
) -> tuple[ZoneMonth, ...]:
    days, factor = days_and_factor
    needed = demand.plant_demand(climate.et_mm.mean, factor)
    effective = rain.scs_monthly(climate.rain_mm.mean, needed, USABLE_STORAGE_SHARE * taw)
    net = np.where(in_season, needed - effective, 0.0)
    per_day = net / days
    percent = percent_of_peak(per_day)
    minutes = 60.0 * 7.0 * per_day * settled.multiplier / settled.rate.value_mm_h
    interval = soil.longest_interval_days(raw, needed / days)
    figures = (climate.et_mm.mean, factor, needed, effective, net, per_day, minutes, interval, percent, days)
    return tuple(
        _month(settled, index + 1, in_season[index], permitted, [float(figure[index]) for figure in figures])
        for index in range(12)
    )


def _month(settled: ResolvedZone, month: int, in_season: bool, permitted: int, figures: list[float]) -> ZoneMonth:
    et, factor, needed, effective, net, per_day, minutes, interval, percent, days = figures
    run = spread_over_week(settled, minutes, int(interval), permitted)
    reason = ""
    if not in_season:
        reason = "out of season"
    elif run.run_time_min == 0:
        reason = "the normal rain covers the demand"
    return ZoneMonth(
        month=month,
        et_mm=et,
        plant_factor=factor,
        demand_mm=needed,
        effective_rain_mm=effective,
        net_need_mm=net,
        net_need_mm_day=per_day,
        exact_run_time_min_per_week=minutes,
        longest_interval_days=int(interval),
        days_per_week=run.days_per_week,
        run_time_min=run.run_time_min,
        cycles=run.split.cycles,
        cycle_min=round(run.split.cycle_min),
        soak_min=run.soak_min,
        percent_of_peak=percent,
        litres=litres_for(settled, run.run_time_min * run.days_per_week * days / 7.0),
        zero_because=reason,
        warnings=run.warnings,
    )


@dataclass(frozen=True)
class Watering:
    """One week's watering of a zone in whole minutes."""

    days_per_week: float
    split: soil.CycleSoak
    warnings: tuple[str, ...]

    @property
    def run_time_min(self) -> int:
        """Minutes of one watering day."""
        return round(self.split.run_time_min)

    @property
    def soak_min(self) -> int:
        """Soak between cycles, rounded up to whole minutes."""
        return math.ceil(self.split.soak_min - 1e-9)


MOST_WEEKS_APART = 4  # as controllers' intervals of days go: common practice, no source


def days_per_week(interval: int) -> float:
    """Watering days of an average week at most so many days apart; from a week on in whole weeks."""
    if interval < 7:
        return float(math.ceil(7 / interval))
    return 1.0 / min(interval // 7, MOST_WEEKS_APART)


def spread_over_week(settled: ResolvedZone, minutes_per_week: float, interval: int, permitted: int) -> Watering:
    """An average week's minutes over days no further apart than the interval, split into cycles, rounded once."""
    warnings = []
    if settled.repair_first:
        warnings.append(f"uniformity {settled.du_lq.value:.2f}: repair before adding water")
    if minutes_per_week <= 0:
        return Watering(0, soil.CycleSoak(0, 0.0, 0.0, math.inf), tuple(warnings))
    wanted = days_per_week(interval)
    days = min(wanted, max(1, permitted))
    if days < wanted:
        warnings.append(
            f"{permitted} permitted days a week leave gaps longer than the {interval} days the soil lasts"
        )
    return Watering(days, split_run(settled, minutes_per_week / days), tuple(warnings))


def split_run(settled: ResolvedZone, minutes: float) -> soil.CycleSoak:
    """A watering day's minutes as whole minutes and cycles, at least the zone's shortest run."""
    return soil.whole_minute_cycles(max(minutes, settled.shortest_run_min), *longest_cycle_and_soak(settled))


def longest_cycle_and_soak(settled: ResolvedZone) -> tuple[float, float]:
    """Minutes until water runs off the zone's soil, and minutes for the soil to take it in."""
    intake, accumulation = settled.texture.intake_mm_h, settled.accumulation_mm
    longest = soil.longest_cycle_min(settled.rate.value_mm_h, intake, accumulation)
    return longest, soil.soak_min(intake, accumulation)


def litres_for(settled: ResolvedZone, minutes: float) -> float | None:
    """Water for these minutes: measured or entered flow first, else rate times area."""
    if settled.flow_l_min is not None:
        return minutes * settled.flow_l_min.value
    if settled.area_m2 is not None:
        return minutes / 60.0 * settled.rate.value_mm_h * settled.area_m2.value
    return None
