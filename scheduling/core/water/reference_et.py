"""The equations of reference evapotranspiration, one function each.

FAO-56 = Allen, Pereira, Raes, Smith 1998, FAO Irrigation and Drainage Paper 56.
ASCE-05 = ASCE-EWRI 2005, The ASCE Standardized Reference Evapotranspiration Equation.
Equation numbers as in two open libraries' source and tests (PyETo, pyet), the rest from memory. All functions work
elementwise on arrays that broadcast; temperatures degC, pressures kPa, radiation MJ/m2/day, ET mm/day.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from scheduling.core.water.checks import Array, floats

SOLAR_CONSTANT_FAO = 0.0820  # MJ/m2/min, FAO-56 Eq. 21
SOLAR_CONSTANT_ASCE = 4.92 / 60.0  # MJ/m2/min, ASCE-05 (4.92 MJ/m2/h)
STEFAN_BOLTZMANN_FAO = 4.903e-9  # MJ/K4/m2/day, FAO-56 Eq. 39
STEFAN_BOLTZMANN_ASCE = 4.901e-9
ALBEDO = 0.23
DEPTH_PER_ENERGY = 0.408  # mm of water per MJ/m2, FAO-56 Table 3
DEFAULT_WIND_M_S = 2.0  # FAO-56 Table 4: mean of about 2000 stations
LOWEST_WIND_M_S = 0.5  # FAO-56 chapter 3
KRS_INTERIOR, KRS_COASTAL = 0.16, 0.19  # FAO-56 Eq. 50
# Rs/Rso has no meaning in polar night; ET is then close to zero whatever stands here (common practice).
POLAR_NIGHT_CLOUD_RATIO = 0.7


def air_pressure(elevation_m: ArrayLike) -> Array:
    """Atmospheric pressure in kPa from elevation (FAO-56 Eq. 7)."""
    return 101.3 * ((293.0 - 0.0065 * floats(elevation_m)) / 293.0) ** 5.26


def psychrometric_constant(pressure_kpa: ArrayLike) -> Array:
    """Psychrometric constant, kPa/degC (FAO-56 Eq. 8)."""
    return 0.665e-3 * floats(pressure_kpa)


def mean_temperature(tmax_c: ArrayLike, tmin_c: ArrayLike) -> Array:
    """Daily mean as the mid of the extremes, also where a 24 h mean exists (FAO-56 Eq. 9)."""
    return (floats(tmax_c) + floats(tmin_c)) * 0.5


def saturation_vapour_pressure(temperature_c: ArrayLike) -> Array:
    """e0(T), kPa (FAO-56 Eq. 11)."""
    t = floats(temperature_c)
    value = np.asarray(t + 237.3)  # worked in place: the exponentials are most of the cost of ET
    np.divide(t, value, out=value)
    value *= 17.27
    np.exp(value, out=value)
    value *= 0.6108
    return value


def mean_saturation_vapour_pressure(tmax_c: ArrayLike, tmin_c: ArrayLike) -> Array:
    """es, kPa: mean of e0 at the extremes, never e0 of the mean (FAO-56 Eq. 12)."""
    return (saturation_vapour_pressure(tmax_c) + saturation_vapour_pressure(tmin_c)) * 0.5


def vapour_pressure_slope(temperature_c: ArrayLike) -> Array:
    """Slope of the saturation curve, kPa/degC (FAO-56 Eq. 13)."""
    t = floats(temperature_c)
    value = saturation_vapour_pressure(t)
    above = t + 237.3
    value /= above * above
    value *= 4098.0
    return value


def vapour_pressure_from_dew_point(tdew_c: ArrayLike) -> Array:
    """ea, kPa (FAO-56 Eq. 14): the best route where dew point is measured."""
    return saturation_vapour_pressure(tdew_c)


def vapour_pressure_from_wet_bulb(
    tdry_c: ArrayLike, twet_c: ArrayLike, pressure_kpa: ArrayLike, coefficient: float = 0.000662
) -> Array:
    """ea, kPa (FAO-56 Eq. 15, 16); coefficient 0.000662 ventilated, 0.0008 natural, 0.0012 indoor."""
    psychrometer = coefficient * floats(pressure_kpa)
    return saturation_vapour_pressure(twet_c) - psychrometer * (floats(tdry_c) - floats(twet_c))


def vapour_pressure_from_rh(
    tmax_c: ArrayLike, tmin_c: ArrayLike, rh_max_pct: ArrayLike, rh_min_pct: ArrayLike
) -> Array:
    """ea, kPa, from both relative humidities (FAO-56 Eq. 17)."""
    at_dawn = saturation_vapour_pressure(tmin_c) * floats(rh_max_pct)
    return (at_dawn + saturation_vapour_pressure(tmax_c) * floats(rh_min_pct)) / 200.0


def vapour_pressure_from_rh_max(tmin_c: ArrayLike, rh_max_pct: ArrayLike) -> Array:
    """ea, kPa, from the largest relative humidity only (FAO-56 Eq. 18)."""
    return saturation_vapour_pressure(tmin_c) * floats(rh_max_pct) / 100.0


def vapour_pressure_from_rh_mean(tmax_c: ArrayLike, tmin_c: ArrayLike, rh_mean_pct: ArrayLike) -> Array:
    """ea, kPa, from mean relative humidity: the least good of the measured routes (FAO-56 Eq. 19)."""
    return floats(rh_mean_pct) / 100.0 * mean_saturation_vapour_pressure(tmax_c, tmin_c)


def inverse_distance(day_of_year: ArrayLike) -> Array:
    """Inverse relative distance earth-sun (FAO-56 Eq. 23); the 365 stays in leap years."""
    return 1.0 + 0.033 * np.cos(2.0 * np.pi / 365.0 * floats(day_of_year))


def solar_declination(day_of_year: ArrayLike) -> Array:
    """Solar declination, rad (FAO-56 Eq. 24)."""
    return 0.409 * np.sin(2.0 * np.pi / 365.0 * floats(day_of_year) - 1.39)


def sunset_hour_angle(latitude_deg: ArrayLike, day_of_year: ArrayLike) -> Array:
    """Sunset hour angle, rad (FAO-56 Eq. 25); 0 in polar night, pi in polar day."""
    return np.arccos(_sunset_cosine(np.radians(floats(latitude_deg)), solar_declination(day_of_year)))


def _sunset_cosine(latitude_rad: Array, declination_rad: Array) -> Array:
    cosine = np.asarray(-np.tan(latitude_rad) * np.tan(declination_rad))
    return np.clip(cosine, -1.0, 1.0, out=cosine)


def extraterrestrial_radiation(
    latitude_deg: ArrayLike, day_of_year: ArrayLike, solar_constant: float = SOLAR_CONSTANT_FAO
) -> Array:
    """Ra, MJ/m2/day (FAO-56 Eq. 21)."""
    latitude = np.radians(floats(latitude_deg))
    declination = solar_declination(day_of_year)
    cosine = _sunset_cosine(latitude, declination)
    # What depends on the day alone is multiplied first, while it is a row and no table.
    strength = (24.0 * 60.0 / np.pi * solar_constant) * inverse_distance(day_of_year)
    sun = np.arccos(cosine)
    sun *= np.sin(latitude) * (strength * np.sin(declination))
    cosine *= cosine
    np.subtract(1.0, cosine, out=cosine)
    # sqrt(1 - cos2) is the sine of the sunset angle, which lies between 0 and pi.
    np.sqrt(cosine, out=cosine)
    cosine *= np.cos(latitude) * (strength * np.cos(declination))
    sun += cosine
    # Rounding can leave -1e-17 in polar night.
    return np.maximum(sun, 0.0)


def daylight_hours(latitude_deg: ArrayLike, day_of_year: ArrayLike) -> Array:
    """N, hours (FAO-56 Eq. 34)."""
    return 24.0 / np.pi * sunset_hour_angle(latitude_deg, day_of_year)


def radiation_from_sunshine(sunshine_h: ArrayLike, daylight_h: ArrayLike, ra: ArrayLike) -> Array:
    """Rs from hours of bright sun (FAO-56 Eq. 35, a = 0.25, b = 0.50); no daylight gives no sun."""
    daylight = floats(daylight_h)
    fraction = np.divide(
        sunshine_h, daylight, out=np.zeros(np.broadcast(sunshine_h, daylight).shape), where=daylight > 0
    )
    return (0.25 + 0.50 * np.clip(fraction, 0.0, 1.0)) * floats(ra)


def clear_sky_radiation(elevation_m: ArrayLike, ra: ArrayLike) -> Array:
    """Rso, MJ/m2/day (FAO-56 Eq. 37)."""
    return (0.75 + 2e-5 * floats(elevation_m)) * floats(ra)


def net_shortwave(rs: ArrayLike) -> Array:
    """Rns (FAO-56 Eq. 38)."""
    return (1.0 - ALBEDO) * floats(rs)


def cloud_ratio(rs: ArrayLike, rso: ArrayLike, lowest: float = 0.0) -> Array:
    """Rs/Rso limited to lowest..1 (FAO-56 Eq. 39 limits it to 1, ASCE-05 to 0.3..1)."""
    sun, clear = floats(rs), floats(rso)
    if clear.size and clear.min() > 0:
        return np.clip(sun / clear, lowest, 1.0)
    sun, clear = np.broadcast_arrays(sun, clear)
    ratio = np.full(sun.shape, POLAR_NIGHT_CLOUD_RATIO)
    np.divide(sun, clear, out=ratio, where=clear > 0)
    return np.clip(ratio, lowest, 1.0)


def net_longwave(
    tmax_c: ArrayLike,
    tmin_c: ArrayLike,
    ea: ArrayLike,
    ratio: ArrayLike,
    stefan_boltzmann: float = STEFAN_BOLTZMANN_FAO,
) -> Array:
    """Rnl (FAO-56 Eq. 39); `ratio` from `cloud_ratio`."""
    hot, cold = (floats(tmax_c) + 273.16) ** 2, (floats(tmin_c) + 273.16) ** 2
    hot *= hot
    cold *= cold
    cover = np.sqrt(floats(ea))
    cover *= -0.14
    cover += 0.34
    clear = 1.35 * floats(ratio)
    clear -= 0.35
    return (hot + cold) * (0.5 * stefan_boltzmann) * cover * clear


def net_radiation(rns: ArrayLike, rnl: ArrayLike) -> Array:
    """Rn (FAO-56 Eq. 40)."""
    return floats(rns) - floats(rnl)


def soil_heat_flux_monthly(
    previous_month_c: ArrayLike, month_c: ArrayLike, next_month_c: ArrayLike | None = None
) -> Array:
    """G of a month (FAO-56 Eq. 43; Eq. 44 when the next month is unknown). Daily G is 0 (Eq. 42)."""
    if next_month_c is None:
        return 0.14 * (floats(month_c) - floats(previous_month_c))
    return 0.07 * (floats(next_month_c) - floats(previous_month_c))


def wind_at_2_m(wind_m_s: ArrayLike, height_m: ArrayLike) -> Array:
    """Wind moved to 2 m above grass (FAO-56 Eq. 47)."""
    return floats(wind_m_s) * (4.87 / np.log(67.8 * floats(height_m) - 5.42))


def dew_point_from_tmin(tmin_c: ArrayLike, arid: bool = False) -> Array:
    """Missing humidity: Tdew = Tmin, 2 degC lower where the surroundings are dry (FAO-56 Eq. 48)."""
    return floats(tmin_c) - (2.0 if arid else 0.0)


def radiation_from_temperature(
    tmax_c: ArrayLike, tmin_c: ArrayLike, ra: ArrayLike, krs: float = KRS_INTERIOR
) -> Array:
    """Missing radiation: Rs = kRs sqrt(Tmax - Tmin) Ra (FAO-56 Eq. 50); the caller caps it at Rso."""
    return krs * np.sqrt(np.maximum(floats(tmax_c) - floats(tmin_c), 0.0)) * floats(ra)


def radiation_on_island(ra: ArrayLike) -> Array:
    """Missing radiation on an island below 100 m: Rs = 0.7 Ra - 4 (FAO-56 Eq. 51)."""
    return np.maximum(0.7 * floats(ra) - 4.0, 0.0)


def hargreaves(tmax_c: ArrayLike, tmin_c: ArrayLike, ra: ArrayLike) -> Array:
    """ETo from temperature only, for periods of 5 days or more (FAO-56 Eq. 52; Hargreaves, Samani 1985)."""
    spread = np.maximum(floats(tmax_c) - floats(tmin_c), 0.0)
    warm = np.maximum(mean_temperature(tmax_c, tmin_c) + 17.8, 0.0)
    return 0.0023 * warm * np.sqrt(spread) * DEPTH_PER_ENERGY * floats(ra)


def combination(
    slope: ArrayLike,
    gamma: ArrayLike,
    rn_minus_g: ArrayLike,
    t_c: ArrayLike,
    u2: ArrayLike,
    deficit_kpa: ArrayLike,
    cn: float = 900.0,
    cd: float = 0.34,
) -> Array:
    """The combination equation: FAO-56 Eq. 6, ASCE-05 Eq. 1 (daily short 900/0.34, tall 1600/0.38)."""
    slope, gamma, u2 = floats(slope), floats(gamma), floats(u2)
    wind_term = u2 * floats(deficit_kpa) / (floats(t_c) + 273.0) * (gamma * cn)
    energy_term = slope * floats(rn_minus_g) * DEPTH_PER_ENERGY
    return (energy_term + wind_term) / (u2 * (gamma * cd) + gamma + slope)
