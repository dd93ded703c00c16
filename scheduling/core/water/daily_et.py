"""Reference ET of every day of a station, with the documented fallbacks and the method beside each value."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from enum import IntFlag
from typing import Any, Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

from scheduling.core.water import reference_et as eq
from scheduling.core.water.checks import Array, WaterInputError, floats, refuse

Equation = Literal["fao56", "asce_short", "asce_tall", "hargreaves"]
Setting = Literal["interior", "coastal", "island"]
LONGEST_INTERPOLATED_GAP_DAYS = 3  # common practice, no source


class EtMethod(IntFlag):
    """How the ET of one day was found: one equation, plus what had to be estimated."""

    PENMAN_MONTEITH = 1
    HARGREAVES = 2
    INTERPOLATED = 4
    MISSING = 8
    RADIATION_FROM_SUNSHINE = 16
    RADIATION_FROM_TEMPERATURE = 32
    HUMIDITY_FROM_RH_MAX = 64
    HUMIDITY_FROM_RH_MEAN = 128
    HUMIDITY_FROM_TMIN = 256
    WIND_DEFAULT = 512


_WORDS = {
    EtMethod.PENMAN_MONTEITH: "Penman-Monteith",
    EtMethod.HARGREAVES: "Hargreaves-Samani, temperature only",
    EtMethod.INTERPOLATED: "interpolated between neighbouring days",
    EtMethod.MISSING: "no temperature, not computed",
    EtMethod.RADIATION_FROM_SUNSHINE: "radiation from sunshine hours",
    EtMethod.RADIATION_FROM_TEMPERATURE: "radiation estimated from temperature",
    EtMethod.HUMIDITY_FROM_RH_MAX: "humidity from the daily maximum",
    EtMethod.HUMIDITY_FROM_RH_MEAN: "humidity from the daily mean",
    EtMethod.HUMIDITY_FROM_TMIN: "humidity estimated from minimum temperature",
    EtMethod.WIND_DEFAULT: "default wind",
}


def method_words(code: int) -> str:
    """The method code of a day in plain words."""
    return ", ".join(words for flag, words in _WORDS.items() if int(code) & flag)


@dataclass(frozen=True)
class StationGeometry:
    """Where a station stands: scalars, or arrays of shape (stations, 1) for many at once.

    latitude_deg south negative; elevation_m; wind_height_m of the anemometer; `setting` and `arid` steer the
    estimates of missing radiation (FAO-56 Eq. 50, 51) and humidity (Eq. 48).
    """

    latitude_deg: float | Array
    elevation_m: float | Array
    wind_height_m: float = 2.0
    setting: Setting = "interior"
    arid: bool = False
    default_wind_m_s: float = eq.DEFAULT_WIND_M_S

    def __post_init__(self) -> None:
        refuse("latitude", np.atleast_1d(~(np.abs(self.latitude_deg) <= 90)), "must lie between -90 and 90")
        refuse("elevation", np.atleast_1d(~np.isfinite(self.elevation_m)), "is missing or not a number")


@dataclass(frozen=True)
class DailyWeather:
    """Daily weather of one station (n,) or many (stations, n); NaN marks a value missing on that day.

    dates (n,) datetime64[D]; temperatures degC; humidity percent; radiation MJ/m2/day; sunshine h;
    wind m/s at the station's height; rain mm. A whole field may be None.
    """

    dates: NDArray[np.datetime64]
    tmax_c: Array
    tmin_c: Array
    rain_mm: Array | None = None
    wind_m_s: Array | None = None
    tdew_c: Array | None = None
    rh_max_pct: Array | None = None
    rh_min_pct: Array | None = None
    rh_mean_pct: Array | None = None
    radiation_mj_m2: Array | None = None
    sunshine_h: Array | None = None


@dataclass(frozen=True)
class DailyEt:
    """ET of each day (mm) with its `EtMethod` code beside it; a MISSING day holds NaN, never a guess."""

    dates: NDArray[np.datetime64]
    et_mm: Array
    method: NDArray[np.int16]

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Days that hold a value."""
        return (self.method & EtMethod.MISSING) == 0


def day_of_year(dates: NDArray[np.datetime64]) -> NDArray[np.int64]:
    """Day of the year, 1..366."""
    days = dates.astype("datetime64[D]")
    return (days - days.astype("datetime64[Y]").astype("datetime64[D]")).astype(np.int64) + 1


def daily_reference_et(weather: DailyWeather, site: StationGeometry, equation: Equation = "fao56") -> DailyEt:
    """Reference ET of each day, mm, never negative.

    Missing humidity, radiation and wind follow FAO-56 chapter 3 and are marked day by day; up to 3 days
    without temperature are interpolated, longer gaps stay MISSING. Impossible weather raises
    `WaterInputError`.
    Source: FAO-56 Eq. 6 or 52, ASCE-05 Eq. 1.
    """
    tmax = floats(weather.tmax_c)
    stations = tmax.shape[0] if tmax.ndim == 2 else 1
    at_once = max(1, BLOCK_STATION_DAYS // max(1, tmax.shape[-1]))
    if stations <= at_once:
        return _station_block(weather, site, equation)
    starts = range(0, stations, at_once)
    blocks = []
    for start in starts:
        rows = slice(start, start + at_once)
        try:
            blocks.append(_station_block(_rows_of(weather, rows), _rows_of(site, rows), equation))
        except WaterInputError:
            _station_block(weather, site, equation)  # complains again, with positions in the whole array
            raise
    return DailyEt(
        weather.dates,
        np.concatenate([block.et_mm for block in blocks]),
        np.concatenate([block.method for block in blocks]),
    )


# Blocks whose working arrays stay in the processor's cache take half the time of one large array; much smaller ones
# pay more for the calls than the cache saves.
BLOCK_STATION_DAYS = 36_500
T = TypeVar("T", DailyWeather, StationGeometry)


def _rows_of(record: T, rows: slice) -> T:
    """The record with its (stations, ...) arrays cut to these stations; shared values stay."""
    cut: dict[str, Any] = {
        field.name: value[rows]
        for field in fields(record)
        if isinstance(value := getattr(record, field.name), np.ndarray) and value.ndim == 2 and len(value) > 1
    }
    return replace(record, **cut)


def _station_block(weather: DailyWeather, site: StationGeometry, equation: Equation) -> DailyEt:
    tmax, tmin = floats(weather.tmax_c), floats(weather.tmin_c)
    doy = day_of_year(weather.dates)
    solar = eq.SOLAR_CONSTANT_ASCE if equation.startswith("asce") else eq.SOLAR_CONSTANT_FAO
    ra = eq.extraterrestrial_radiation(site.latitude_deg, doy, solar)
    _refuse_impossible(weather, ra)
    if equation == "hargreaves":
        et = eq.hargreaves(tmax, tmin, ra)
        flags = np.asarray(EtMethod.HARGREAVES, dtype=np.int16)
    else:
        et, flags = _penman_monteith(weather, site, ra, equation)
    et = np.maximum(et, 0.0, out=np.asarray(et))
    method = np.full(et.shape, flags)
    gap = np.isnan(et)
    if gap.any():
        method[gap] = EtMethod.MISSING
        _fill_short_gaps(et, method)
    return DailyEt(weather.dates, et, method)


def _penman_monteith(
    weather: DailyWeather, site: StationGeometry, ra: Array, equation: Equation
) -> tuple[Array, NDArray[np.int16]]:
    asce = equation.startswith("asce")
    tmax, tmin = floats(weather.tmax_c), floats(weather.tmin_c)
    rso = eq.clear_sky_radiation(site.elevation_m, ra)
    rs, rs_flag = _radiation(weather, site, ra, rso)
    ea, ea_flag = _vapour_pressure(weather, site)
    u2, u2_flag = _wind(weather, site)
    ratio = eq.cloud_ratio(rs, rso, lowest=0.3 if asce else 0.0)
    sigma = eq.STEFAN_BOLTZMANN_ASCE if asce else eq.STEFAN_BOLTZMANN_FAO
    rn = eq.net_radiation(eq.net_shortwave(rs), eq.net_longwave(tmax, tmin, ea, ratio, sigma))
    t = eq.mean_temperature(tmax, tmin)
    slope = eq.vapour_pressure_slope(t)
    if asce:
        slope *= 2503.0 / (4098.0 * 0.6108)  # ASCE-05 prints the rounded product
    deficit = np.maximum(eq.mean_saturation_vapour_pressure(tmax, tmin) - ea, 0.0)
    gamma = eq.psychrometric_constant(eq.air_pressure(site.elevation_m))
    cn, cd = (1600.0, 0.38) if equation == "asce_tall" else (900.0, 0.34)
    et = eq.combination(slope, gamma, rn, t, u2, deficit, cn, cd)
    flags = np.asarray(EtMethod.PENMAN_MONTEITH | rs_flag | ea_flag | u2_flag, dtype=np.int16)
    return et, flags


Route = tuple[tuple[Array | None, ...], EtMethod, Callable[..., Array]]


def _first_known(routes: Sequence[Route]) -> tuple[Array, NDArray[np.int16]]:
    """The first route whose inputs are all present, day by day; the last route always is."""
    value: Array | None = None
    flags = np.zeros((), np.int16)
    missing = np.zeros((), np.bool_)
    for inputs, flag, formula in routes:
        given = [floats(item) for item in inputs if item is not None]
        if len(given) < len(inputs):
            continue
        present = np.ones((), np.bool_)
        for item in given:
            # The smallest is NaN if any is: one pass without a mask for the usual, complete field.
            if item.size and np.isnan(item.min()):
                present = present & ~np.isnan(item)
        if value is None:
            value, flags, missing = formula(*given), np.asarray(flag, np.int16), ~present
        else:
            value = np.where(missing, formula(*given), value)
            flags = np.where(missing, np.asarray(flag, np.int16), flags)
            missing = missing & ~present
        if not missing.any():
            break
    assert value is not None
    return value, flags


NOTHING_ESTIMATED = EtMethod(0)


def _radiation(
    weather: DailyWeather, site: StationGeometry, ra: Array, rso: Array
) -> tuple[Array, NDArray[np.int16]]:
    def from_sunshine(hours: Array) -> Array:
        daylight = eq.daylight_hours(site.latitude_deg, day_of_year(weather.dates))
        return eq.radiation_from_sunshine(hours, daylight, ra)

    def from_temperature() -> Array:
        if site.setting == "island":
            return np.minimum(eq.radiation_on_island(ra), rso)
        krs = eq.KRS_COASTAL if site.setting == "coastal" else eq.KRS_INTERIOR
        return np.minimum(eq.radiation_from_temperature(weather.tmax_c, weather.tmin_c, ra, krs), rso)

    return _first_known(
        (
            ((weather.radiation_mj_m2,), NOTHING_ESTIMATED, floats),
            ((weather.sunshine_h,), EtMethod.RADIATION_FROM_SUNSHINE, from_sunshine),
            ((), EtMethod.RADIATION_FROM_TEMPERATURE, from_temperature),
        )
    )


def _vapour_pressure(weather: DailyWeather, site: StationGeometry) -> tuple[Array, NDArray[np.int16]]:
    tmax, tmin = weather.tmax_c, weather.tmin_c

    def from_both(rh_max: Array, rh_min: Array) -> Array:
        return eq.vapour_pressure_from_rh(tmax, tmin, np.minimum(rh_max, 100.0), np.minimum(rh_min, 100.0))

    return _first_known(
        (
            ((weather.tdew_c,), NOTHING_ESTIMATED, eq.vapour_pressure_from_dew_point),
            ((weather.rh_max_pct, weather.rh_min_pct), NOTHING_ESTIMATED, from_both),
            (
                (weather.rh_max_pct,),
                EtMethod.HUMIDITY_FROM_RH_MAX,
                lambda rh: eq.vapour_pressure_from_rh_max(tmin, np.minimum(rh, 100.0)),
            ),
            (
                (weather.rh_mean_pct,),
                EtMethod.HUMIDITY_FROM_RH_MEAN,
                lambda rh: eq.vapour_pressure_from_rh_mean(tmax, tmin, np.minimum(rh, 100.0)),
            ),
            (
                (),
                EtMethod.HUMIDITY_FROM_TMIN,
                lambda: eq.vapour_pressure_from_dew_point(eq.dew_point_from_tmin(tmin, site.arid)),
            ),
        )
    )


def _wind(weather: DailyWeather, site: StationGeometry) -> tuple[Array, NDArray[np.int16]]:
    default = max(site.default_wind_m_s, eq.LOWEST_WIND_M_S)
    return _first_known(
        (
            ((weather.wind_m_s,), NOTHING_ESTIMATED, lambda wind: eq.wind_at_2_m(wind, site.wind_height_m)),
            ((), EtMethod.WIND_DEFAULT, lambda: floats(default)),
        )
    )


def _refuse_impossible(weather: DailyWeather, ra: Array) -> None:
    """Comparisons with NaN are false, so missing values pass; infinities do not."""
    limits = (
        ("maximum temperature", weather.tmax_c, -90.0, 60.0),
        ("minimum temperature", weather.tmin_c, -90.0, 60.0),
        ("dew point", weather.tdew_c, -100.0, 50.0),
        ("wind", weather.wind_m_s, 0.0, 120.0),
        ("maximum humidity", weather.rh_max_pct, 0.0, 102.0),
        ("minimum humidity", weather.rh_min_pct, 0.0, 102.0),
        ("mean humidity", weather.rh_mean_pct, 0.0, 102.0),
        ("radiation", weather.radiation_mj_m2, 0.0, 50.0),
        ("sunshine", weather.sunshine_h, 0.0, 24.0),
        ("rain", weather.rain_mm, 0.0, 2000.0),
    )
    for field, values, low, high in limits:
        if values is None:
            continue
        array = floats(values)
        # One pass decides the usual case; NaN fails both comparisons and goes the long way.
        if array.size and not (low <= array.min() and array.max() <= high):
            refuse(field, (array < low) | (array > high), f"must lie between {low:g} and {high:g}")
    refuse("minimum temperature", floats(weather.tmin_c) > weather.tmax_c, "is above the maximum")
    if weather.radiation_mj_m2 is not None:
        refuse("radiation", floats(weather.radiation_mj_m2) > ra, "is more than reaches the atmosphere")
    if weather.rh_max_pct is not None and weather.rh_min_pct is not None:
        refuse("humidity", floats(weather.rh_min_pct) > weather.rh_max_pct, "minimum is above the maximum")
    if floats(weather.tmax_c).shape[-1] != len(weather.dates):
        raise WaterInputError("dates", "one date is needed for each day of weather")


def _fill_short_gaps(et: Array, method: NDArray[np.int16]) -> None:
    """Interpolate, in place, inner gaps of at most 3 days; gaps at an end of the series stay missing."""
    for row, codes in zip(et.reshape(-1, et.shape[-1]), method.reshape(-1, et.shape[-1]), strict=True):
        known = np.flatnonzero(~np.isnan(row))
        for before, after in zip(known[:-1], known[1:], strict=True):
            gap = int(after - before - 1)
            if 1 <= gap <= LONGEST_INTERPOLATED_GAP_DAYS:
                inside = np.arange(before + 1, after)
                row[inside] = np.interp(inside, (before, after), (row[before], row[after]))
                codes[inside] = EtMethod.INTERPOLATED
