"""Effective rain against the handbook's rule in both unit systems."""

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


@given(fallen=st.floats(0, 800), more=st.floats(0, 200), demand=st.floats(0, 400), storage=st.floats(0, 300))
def test_more_rain_never_counts_less_and_never_more_than_fell_or_was_needed(fallen, more, demand, storage):
    less, much = rain.scs_monthly([fallen, fallen + more], demand, storage)
    assert 0 <= less <= much
    assert less <= min(fallen, demand) + 1e-9
