"""Application rate, uniformity, multiplier and run time against definitions and published data."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.water import application as app
from scheduling.core.water.checks import WaterInputError

L_MIN_PER_GPM, M_PER_FT = 3.785411784, 0.3048
FIFTEEN_CANS = [47, 42, 45, 24, 13, 26, 33, 34, 27, 30, 40, 44, 32, 12, 12]
TWENTY_FOUR_CANS = [22, 25, 28, 30, 31, 33, 34, 35, 36, 38, 39, 40, 41, 42, 44, 45, 46, 47, 48, 50, 52, 54, 56, 60]


def test_grid_rate_in_both_unit_systems():
    """definition; 3.7 gpm at 15 x 15 ft is 1.583 in/h, 14 L/min at 4.5 x 4.5 m is 41.48 mm/h."""
    us = app.rate_on_grid(3.7 * L_MIN_PER_GPM, 15 * M_PER_FT, 15 * M_PER_FT) / 25.4
    assert float(us) == pytest.approx(1.583, abs=0.001)
    assert float(app.rate_on_grid(14, 4.5, 4.5)) == pytest.approx(41.48, abs=0.01)
    assert float(app.rate_on_triangle(14, 4.5)) == pytest.approx(47.90, abs=0.01)


def test_drip_rate_in_both_unit_systems():
    """definition."""
    us = app.rate_of_drip_grid(0.6 * L_MIN_PER_GPM, 12 * 0.0254, 18 * 0.0254) / 25.4
    assert float(us) == pytest.approx(0.642, abs=0.001)
    assert float(app.rate_of_drip_grid(2.0, 0.30, 0.45)) == pytest.approx(14.81, abs=0.01)


def test_zone_rate_and_flow_are_each_others_inverse():
    rate = app.rate_from_flow(30.0, 120.0)
    assert float(rate) == 15.0
    assert float(app.flow_from_rate(rate, 120.0)) == 30.0


def test_a_half_circle_head_counts_twice():
    assert float(app.full_circle_flow(7.0, 180)) == 14.0


def test_low_quarter_of_fifteen_cans_takes_four():
    """university extension data set; three cans (0.401) or fractional weights (0.477) are wrong."""
    assert app.lowest_share_uniformity(FIFTEEN_CANS) == pytest.approx(0.4962, abs=0.0001)


def test_catch_can_test_of_24_cans():
    """own data set, arithmetic checked by hand: mouth 84 cm2, 12 min."""
    result = app.catch_can_test(TWENTY_FOUR_CANS, 84.0, 12.0)
    assert result.mean_ml == pytest.approx(40.667, abs=0.001)
    assert result.du_lq == pytest.approx(0.6926, abs=0.0001)
    assert result.du_lh == pytest.approx(0.8012, abs=0.0001)
    assert result.rate_mm_h == pytest.approx(24.21, abs=0.01)
    assert result.remarks == ()
    assert not result.repair_first


def test_a_weak_test_says_so():
    remarks = app.catch_can_test(FIFTEEN_CANS, 84.0, 12.0, wind_m_s=4.0).remarks
    assert remarks[0].startswith("15 cans") and remarks[1].startswith("wind 4 m/s")


def test_dry_cans_are_refused():
    with pytest.raises(WaterInputError, match="no water was caught"):
        app.lowest_share_uniformity([0, 0, 0, 0])


def test_multiplier_row():
    """SM = 1/(0.4 + 0.6 DU), Irrigation Association, March 2005; the constants are from memory."""
    du = [0.40, 0.45, 0.50, 0.55, 0.60, 0.65, 0.70, 0.75, 0.80, 0.90]
    sm = [1.563, 1.493, 1.429, 1.370, 1.316, 1.266, 1.220, 1.176, 1.136, 1.064]
    assert app.scheduling_multiplier(du) == pytest.approx(sm, abs=0.0006)
    assert float(app.scheduling_multiplier(0.60)) == pytest.approx(1.3158, abs=0.0005)


def test_below_the_lowest_uniformity_repair_comes_before_water():
    assert app.scheduling_multiplier([0.1, 0.4]) == pytest.approx([1.5625, 1.5625])
    assert app.repair_before_adding_water([0.39, 0.40]).tolist() == [True, False]


def test_run_time_of_the_worked_example():
    """Own case, by hand: 5.5 mm/day, K 0.8, 4 mm of rain, 40 mm/h, DU 0.60: 52.9 min a week."""
    net = 5.5 * 7 * 0.8 - 4.0
    minutes = app.run_time_min(net, 40.0, app.scheduling_multiplier(0.60))
    assert float(minutes) == pytest.approx(52.895, abs=0.001)
    assert float(app.run_time_min(net, 40.0)) == pytest.approx(40.2)


@pytest.mark.parametrize("rate", [0.0, float("nan")])
def test_no_rate_is_refused_and_not_zero_minutes(rate):
    with pytest.raises(WaterInputError, match="application rate"):
        app.run_time_min(10.0, rate)


@given(low=st.floats(0, 1), high=st.floats(0, 1))
def test_lower_uniformity_never_asks_for_less(low, high):
    low, high = sorted((low, high))
    assert app.scheduling_multiplier(low) >= app.scheduling_multiplier(high) >= 1
