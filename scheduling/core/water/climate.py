"""A station's climate: monthly normals with percentiles, daily normals between them, and doubts about the data."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduling.core.water import reference_et as eq
from scheduling.core.water.checks import Array, WaterInputError, floats
from scheduling.core.water.daily_et import DailyEt, DailyWeather, StationGeometry, day_of_year

# A month of one year counts when at most this many of its days are missing; its total is scaled up for them.
MOST_MISSING_DAYS = 3  # common practice, no source
MEAN_MONTH_DAYS = (31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


@dataclass(frozen=True)
class MonthlyNormal:
    """Normal of one quantity, January first: mean and percentiles over the years, each of shape (12,).

    Percentiles follow the primary rule of the NIST e-Handbook 7.2.6.2 and never leave the record.
    """

    quantity: str
    unit: str
    mean: Array
    p10: Array
    p50: Array
    p90: Array
    years: NDArray[np.int64]


@dataclass(frozen=True)
class Climatology:
    """Monthly normals of a station: ET and rain as totals in mm, temperatures as means in degC.

    week_sd_et_mm and week_sd_rain_mm, (12,), are the standard deviations of a week's ET and rain around the
    normals of its days, by the month of the week's middle.
    """

    station: str
    first_year: int
    last_year: int
    et_mm: MonthlyNormal
    rain_mm: MonthlyNormal
    tmax_c: MonthlyNormal
    tmin_c: MonthlyNormal
    week_sd_et_mm: Array = dataclasses.field(default_factory=lambda: np.zeros(12))
    week_sd_rain_mm: Array = dataclasses.field(default_factory=lambda: np.zeros(12))

    @property
    def fewest_years(self) -> int:
        """Years behind the thinnest month; below 10 the percentiles say little."""
        return int(min(n.years.min() for n in (self.et_mm, self.rain_mm, self.tmax_c, self.tmin_c)))


def monthly_climatology(station: str, weather: DailyWeather, et: DailyEt) -> Climatology:
    """Normals from the daily history of one station; days without a value are left out.

    Raises `WaterInputError` naming the months no year covers.
    """
    if weather.rain_mm is None:
        raise WaterInputError("rain", "is needed for a climatology")
    dates = weather.dates.astype("datetime64[D]")
    if not len(dates):
        raise WaterInputError("dates", "no days of weather")
    years = dates.astype("datetime64[Y]").astype(int) + 1970
    of_et = monthly_normal("reference ET", "mm", dates, et.et_mm, total=True)
    of_rain = monthly_normal("rain", "mm", dates, weather.rain_mm, total=True)
    return Climatology(
        station,
        int(years.min()),
        int(years.max()),
        of_et,
        of_rain,
        monthly_normal("maximum temperature", "degC", dates, weather.tmax_c, total=False),
        monthly_normal("minimum temperature", "degC", dates, weather.tmin_c, total=False),
        week_sd(dates, et.et_mm, of_et.mean),
        week_sd(dates, weather.rain_mm, of_rain.mean),
    )


def week_sd(dates: NDArray[np.datetime64], values: Array, monthly_total: Array) -> Array:
    """Standard deviation, (12,), of seven days' sums around their normals, by the month of the middle day.

    Weeks with a missing day are left out; a month without a week has the mean of the others. The days of `dates`
    may be in any order but each stands once.
    """
    span = np.arange(dates.min(), dates.max() + 1)
    off = np.full(len(span), np.nan)
    off[(dates - span[0]).astype(np.int64)] = values - daily_normals(monthly_total, dates)
    if len(off) < 7:
        return np.zeros(12)
    week = np.lib.stride_tricks.sliding_window_view(off, 7).sum(axis=1)
    month = span[3 : 3 + len(week)].astype("datetime64[M]").astype(np.int64) % 12
    usable = ~np.isnan(week)
    found = [week[usable & (month == row)] for row in range(12)]
    spread = np.array([np.sqrt(np.mean(weeks**2)) if len(weeks) else np.nan for weeks in found])
    return np.where(np.isnan(spread), np.nanmean(spread) if usable.any() else 0.0, spread)


def monthly_normal(
    quantity: str, unit: str, dates: NDArray[np.datetime64], values: Array, *, total: bool
) -> MonthlyNormal:
    """Mean and percentiles over the years of one month's total (or mean), NaN days left out."""
    month_index = dates.astype("datetime64[M]").astype(np.int64)
    first = int(month_index.min())
    position = month_index - first
    present = ~np.isnan(values)
    count = np.bincount(position[present], minlength=int(position.max()) + 1).astype(float)
    sums = np.bincount(position[present], weights=values[present], minlength=len(count))
    starts = (np.arange(len(count)) + first).astype("datetime64[M]")
    length = ((starts + 1).astype("datetime64[D]") - starts.astype("datetime64[D]")).astype(float)
    usable = count >= length - MOST_MISSING_DAYS
    figure = np.full(len(count), np.nan)
    figure[usable] = sums[usable] / count[usable] * (length[usable] if total else 1.0)
    by_month = [figure[usable & ((np.arange(len(count)) + first) % 12 == month)] for month in range(12)]
    lacking = [str(month + 1) for month, found in enumerate(by_month) if not len(found)]
    if lacking:
        raise WaterInputError(quantity, f"no year covers month {', '.join(lacking)}")
    mean = np.array([found.mean() for found in by_month])
    p10, p50, p90 = (np.array([nist_percentile(found, p) for found in by_month]) for p in (10, 50, 90))
    return MonthlyNormal(quantity, unit, mean, p10, p50, p90, np.array([len(found) for found in by_month]))


def nist_percentile(values: Array, percent: float) -> float:
    """Percentile by p(N+1) = k + d, held to the smallest and largest value (NIST e-Handbook 7.2.6.2)."""
    return float(np.percentile(values, percent, method="weibull"))


def daily_normals(monthly_total: Array, dates: NDArray[np.datetime64]) -> Array:
    """Normal of each day from monthly totals, shape (n,).

    Daily means stand at mid-month; straight lines join them round the year, so that neighbouring days agree.
    """
    per_day = monthly_total / np.array(MEAN_MONTH_DAYS)
    ends = np.cumsum(MEAN_MONTH_DAYS)
    middles = ends - np.array(MEAN_MONTH_DAYS) / 2.0
    x = np.concatenate(([middles[-1] - 365.25], middles, [middles[0] + 365.25]))
    y = np.concatenate(([per_day[-1]], per_day, [per_day[0]]))
    return np.interp(day_of_year(dates) - 0.5, x, y)


def filled_with_normals(values: Array, monthly_total: Array, dates: NDArray[np.datetime64]) -> Array:
    """The named rule for missing days: the station's normal of that day."""
    return np.where(np.isnan(floats(values)), daily_normals(monthly_total, dates), values)


@dataclass(frozen=True)
class WeatherFinding:
    """A doubt about one day: the row in the arrays, which check raised it, the value and plain words."""

    row: int
    date: np.datetime64
    field: str
    check: str
    value: float
    words: str


# Range and step limits are common practice, no source: wide enough that only faults pass them.
RANGE_LIMITS = {
    "tmax_c": (-60.0, 56.0, "degC"),
    "tmin_c": (-70.0, 45.0, "degC"),
    "rain_mm": (0.0, 500.0, "mm"),
    "wind_m_s": (0.0, 40.0, "m/s"),
    "rh_max_pct": (5.0, 102.0, "%"),
    "rh_min_pct": (1.0, 102.0, "%"),
    "radiation_mj_m2": (0.1, 45.0, "MJ/m2"),
}
STEP_LIMITS = {"tmax_c": 25.0, "tmin_c": 25.0}
SAME_VALUE_DAYS = {"tmax_c": 5, "tmin_c": 5, "wind_m_s": 5, "radiation_mj_m2": 3}
CLEAR_SKY_TOLERANCE = 1.10


def weather_findings(weather: DailyWeather, site: StationGeometry) -> list[WeatherFinding]:
    """Range, step, persistence and clear-sky checks of one station's days, in row order.

    A finding is a question to a person, nothing is changed. Missing values raise none.
    """
    findings: list[WeatherFinding] = []

    def report(field: str, check: str, bad: NDArray[np.bool_], values: Array, words: str) -> None:
        for row in np.flatnonzero(bad):
            value = float(values[row])
            findings.append(WeatherFinding(int(row), weather.dates[row], field, check, value, words.format(value)))

    for field, (low, high, unit) in RANGE_LIMITS.items():
        values = getattr(weather, field)
        if values is not None:
            outside = (values < low) | (values > high)
            report(field, "range", outside, values, f"{{:g}} {unit} is outside {low:g} to {high:g}")
    report("tmin_c", "order", weather.tmin_c > weather.tmax_c, weather.tmin_c, "{:g} degC is above the maximum")
    for field, limit in STEP_LIMITS.items():
        values = getattr(weather, field)
        jump = np.zeros(len(values), np.bool_)
        next_day = np.diff(weather.dates.astype("datetime64[D]").astype(np.int64)) == 1
        jump[1:] = (np.abs(np.diff(values)) > limit) & next_day
        report(field, "step", jump, values, f"{{:g}} degC is more than {limit:g} from the day before")
    for field, days in SAME_VALUE_DAYS.items():
        values = getattr(weather, field)
        if values is not None:
            report(field, "persistence", _stuck(values, days), values, f"{{:g}} stays the same {days} days or more")
    if weather.radiation_mj_m2 is not None:
        envelope = clear_sky_envelope(weather.dates, site)
        above = weather.radiation_mj_m2 > CLEAR_SKY_TOLERANCE * envelope
        report("radiation_mj_m2", "clear sky", above, weather.radiation_mj_m2, "{:g} MJ/m2 is above a clear sky")
    return sorted(findings, key=lambda finding: (finding.row, finding.field))


def clear_sky_envelope(dates: NDArray[np.datetime64], site: StationGeometry) -> Array:
    """Clear-sky radiation of each day, MJ/m2 (FAO-56 Eq. 37)."""
    ra = eq.extraterrestrial_radiation(site.latitude_deg, day_of_year(dates))
    return eq.clear_sky_radiation(site.elevation_m, ra)


def _stuck(values: Array, days: int) -> NDArray[np.bool_]:
    """True on every day of a run of at least `days` equal values."""
    same = np.concatenate(([False], np.diff(values) == 0.0, [False]))
    edges = np.flatnonzero(same[1:] != same[:-1])
    stuck = np.zeros(len(values), np.bool_)
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        if end - start + 1 >= days:
            stuck[start : end + 1] = True
    return stuck
