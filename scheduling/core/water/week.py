"""The coming week's watering of one zone: from the soil's state and the days ahead, or from the last seven days."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

import numpy as np

from scheduling.core.water import rain, soil
from scheduling.core.water.checks import Array, WaterInputError, complete
from scheduling.core.water.season import ZoneSeason, litres_for, spread_over_week
from scheduling.core.water.seasonal_percentage import round_to_five

LARGEST_PERCENT = 150.0
CONFIRM_ABOVE_PERCENT = 120.0  # common practice
MOST_FILLED_DAYS = 3
RULE_BALANCE = "soil balance: depletion now and by the week's last watering"
RULE_LAST_WEEK = "weather of the last seven days"
RULE_FORECAST = "forecast of the coming seven days"


@dataclass(frozen=True)
class WeekWeather:
    """Seven days, oldest first: reference ET and rain in mm, NaN where the station was silent.

    The last seven days, or the coming seven (`ahead`): NaN there where no forecast was entered.
    `normal_et_mm` and `normal_rain_mm` are the normals of the same days and fill the others.
    """

    first_day: dt.date
    et_mm: Array
    rain_mm: Array
    normal_et_mm: Array
    normal_rain_mm: Array
    ahead: bool = False

    def __post_init__(self) -> None:
        for field in ("et_mm", "rain_mm", "normal_et_mm", "normal_rain_mm"):
            if np.shape(getattr(self, field)) != (7,):
                raise WaterInputError(field, "seven days are needed")
        complete("normal ET", self.normal_et_mm, 0)
        complete("normal rain", self.normal_rain_mm, 0)

    @property
    def filled_days(self) -> tuple[dt.date, ...]:
        """Days of which at least one value is the normal."""
        silent = np.isnan(self.et_mm) | np.isnan(self.rain_mm)
        return tuple(self.first_day + dt.timedelta(days=int(day)) for day in np.flatnonzero(silent))

    @property
    def filled_et_mm(self) -> Array:
        """ET with the silent days filled."""
        return complete("ET", np.where(np.isnan(self.et_mm), self.normal_et_mm, self.et_mm), 0)

    @property
    def filled_rain_mm(self) -> Array:
        """Rain with the silent days filled."""
        return complete("rain", np.where(np.isnan(self.rain_mm), self.normal_rain_mm, self.rain_mm), 0)


@dataclass(frozen=True)
class ThisWeek:
    """The coming week of a zone; `numerator_mm` is the depth to give, `rule` says what it rests on.

    `percent` is of the peak month, nearest 5. `carry_over_mm` is rain beyond this week's demand that the soil
    still holds: pass it to next week's call. Above 120 % a person must confirm. `et_days_known` and
    `rain_days_known` are the days measured, or entered as a forecast where the week lies `ahead`.
    """

    month: int
    percent: int
    exact_percent: float
    demand_mm: float
    effective_rain_mm: float
    carry_over_used_mm: float
    numerator_mm: float
    exact_run_time_min_per_week: float
    days_per_week: int
    run_time_min: int
    cycles: int
    cycle_min: int
    soak_min: int
    litres: float | None
    carry_over_mm: float
    filled_days: tuple[dt.date, ...]
    rule: str
    needs_confirmation: bool
    warnings: tuple[str, ...]
    depletion_mm: float | None = None
    ahead: bool = False
    et_days_known: int = 7
    rain_days_known: int = 7

    @property
    def run_time_min_per_week(self) -> int:
        """Minutes a week as programmed."""
        return self.run_time_min * self.days_per_week


def this_week(
    season: ZoneSeason,
    week: WeekWeather,
    *,
    carry_over_mm: float = 0.0,
    depletion_mm: float | None = None,
    permitted_days_per_week: int = 7,
    rain_fraction: float = rain.DEFAULT_RAIN_FRACTION,
) -> ThisWeek:
    """Percent of the peak and minutes: 100 max(0, sum K ETo - Pe - carry-over)/(7 peak need), at most 150.

    With `depletion_mm`, the soil's depletion this morning, `week` holds the coming days and the depth is what the
    soil lacks now and by the week's last watering: D + (sum K ETo - Pe)(1 - 1/n) with n waterings, so that a week
    that repeats itself asks for exactly its demand. Without one, `week` is the last seven days or a forecast of the
    coming seven, and more than 3 silent days of 7 fall back to the month's normal percentage.
    """
    month = (week.first_day + dt.timedelta(days=6)).month
    raw = float(season.raw_mm[month - 1])
    carried = min(float(complete("carry-over", carry_over_mm, 0)), raw)
    needed = float(season.months[month - 1].plant_factor * week.filled_et_mm.sum())
    effective = float(rain.fixed_fraction(week.filled_rain_mm, rain_fraction).sum())
    interval = int(soil.longest_interval_days(raw, needed / 7.0))
    waterings = max(1, min(math.ceil(7 / interval), permitted_days_per_week))
    numerator, rule = _depth_to_give(season, week, needed - effective - carried, depletion_mm, month, waterings)
    exact = _percent(numerator, 7.0 * season.peak.net_need_mm_day)
    minutes = exact / 100.0 * season.peak.exact_run_time_min_per_week
    run = spread_over_week(season.zone, minutes, interval, permitted_days_per_week)
    return ThisWeek(
        month=month,
        percent=round_to_five(exact),
        exact_percent=exact,
        demand_mm=needed,
        effective_rain_mm=effective,
        carry_over_used_mm=carried,
        numerator_mm=numerator,
        exact_run_time_min_per_week=minutes,
        days_per_week=run.days_per_week,
        run_time_min=run.run_time_min,
        cycles=run.split.cycles,
        cycle_min=round(run.split.cycle_min),
        soak_min=run.soak_min,
        litres=litres_for(season.zone, run.run_time_min * run.days_per_week),
        carry_over_mm=min(max(effective + carried - needed, 0.0), raw),
        filled_days=week.filled_days,
        rule=rule,
        needs_confirmation=exact > CONFIRM_ABOVE_PERCENT,
        warnings=run.warnings,
        depletion_mm=depletion_mm,
        ahead=week.ahead,
        et_days_known=int(np.count_nonzero(~np.isnan(week.et_mm))),
        rain_days_known=int(np.count_nonzero(~np.isnan(week.rain_mm))),
    )


def _percent(depth_mm: float, peak_week_mm: float) -> float:
    return min(100.0 * depth_mm / peak_week_mm, LARGEST_PERCENT) if peak_week_mm > 0 else 0.0


def _depth_to_give(
    season: ZoneSeason,
    week: WeekWeather,
    shortfall_mm: float,
    depletion_mm: float | None,
    month: int,
    waterings: int,
) -> tuple[float, str]:
    """The week's net depth in mm and the rule it follows."""
    normal = season.months[month - 1]
    if normal.zero_because == "out of season":
        return 0.0, "out of season"
    if depletion_mm is not None:
        depth = float(complete("depletion", depletion_mm, 0)) + shortfall_mm * (1.0 - 1.0 / waterings)
        return max(0.0, depth), RULE_BALANCE
    silent = len(week.filled_days)
    if silent > MOST_FILLED_DAYS:
        return 7.0 * normal.net_need_mm_day, f"normal of the month: {silent} of 7 days missing"
    return max(0.0, shortfall_mm), RULE_FORECAST if week.ahead else RULE_LAST_WEEK
