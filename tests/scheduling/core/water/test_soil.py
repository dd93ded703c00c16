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


PROTOCOL_IN = {
    # Intake in/h and allowable surface accumulation in inches for slopes 0-3, 4-6, 7-12, over 12 %: SWAT_2008.
    "clay": (0.10, 0.20, 0.15, 0.10, 0.10),
    "silty_clay": (0.15, 0.23, 0.19, 0.16, 0.13),
    "clay_loam": (0.20, 0.26, 0.22, 0.18, 0.15),
    "loam": (0.35, 0.30, 0.25, 0.21, 0.17),
    "sandy_loam": (0.40, 0.33, 0.29, 0.24, 0.20),
    "loamy_sand": (0.50, 0.36, 0.30, 0.26, 0.22),
    "sand": (0.60, 0.40, 0.35, 0.30, 0.25),
}


@pytest.mark.parametrize("key", soil.TEXTURES)
def test_the_protocol_s_inches_are_our_millimetres(key):
    texture = soil.TEXTURES[key]
    ours = [texture.intake_mm_h, *texture.accumulation_mm]
    assert ours == pytest.approx([inches * 25.4 for inches in PROTOCOL_IN[key]], abs=0.07)


def test_available_water_lies_in_the_range_of_its_texture():
    """FAO-56 Table 19, field capacity less wilting point, in mm a metre; the values inside are from memory."""
    table = {
        "clay": (120, 200), "silty_clay": (130, 190), "loam": (130, 180), "sandy_loam": (110, 150),
        "loamy_sand": (60, 120), "sand": (50, 110),
    }  # fmt: skip
    for key, (low, high) in table.items():
        assert low <= soil.TEXTURES[key].available_mm_m <= high
    known = {key: texture.available_mm_m for key, texture in soil.TEXTURES.items()}
    assert list(known.values()) == [170, 170, 180, 170, 120, 80, 60]


def test_a_zone_without_minutes_has_no_cycles():
    longest = soil.longest_cycle_min(40.0, 5.08, 6.6)
    assert soil.cycle_and_soak(0.0, 40.0, 5.08, 6.6) == soil.CycleSoak(0, 0.0, 0.0, longest)
    assert soil.whole_minute_cycles(0, longest, 30.0) == soil.CycleSoak(0, 0.0, 0.0, longest)
    assert soil.cycle_and_soak(1.0, 40.0, 5.08, 6.6) == soil.CycleSoak(1, 1.0, 0.0, longest)


def test_soaks_are_held_between_twenty_minutes_and_two_hours():
    """60 ASA / IR, by hand: 60 x 1 / 10 = 6 min and 60 x 10 / 2 = 300 min."""
    assert (soil.soak_min(10.0, 1.0), soil.soak_min(2.0, 10.0)) == (20.0, 120.0)
    assert soil.soak_min(10.0, 10.0) == 60.0


def test_the_longest_cycle_at_the_intake_itself_has_no_end():
    assert soil.longest_cycle_min(5.08, 5.08, 6.6) == math.inf
    assert soil.longest_cycle_min(6.08, 5.08, 6.6) == pytest.approx(396.0)


@pytest.mark.parametrize(
    ("run", "longest", "split"),
    [
        (10, 9.5, (1, 10.0)),  # half a minute over the longest is let pass
        (10, 9.4, (2, 5.0)),
        (11, 5.5, (2, 5.0)),  # 2 x 6 would be 9 % too much
        (5, 0.4, (5, 1.0)),  # never below a minute
    ],
)
def test_whole_minutes_by_hand(run, longest, split):
    found = soil.whole_minute_cycles(run, longest, 30.0)
    assert (found.cycles, found.cycle_min) == split


def test_the_day_s_share_falls_where_demand_is_high_and_never_rises():
    """FAO-56 Table 22 note by hand: 0.5 + 0.04 (5 - 8) = 0.38; at 2 mm a day it would be 0.62, and stays 0.5."""
    assert soil.allowed_share(0.5, [8.0, 5.0, 2.0]) == pytest.approx([0.38, 0.5, 0.5])


@pytest.mark.parametrize("slope", [-0.1, 100.1, float("nan")])
def test_a_slope_that_cannot_be_is_refused(slope):
    with pytest.raises(WaterInputError, match="slope"):
        soil.allowable_accumulation("clay", slope)


def test_the_ends_of_the_slopes_are_taken():
    assert (soil.allowable_accumulation("sand", 0), soil.allowable_accumulation("sand", 100)) == (10.2, 6.3)


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


@given(run=st.floats(0, 300), longest=st.floats(0.2, 200), soak=st.floats(20, 120))
def test_whole_minute_cycles_never_give_five_percent_too_much(run, longest, soak):
    split = soil.whole_minute_cycles(run, longest, soak)
    assert split.cycles * split.cycle_min == split.run_time_min
    assert split.run_time_min <= max(1.05 * run, 1.0)
    assert split.cycle_min == int(split.cycle_min)
    assert split.cycle_min <= max(longest + 0.5, 1.0)
    assert run < 2 or split.run_time_min >= 0.6 * run


def test_five_minutes_on_a_soil_that_takes_four_are_not_made_six():
    assert soil.whole_minute_cycles(5, 4.0, 30).run_time_min == 4
    assert soil.whole_minute_cycles(21, 4.0, 30).run_time_min == 20
    assert soil.whole_minute_cycles(82, 6.0, 30).cycles == 14


@given(window=st.floats(1, 1440), longest=st.floats(1, 200), soak=st.floats(20, 120))
def test_the_longest_run_fits_the_window_with_its_soaks(window, longest, soak):
    run = soil.longest_run_min(window, longest, soak)
    cycles = math.ceil(run / longest - 1e-9)
    assert run + max(cycles - 1, 0) * soak <= window + 1e-6
    assert 0 <= run <= window


def test_high_demand_lowers_the_allowed_share_and_low_demand_does_not_raise_it():
    """FAO-56 Table 22 note: p + 0.04 (5 - ETc); 0.5 at 8 mm a day is 0.38."""
    assert soil.allowed_share(0.5, [2.0, 5.0, 8.0]) == pytest.approx([0.5, 0.5, 0.38])
