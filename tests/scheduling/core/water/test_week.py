"""The coming week from the last seven days."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.explain import explain_week
from scheduling.core.water.season import zone_season
from scheduling.core.water.week import WeekWeather, this_week
from scheduling.core.water.zone_inputs import ZoneInputs
from tests.scheduling.core.water.climates import make_climate

SHRUBS = ZoneInputs("shrubs", "rotor", 47.0, area_m2=50.0, soil_texture="loam", application_rate_mm_h=12.0, du_lq=0.7)
JULY = dt.date(2026, 7, 6)


def week(et=6.0, rain=0.0, first=JULY):
    full = [np.broadcast_to(np.asarray(values, dtype=float), 7).copy() for values in (et, rain)]
    return WeekWeather(first, full[0], full[1], np.full(7, 5.0), np.full(7, 1.0))


@pytest.fixture
def season():
    return zone_season(SHRUBS, make_climate(), 2026)


def test_percent_follows_the_formula(season):
    """Reference 5.2: 100 max(0, sum K ETo - Pe)/(7 peak need), own numbers."""
    result = this_week(season, week(6.0, [0, 0, 8, 0, 0, 0, 0]))
    numerator = 0.5 * 42 - 0.5 * 8
    assert result.numerator_mm == pytest.approx(numerator)
    expected = 100 * numerator / (7 * season.peak.net_need_mm_day)
    assert result.exact_percent == pytest.approx(expected)
    assert result.percent == round(expected / 5) * 5
    minutes = 60 * numerator * (1 / (0.4 + 0.6 * 0.7)) / 12
    assert result.exact_run_time_min_per_week == pytest.approx(minutes)
    assert result.rule == "weather of the last seven days"
    assert result.litres == pytest.approx(result.run_time_min_per_week / 60 * 12 * 50)


def test_a_wet_week_needs_nothing_and_carries_rain_over(season):
    wet = this_week(season, week(3.0, [30, 10, 0, 0, 0, 0, 0]))
    assert (wet.run_time_min_per_week, wet.percent) == (0, 0)
    assert wet.carry_over_mm == pytest.approx(20 - 10.5)
    following = this_week(season, week(6.0), carry_over_mm=wet.carry_over_mm)
    assert following.numerator_mm == pytest.approx(21 - 9.5)


def test_carry_over_is_never_more_than_the_soil_holds(season):
    raw = float(season.raw_mm[6])
    assert this_week(season, week(6.0), carry_over_mm=500.0).carry_over_used_mm == raw


def test_up_to_three_silent_days_take_the_normal_and_are_named(season):
    et = np.array([6, 6, np.nan, 6, 6, np.nan, 6.0])
    result = this_week(season, week(et))
    assert result.filled_days == (dt.date(2026, 7, 8), dt.date(2026, 7, 11))
    assert result.demand_mm == pytest.approx(0.5 * (5 * 6 + 2 * 5))


def test_more_silent_days_fall_back_to_the_normal_of_the_month(season):
    result = this_week(season, week(np.array([6, np.nan, np.nan, np.nan, np.nan, 6, 6])))
    assert result.rule == "normal of the month: 4 of 7 days missing"
    assert result.exact_percent == pytest.approx(season.months[6].percent_of_peak)


def test_with_one_watering_a_week_the_depletion_of_today_is_what_to_give(season):
    result = this_week(season, week(3.0), depletion_mm=14.0)
    assert result.days_per_week == 1
    assert result.numerator_mm == 14.0
    assert result.rule.startswith("soil balance")


def test_a_week_that_repeats_itself_asks_for_its_demand():
    """Turf on loam, 4.8 mm a day, RAW 12.75 mm: every 2 days, 4 waterings. Its balanced depletion this morning is
    the demand since the last watering, a quarter of the week's."""
    turf = ZoneInputs("sports_turf", "rotor", 47.0, soil_texture="loam", application_rate_mm_h=12.0)
    season = zone_season(turf, make_climate(), 2026)
    demand = 0.95 * 7 * 6.0
    result = this_week(season, week(6.0), depletion_mm=demand / 4)
    assert result.days_per_week == 4
    assert result.numerator_mm == pytest.approx(demand)


@given(depletion=st.floats(0, 30), rain=st.floats(0, 40), more=st.floats(0, 20))
def test_rain_ahead_never_asks_for_more_and_a_drier_soil_never_for_less(depletion, rain, more):
    season = zone_season(SHRUBS, make_climate(), 2026)

    def minutes(mm, rain_mm):
        wet = week(5.0, [rain_mm, 0, 0, 0, 0, 0, 0])
        return this_week(season, wet, depletion_mm=mm).exact_run_time_min_per_week

    assert minutes(depletion, rain + more) <= minutes(depletion, rain) + 1e-9
    assert minutes(depletion + more, rain) >= minutes(depletion, rain) - 1e-9


def test_a_hot_week_is_capped_and_asks_for_confirmation(season):
    result = this_week(season, week(12.0))
    assert result.exact_percent == 150.0
    assert result.needs_confirmation


def test_out_of_season_stays_off():
    season = zone_season(SHRUBS, make_climate(), 2026, in_season=(False,) * 12)
    result = this_week(season, week(6.0))
    assert (result.run_time_min, result.rule) == (0, "out of season")


def test_explained_values_are_the_values_of_the_week(season):
    result = this_week(season, week(6.0, 1.0))
    for name, derivation in explain_week(season, result).items():
        if hasattr(result, name):
            assert derivation.value == pytest.approx(getattr(result, name)), name
    assert explain_week(season, result)["exact_run_time_min_per_week"].inputs[0].value == pytest.approx(
        result.numerator_mm
    )


def test_six_days_are_refused():
    with pytest.raises(WaterInputError, match="seven days"):
        WeekWeather(JULY, np.ones(6), np.ones(7), np.ones(7), np.ones(7))


seven = st.lists(st.floats(0, 40), min_size=7, max_size=7)


@given(et=st.lists(st.floats(0, 12), min_size=7, max_size=7), rain=seven, more=seven, carry=st.floats(0, 30))
def test_more_rain_never_asks_for_more_minutes(et, rain, more, carry):
    season = zone_season(SHRUBS, make_climate(), 2026)
    dry = this_week(season, week(et, rain), carry_over_mm=carry)
    wet = this_week(season, week(et, np.add(rain, more)), carry_over_mm=carry)
    assert wet.run_time_min_per_week <= dry.run_time_min_per_week
    assert dry.cycles * dry.cycle_min == dry.run_time_min >= 0
    assert 0 <= dry.percent <= 150
    assert 0 <= dry.carry_over_mm <= float(season.raw_mm[6])
