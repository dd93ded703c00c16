"""Soil limits: FAO-56 Example 36, the interval, cycle and soak."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.water import soil
from scheduling.core.water.checks import WaterInputError

CROPS = {"onion": (0.4, 0.30), "tomato": (0.8, 0.40), "maize": (1.2, 0.55)}
EXAMPLE_36 = [
    # soil FC, WP, crop, TAW, RAW
    (0.15, 0.06, "onion", 36, 10.8),
    (0.15, 0.06, "tomato", 72, 28.8),
    (0.15, 0.06, "maize", 108, 59.4),
    (0.32, 0.15, "onion", 68, 20.4),
    (0.32, 0.15, "tomato", 136, 54.4),
    (0.32, 0.15, "maize", 204, 112.2),
    (0.35, 0.23, "onion", 48, 14.4),
    (0.35, 0.23, "tomato", 96, 38.4),
    (0.35, 0.23, "maize", 144, 79.2),
]


@pytest.mark.parametrize(("fc", "wp", "crop", "taw", "raw"), EXAMPLE_36)
def test_available_water_of_example_36(fc, wp, crop, taw, raw):
    """FAO-56 chapter 8 Ex. 36."""
    depth, p = CROPS[crop]
    total = soil.total_available_water_from_contents(fc, wp, depth)
    assert float(total) == pytest.approx(taw, abs=0.5)
    assert float(soil.readily_available_water(total, p)) == pytest.approx(raw, abs=0.5)


def test_longest_interval():
    """Own case, by hand: loam 170 mm/m, 0.20 m, MAD 0.5, 4.4 mm/day: 3.86 days, so every third day."""
    taw = soil.total_available_water(170, 0.20)
    raw = soil.readily_available_water(taw, 0.5)
    assert (float(taw), float(raw)) == (34.0, 17.0)
    assert soil.longest_interval_days(raw, [4.4, 0.0, 100.0, 17.0]).tolist() == [3, 365, 1, 1]


def test_depletion_fraction_falls_with_demand():
    """FAO-56 Table 22 note: p = p_table + 0.04 (5 - ETc), 0.1 to 0.8."""
    assert soil.depletion_fraction(0.5, [5, 10, 0, 30]) == pytest.approx([0.5, 0.3, 0.7, 0.1])


def test_cycle_and_soak_on_clay_loam():
    """controller testing protocol (2008 draft): t_max 11.35, 2 cycles of 9 min, soak 78 min."""
    split = soil.cycle_and_soak(18.0, 40.0, 5.08, 6.6)
    assert split.longest_cycle_min == pytest.approx(11.35, abs=0.1)
    assert (split.cycles, split.cycle_min) == (2, 9.0)
    assert split.soak_min == pytest.approx(78, abs=0.1)
    assert split.elapsed_min == pytest.approx(96, abs=0.1)


def test_cycle_and_soak_in_us_units():
    """PR 1.6, IR 0.20 in/h, ASA 0.26 in, 24 min: t_max 11.14, 3 cycles of 8 min, soak 78."""
    split = soil.cycle_and_soak(24.0, 1.6 * 25.4, 0.20 * 25.4, 0.26 * 25.4)
    assert split.longest_cycle_min == pytest.approx(11.14, abs=0.01)
    assert (split.cycles, split.cycle_min) == (3, 8.0)
    assert split.soak_min == pytest.approx(78, abs=0.1)


def test_sand_that_takes_all_water_needs_one_cycle():
    split = soil.cycle_and_soak(24.0, 0.5 * 25.4, 0.6 * 25.4, 10.2)
    assert (split.cycles, split.cycle_min, split.soak_min) == (1, 24.0, 0.0)
    assert math.isinf(split.longest_cycle_min)


@pytest.mark.parametrize(("slope", "mm"), [(0, 5.1), (3, 5.1), (3.1, 3.8), (6, 3.8), (12, 2.5), (30, 2.5)])
def test_clay_holds_less_on_steeper_slopes(slope, mm):
    """Controller testing protocol (2008 draft), clay row, equal in two independent copies."""
    assert soil.allowable_accumulation("clay", slope) == mm


def test_an_unknown_texture_is_refused():
    with pytest.raises(WaterInputError, match="unknown: 'peat'"):
        soil.texture_of("peat")


def test_a_wilting_point_above_field_capacity_is_refused():
    with pytest.raises(WaterInputError, match="below field capacity"):
        soil.total_available_water_from_contents(0.2, 0.3, 1.0)


@given(run=st.integers(0, 300), more=st.integers(0, 60), longest=st.floats(0.2, 200), soak=st.floats(20, 120))
def test_whole_minute_cycles_give_the_run_time_and_never_fall_when_more_is_asked(run, more, longest, soak):
    split = soil.whole_minute_cycles(run, longest, soak)
    assert split.cycles * split.cycle_min == split.run_time_min >= run
    assert split.cycle_min == int(split.cycle_min)
    assert split.cycle_min <= max(longest + 0.5, 1.0)
    assert soil.whole_minute_cycles(run + more, longest, soak).run_time_min >= split.run_time_min
