"""Seasonal percent per zone and one for the controller."""

import numpy as np
import pytest

from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.demand import PLANTINGS
from scheduling.core.water.seasonal_percentage import SENSITIVITY, percent_of_peak, seasonal_percentage

NET_MM = np.array([18, 35, 62, 95, 128, 150, 162, 140, 98, 55, 22, 12.0])
DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])


def test_percent_is_of_need_per_day():
    """Own case, by hand: April 60.6, August 86.4, December 7.4."""
    expected = [11.1, 23.9, 38.3, 60.6, 79.0, 95.7, 100, 86.4, 62.5, 34.0, 14.0, 7.4]
    percent = percent_of_peak(NET_MM / DAYS)
    assert percent == pytest.approx(expected, abs=0.05)


def test_a_year_without_need_is_zero_percent():
    assert percent_of_peak(np.zeros(12)).tolist() == [0.0] * 12


def test_one_setting_does_the_least_harm_and_says_what_it_costs():
    """Own: weights 300 and 100, so the mean of 80 and 60 is 75."""
    months = seasonal_percentage([[80.0], [60.0]], [300.0, 100.0], [1.0, 1.0], [1000.0, 400.0])
    assert months[0].percent == 75
    assert [cost.over_percent for cost in months[0].zones] == [-5.0, 15.0]
    assert [cost.over_litres for cost in months[0].zones] == pytest.approx([-50.0, 60.0])
    assert months[0].harm == pytest.approx((300 * 25 + 100 * 225) / 400)


def test_no_other_multiple_of_five_harms_less():
    rng = np.random.default_rng(5)
    own, area, care = rng.uniform(0, 140, (6, 12)), rng.uniform(10, 500, 6), rng.uniform(0.1, 1, 6)
    for index, month in enumerate(seasonal_percentage(own, area, care, np.ones(6))):
        weight = area * care / (area * care).sum()
        harms = {p: (weight * (p - own[:, index]) ** 2).sum() for p in range(0, 155, 5)}
        assert harms[month.percent] == pytest.approx(min(harms.values()))


def test_zones_without_weight_are_refused():
    with pytest.raises(WaterInputError, match="positive weight"):
        seasonal_percentage([[80.0]], [0.0], [1.0], [1.0])


def test_every_planting_has_a_sensitivity():
    assert set(SENSITIVITY) == set(PLANTINGS)
