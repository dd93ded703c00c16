"""Whole days and seasons: FAO-56 examples, independent packages, fallbacks and refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.water import reference_et as eq
from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.daily_et import (
    DailyWeather,
    EtMethod,
    StationGeometry,
    daily_reference_et,
    day_of_year,
    method_words,
)


def one_day(date, tmax, tmin, **others):
    arrays = {name: np.array([value]) for name, value in others.items()}
    return DailyWeather(np.array([date], dtype="datetime64[D]"), np.array([tmax]), np.array([tmin]), **arrays)


UCCLE = StationGeometry(50.80, 100.0, wind_height_m=10.0)


def uccle_day(**radiation):
    return one_day("2001-07-06", 21.5, 12.3, rh_max_pct=84.0, rh_min_pct=63.0, wind_m_s=10 / 3.6, **radiation)


def test_uccle_on_6_july_as_published():
    """FAO-56 chapter 4 Ex. 18, 3.88 mm/day (also in the tests of PyETo and pyet)."""
    result = daily_reference_et(uccle_day(sunshine_h=9.25), UCCLE)
    assert result.et_mm == pytest.approx([3.8803], abs=0.0005)
    assert result.et_mm == pytest.approx([3.88], abs=0.02)
    assert result.method.tolist() == [EtMethod.PENMAN_MONTEITH | EtMethod.RADIATION_FROM_SUNSHINE]


def test_lyon_in_july_from_temperature_only():
    """FAO-56 Ex. 20, reduced data 4.56, Hargreaves 5.0."""
    lyon = StationGeometry(45 + 43 / 60, 200.0)
    day = one_day("2001-07-15", 26.6, 14.8)
    reduced = daily_reference_et(day, lyon)
    assert reduced.et_mm == pytest.approx([4.5604], abs=0.0005)
    assert reduced.et_mm == pytest.approx([4.56], abs=0.02)
    assert method_words(reduced.method[0]) == (
        "Penman-Monteith, radiation estimated from temperature, "
        "humidity estimated from minimum temperature, default wind"
    )
    hargreaves = daily_reference_et(day, lyon, "hargreaves")
    assert hargreaves.et_mm == pytest.approx([5.0331], abs=0.0005)
    assert hargreaves.method.tolist() == [EtMethod.HARGREAVES]


@pytest.mark.parametrize(("wind", "expected"), [(1.0, 4.228), (3.0, 4.841)])
def test_lyon_wind_sensitivity(wind, expected):
    """FAO-56 Ex. 20: 1 m/s gives -7 %, 3 m/s gives +6 %."""
    day = one_day("2001-07-15", 26.6, 14.8, wind_m_s=wind)
    result = daily_reference_et(day, StationGeometry(45 + 43 / 60, 200.0))
    assert result.et_mm == pytest.approx([expected], abs=0.001)


@pytest.mark.parametrize(
    ("equation", "expected", "tolerance"), [("asce_short", 3.8806, 0.004), ("asce_tall", 4.6073, 0.005)]
)
def test_asce_surfaces_on_the_uccle_day(equation, expected, tolerance):
    """two independent packages give 3.88058 and 4.60732 with Rs 22.07."""
    result = daily_reference_et(uccle_day(radiation_mj_m2=22.07), UCCLE, equation)
    assert result.et_mm == pytest.approx([expected], abs=tolerance)


def random_stations(stations=10, days=365, seed=7):
    rng = np.random.default_rng(seed)
    dates = np.arange(np.datetime64("2023-01-01"), np.datetime64("2024-01-01"))[:days]
    latitude = rng.uniform(-60, 60, (stations, 1))
    elevation = rng.uniform(0, 2500, (stations, 1))
    tmax = rng.uniform(-5, 40, (stations, days))
    tmin = tmax - rng.uniform(1, 18, (stations, days))
    ra = eq.extraterrestrial_radiation(latitude, day_of_year(dates))
    weather = DailyWeather(
        dates,
        tmax,
        tmin,
        wind_m_s=rng.uniform(0.2, 8, (stations, days)),
        tdew_c=tmin - rng.uniform(0, 8, (stations, days)),
        radiation_mj_m2=ra * rng.uniform(0.1, 0.75, (stations, days)),
    )
    return weather, StationGeometry(latitude, elevation, wind_height_m=3.0)


@pytest.mark.parametrize(("equation", "method"), [("asce_short", "eto"), ("asce_tall", "etr")])
def test_3650_random_station_days_agree_with_an_independent_library(equation, method):
    """refet 0.5 lets ET go below zero on dark humid days; ours stops at zero by design."""
    refet = pytest.importorskip("refet")
    weather, site = random_stations()
    theirs = refet.Daily(
        tmin=weather.tmin_c.copy(),
        tmax=weather.tmax_c.copy(),
        tdew=weather.tdew_c.copy(),
        rs=weather.radiation_mj_m2.copy(),
        uz=weather.wind_m_s.copy(),
        zw=3.0,
        elev=site.elevation_m.copy(),
        lat=site.latitude_deg.copy(),  # the library converts this array in place
        doy=day_of_year(weather.dates)[None, :],
        method="asce",
    )
    ours = daily_reference_et(weather, site, equation).et_mm
    assert ours.size == 3650
    assert np.abs(ours - np.maximum(getattr(theirs, method)(), 0.0)).max() <= 1e-9


@pytest.mark.slow
@pytest.mark.parametrize(("equation", "surface"), [("asce_short", "S"), ("asce_tall", "T")])
def test_random_days_agree_with_a_second_library_by_both_humidity_routes(equation, surface):
    pyfao56_refet = pytest.importorskip("pyfao56.refet")
    weather, site = random_stations(stations=1, days=200, seed=11)
    rh_max = np.linspace(60, 99, 200)[None, :]
    humid = DailyWeather(
        weather.dates,
        weather.tmax_c,
        weather.tmin_c,
        wind_m_s=weather.wind_m_s,
        rh_max_pct=rh_max,
        rh_min_pct=rh_max / 2,
        radiation_mj_m2=weather.radiation_mj_m2,
    )
    by_dew, by_rh = (daily_reference_et(each, site, equation).et_mm[0] for each in (weather, humid))
    for day, doy in enumerate(day_of_year(weather.dates)):
        common = (
            surface,
            float(site.elevation_m[0, 0]),
            float(site.latitude_deg[0, 0]),
            int(doy),
            float(weather.radiation_mj_m2[0, day]),
            float(weather.tmax_c[0, day]),
            float(weather.tmin_c[0, day]),
        )
        wind = {"wndsp": float(weather.wind_m_s[0, day]), "wndht": 3.0}
        theirs = pyfao56_refet.ascedaily(*common, tdew=float(weather.tdew_c[0, day]), **wind)
        assert by_dew[day] == pytest.approx(max(theirs, 0.0), abs=0.001)
        theirs = pyfao56_refet.ascedaily(
            *common, rhmax=float(rh_max[0, day]), rhmin=float(rh_max[0, day]) / 2, **wind
        )
        assert by_rh[day] == pytest.approx(max(theirs, 0.0), abs=0.001)


def test_many_stations_are_as_each_alone_and_a_fault_is_found_in_the_last():
    weather, site = random_stations(stations=120)
    together = daily_reference_et(weather, site)
    last = StationGeometry(site.latitude_deg[119:], site.elevation_m[119:], wind_height_m=3.0)
    fields = ("tmax_c", "tmin_c", "wind_m_s", "tdew_c", "radiation_mj_m2")
    alone = daily_reference_et(
        DailyWeather(weather.dates, **{field: getattr(weather, field)[119:] for field in fields}), last
    )
    assert together.et_mm.shape == (120, 365)
    assert np.array_equal(together.et_mm[119:], alone.et_mm)
    weather.wind_m_s[119, 364] = -1.0
    with pytest.raises(WaterInputError) as refusal:
        daily_reference_et(weather, site)
    assert refusal.value.rows == (120 * 365 - 1,)


def week(**fields):
    dates = np.arange(np.datetime64("2024-06-01"), np.datetime64("2024-06-08"))
    plain = {"tmax_c": np.full(7, 25.0), "tmin_c": np.full(7, 12.0)}
    return DailyWeather(dates, **(plain | fields))


HOME = StationGeometry(45.0, 100.0)


def test_each_day_keeps_the_method_it_used():
    missing = np.array([3.0, np.nan, 3.0, np.nan, 3.0, 3.0, 3.0])
    result = daily_reference_et(week(wind_m_s=missing, rh_mean_pct=missing * 20), HOME)
    from_temperature = EtMethod.PENMAN_MONTEITH | EtMethod.RADIATION_FROM_TEMPERATURE
    full = from_temperature | EtMethod.HUMIDITY_FROM_RH_MEAN
    bare = from_temperature | EtMethod.HUMIDITY_FROM_TMIN | EtMethod.WIND_DEFAULT
    assert result.method.tolist() == [full, bare, full, bare, full, full, full]
    assert result.et_mm[1] == daily_reference_et(week(), HOME).et_mm[1]


def test_up_to_three_days_without_temperature_are_interpolated_and_longer_gaps_stay_missing():
    tmax = np.array([25.0, np.nan, np.nan, np.nan, 25.0, 25.0, np.nan])
    result = daily_reference_et(week(tmax_c=tmax), HOME)
    assert (result.method[1:4] == EtMethod.INTERPOLATED).all()
    assert result.et_mm[2] == pytest.approx((result.et_mm[0] + result.et_mm[4]) / 2, abs=0.02)
    assert result.usable.tolist() == [True] * 6 + [False]
    long_gap = daily_reference_et(week(tmax_c=np.array([25.0] + [np.nan] * 4 + [25.0, 25.0])), HOME)
    assert long_gap.usable.tolist() == [True] + [False] * 4 + [True] * 2


@pytest.mark.parametrize(
    ("fields", "complaint"),
    [
        ({"tmin_c": np.full(7, 26.0)}, "minimum temperature: is above the maximum"),
        ({"wind_m_s": np.full(7, -1.0)}, "wind: must lie"),
        ({"rh_max_pct": np.full(7, 110.0)}, "maximum humidity: must lie"),
        ({"radiation_mj_m2": np.full(7, 45.0)}, "radiation: is more than reaches"),
        ({"tmax_c": np.full(7, np.inf)}, "maximum temperature: must lie"),
    ],
)
def test_impossible_weather_is_refused_by_name(fields, complaint):
    with pytest.raises(WaterInputError, match=complaint):
        daily_reference_et(week(**fields), HOME)


def test_a_latitude_beyond_the_pole_is_refused():
    with pytest.raises(WaterInputError, match="latitude"):
        StationGeometry(91.0, 0.0)


def test_a_coast_gets_more_radiation_than_the_interior_and_dry_air_more_et():
    plain, coast = (
        daily_reference_et(week(), HOME),
        daily_reference_et(week(), StationGeometry(45, 100, setting="coastal")),
    )
    dry = daily_reference_et(week(), StationGeometry(45, 100, arid=True))
    assert (coast.et_mm > plain.et_mm).all()
    assert (dry.et_mm > plain.et_mm).all()


@given(
    latitude=st.floats(-90, 90),
    elevation=st.floats(-400, 5000),
    tmin=st.floats(-60, 40),
    spread=st.floats(0, 20),
    wind=st.floats(0, 30),
    equation=st.sampled_from(["fao56", "asce_short", "asce_tall", "hargreaves"]),
)
def test_et_is_never_negative_nor_nan_anywhere_on_any_day(latitude, elevation, tmin, spread, wind, equation):
    dates = np.arange(np.datetime64("2024-01-01"), np.datetime64("2025-01-01"), 15)
    weather = DailyWeather(
        dates, np.full(len(dates), tmin + spread), np.full(len(dates), tmin), wind_m_s=np.full(len(dates), wind)
    )
    et = daily_reference_et(weather, StationGeometry(latitude, elevation), equation).et_mm
    assert np.isfinite(et).all()
    assert (et >= 0).all()
