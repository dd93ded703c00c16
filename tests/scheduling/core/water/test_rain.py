"""Effective rain against the handbook's rule in both unit systems."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.water import rain


@pytest.mark.parametrize(
    ("fallen", "demand", "storage", "expected"),
    [(100, 150, 75, 73.1), (60, 180, 50, 45.8), (20, 120, 40, 13.4), (8, 100, 75, 5.0)],
)
def test_scs_monthly_rule_in_mm(fallen, demand, storage, expected):
    """NEH Part 623 chapter 2, Eq. 2-85 (constants as in pycropwat 1.3.0)."""
    assert float(rain.scs_monthly(fallen, demand, storage)) == pytest.approx(expected, abs=0.3)


def test_scs_monthly_rule_in_inches():
    """P 4.00, ETc 6.00, D 3.0 in."""
    assert float(rain.scs_monthly_inches(4.0, 6.0, 3.0)) == pytest.approx(2.95, abs=0.01)


def test_storage_factor_row():
    """and the row of the reference (recomputed from NEH-623.2 Eq. 2-85)."""
    depths = [20, 25, 37.5, 50, 62.5, 75, 100, 125, 150, 175]
    expected = [0.730, 0.770, 0.854, 0.918, 0.965, 0.998, 1.032, 1.040, 1.046, 1.071]
    assert rain.scs_storage_factor(depths) == pytest.approx(expected, abs=0.001)
    assert rain.scs_storage_factor(400) == rain.scs_storage_factor(175)


def test_the_mm_form_follows_from_the_inch_form():
    for fallen, demand in ((30, 60), (80, 120), (150, 200)):
        inches = float(rain.scs_monthly_inches(fallen / 25.4, demand / 25.4, 75 / 25.4)) * 25.4
        assert float(rain.scs_monthly(fallen, demand, 75)) == pytest.approx(inches, rel=0.01)


def test_event_rule():
    """1.5 in counts 1.233 in; below 0.1 nothing, above 2 in no more (extension network rule)."""
    counted = rain.event_rule(np.array([0.05, 0.1, 1.0, 1.5, 2.0, 5.0]) * 25.4) / 25.4
    assert counted == pytest.approx([0, 0, 0.9, 1.2333, 1.5667, 1.5667], abs=0.001)


def test_fao_simplified_rule():
    """USDA-SCS monthly as in CROPWAT (Smith 1992): 100 mm count 84, 300 count 155."""
    assert rain.fao_simplified_monthly([100, 300]) == pytest.approx([84, 155])


def test_fixed_fraction_has_a_cap():
    assert rain.fixed_fraction([10, 100], 0.5, 20) == pytest.approx([5, 20])


def test_soil_takes_only_what_it_has_room_for():
    """FAO-56 chapter 8: small rain is ignored, large rain fills the depletion and the day's demand."""
    counted = rain.soil_limited([0.9, 5, 40], [10, 10, 10], [4, 4, 4], [5, 5, 5], runoff_mm=[0, 1, 0])
    assert counted == pytest.approx([0, 4, 14])


@given(fallen=st.floats(0, 800), more=st.floats(0, 200), demand=st.floats(0, 400), storage=st.floats(0, 300))
def test_more_rain_never_counts_less_and_never_more_than_fell_or_was_needed(fallen, more, demand, storage):
    less, much = rain.scs_monthly([fallen, fallen + more], demand, storage)
    assert 0 <= less <= much
    assert less <= min(fallen, demand) + 1e-9
