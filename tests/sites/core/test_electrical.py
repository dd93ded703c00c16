import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.core import electrical as el
from sites.core.units import FOOT_M, awg_to_mm2

AWG18 = awg_to_mm2(18)


@pytest.mark.parametrize(
    ("awg", "ohm_per_km"),  # NBS Handbook 100 geometry; AWG 18 is 6.385 ohm/kft there
    [(20, 33.31), (18, 20.95), (16, 13.17), (14, 8.285), (12, 5.211), (10, 3.277), (8, 2.061)],
)
def test_american_gauges_have_the_table_resistance_at_20_degrees(awg, ohm_per_km):
    assert el.awg_ohm_per_km(awg) == pytest.approx(ohm_per_km, abs=0.005)


@pytest.mark.parametrize(
    ("awg", "ohm_per_kft"),  # NEC Chapter 9 Table 8, solid copper at 75 degC
    [(18, 7.77), (16, 4.89), (14, 3.07), (12, 1.93), (10, 1.21), (8, 0.764)],
)
def test_the_code_book_column_at_75_degrees_is_met_within_half_a_percent(awg, ohm_per_kft):
    assert el.awg_ohm_per_km(awg, 75) * FOOT_M == pytest.approx(ohm_per_kft, rel=0.005)


def test_a_nominal_metric_section_has_its_standard_value_and_a_gauge_its_geometry():
    assert el.wire_ohm_per_km(1.5) == 12.1  # IEC 60228 class 1 and 2
    assert el.wire_ohm_per_km(1.5, 40) == pytest.approx(13.05, abs=0.005)
    assert el.wire_ohm_per_km(1.5, 10) == pytest.approx(11.62, abs=0.01)
    assert el.wire_ohm_per_km(AWG18) == pytest.approx(20.95, abs=0.02)
    with pytest.raises(ValueError, match="above 0"):
        el.wire_ohm_per_km(0)


def test_voltage_left_at_a_valve_600_feet_away():  # drop 2.835 V
    assert el.valve_voltage_v(24, 0.37, 600 * FOOT_M, AWG18) == pytest.approx(24 - 2.835, abs=0.005)


def test_longest_runs():
    feet = el.longest_run_m(26, 20, 0.41, AWG18) / FOOT_M
    assert feet == pytest.approx(1146, abs=1)
    assert el.longest_run_m(26, 20, 0.41, AWG18, temperature_c=75) / FOOT_M == pytest.approx(942, abs=1)
    assert el.longest_run_m(24, 20, 0.40, 1.5) == pytest.approx(413, abs=1)  # IEC 60228 value
    assert el.longest_run_m(19, 20, 0.40, 1.5) == 0


def test_drop_in_metric_wire_and_with_a_thicker_common():
    assert 24 - el.valve_voltage_v(24, 0.40, 250, 1.5) == pytest.approx(2.42, abs=0.005)
    assert 24 - el.valve_voltage_v(24, 0.40, 180, 0.75, 1.5) == pytest.approx(2.635, abs=0.005)


def test_a_shared_common_carries_the_sum_of_the_currents():
    alone = el.valve_voltage_v(24, 0.25, 200, 1.0)
    shared = el.valve_voltage_v(24, 0.25, 200, 1.0, others_on_common_a=0.25)
    assert alone - shared == pytest.approx(0.25 * 18.1 * 0.2)


def test_coils_in_parallel_and_hot_coils():
    assert el.parallel_ohm(34, 34) == pytest.approx(17.0, abs=0.01)
    assert el.parallel_ohm(34, 0) == 0
    assert el.at_temperature_ohm(34, 60) == pytest.approx(39.3, abs=0.1)
    with pytest.raises(ValueError):
        el.parallel_ohm()


def test_expected_reading_at_the_terminals_is_coil_and_loop():
    # by hand: 32 ohm coil, 150 m of AWG 18
    assert el.expected_at_terminals_ohm(32, 150, AWG18) == pytest.approx(38.3, abs=0.05)
    assert el.expected_at_terminals_ohm(32) == 32


def test_three_valves_and_a_relay_with_one_starting_just_miss_the_margin():
    # by hand: 22.6 VA holding, a fourth valve starting adds 9.6 VA: 32.16 VA of 40 VA, 80.4 %
    running = [el.Coil(24 * 0.23, 24 * 0.23)] * 3
    holding = el.transformer_load(running, 40, relay_va=24 * 0.25)
    assert holding.holding_va == pytest.approx(22.56, abs=0.01)
    starting = el.transformer_load([*running, el.Coil(24 * 0.23, 24 * 0.40)], 40, relay_va=24 * 0.25)
    assert starting.peak_va == pytest.approx(32.16, abs=0.01)
    assert starting.share == pytest.approx(0.804, abs=0.0005)
    assert not starting.overloaded
    assert not starting.margin_kept


@given(st.floats(1, 500), st.floats(-20, 80))
def test_correction_to_20_degrees_undoes_itself(ohm, temperature_c):
    there = el.at_temperature_ohm(ohm, temperature_c)
    assert el.at_20c_ohm(there, temperature_c) == pytest.approx(ohm)


@given(st.lists(st.floats(0.1, 1000), min_size=1, max_size=5))
def test_parallel_is_never_above_the_smallest(ohms):
    assert el.parallel_ohm(*ohms) <= min(ohms) * (1 + 1e-9)


@given(st.floats(0.1, 1), st.floats(20.5, 30), st.floats(0.3, 6))
def test_at_the_longest_run_the_valve_sees_exactly_its_minimum(inrush_a, source_v, section_mm2):
    length_m = el.longest_run_m(source_v, 20, inrush_a, section_mm2)
    assert el.valve_voltage_v(source_v, inrush_a, length_m, section_mm2) == pytest.approx(20)


@pytest.mark.parametrize(
    ("section_mm2", "ohm_per_km"),  # IEC 60228 class 1 and 2, plain copper, largest value at 20 degC
    [(0.5, 36.0), (0.75, 24.5), (1.0, 18.1), (1.5, 12.1), (2.5, 7.41), (4.0, 4.61), (6.0, 3.08)],
)
def test_every_nominal_section_has_its_standard_value_within_a_hundredth(section_mm2, ohm_per_km):
    for near in (section_mm2, section_mm2 * 1.0099, section_mm2 * 0.9901):
        assert el.wire_ohm_per_km(near) == ohm_per_km
    beyond = section_mm2 * 1.011
    assert el.wire_ohm_per_km(beyond) == pytest.approx(17.241 / beyond)


def test_a_section_under_a_tenth_is_still_a_wire():
    assert el.wire_ohm_per_km(0.05) == pytest.approx(17.241 / 0.05)


def test_the_others_on_a_common_shorten_the_run():
    """By hand: 0.4 A x 36.2 ohm/km + 0.6 A x 18.1 ohm/km = 25.34 V/km; 4 V last 157.9 m."""
    assert el.longest_run_m(24, 20, 0.4, 1.0, others_on_common_a=0.6) == pytest.approx(157.85, abs=0.01)
    # a common of 2.5 mm2: 0.4 x (18.1 + 7.41) + 0.6 x 7.41 = 14.65 V/km
    thick = el.longest_run_m(24, 20, 0.4, 1.0, 2.5, others_on_common_a=0.6)
    assert thick == pytest.approx(273.04, abs=0.01)
    assert el.longest_run_m(24, 20, 0.5, 1.0) == pytest.approx(4 / (0.5 * 36.2) * 1000)
    with pytest.raises(ValueError, match="inrush"):
        el.longest_run_m(24, 20, 0, 1.0)


def test_a_coil_s_current_and_what_it_takes_in_its_first_moments():
    assert el.holding_current_a(5.52) == pytest.approx(0.23)
    assert el.holding_current_a(5.0, 20.0) == 0.25
    assert el.Coil(5.0).inrush_excess_va == pytest.approx(3.5)  # 1.7 times, common practice
    assert el.Coil(5.0, 9.6).inrush_excess_va == pytest.approx(4.6)
    assert el.Coil(5.0, 4.0).inrush_excess_va == 0


def test_a_transformer_at_its_rating_is_not_overloaded_and_at_four_fifths_keeps_its_margin():
    assert not el.TransformerLoad(30, 40, 40).overloaded
    assert el.TransformerLoad(30, 40.1, 40).overloaded
    assert el.TransformerLoad(30, 32, 40).margin_kept
    assert not el.TransformerLoad(30, 32.1, 40).margin_kept
    assert el.transformer_load([], 0.5, relay_va=0.5) == el.TransformerLoad(0.5, 0.5, 0.5)
    assert el.transformer_load([], 40).holding_va == 0
    with pytest.raises(ValueError, match="rating"):
        el.transformer_load([], 0)


def test_coils_of_different_resistance_and_one_of_half_an_ohm():
    assert el.parallel_ohm(30, 60) == pytest.approx(20)
    assert el.parallel_ohm(0.5) == 0.5


def test_a_loop_has_two_wires_and_a_reading_at_another_temperature_both():
    assert el.loop_ohm(500, 1.0) == pytest.approx(18.1)
    assert el.loop_ohm(500, 1.0, 2.5) == pytest.approx(0.5 * (18.1 + 7.41))
    # 0.393 % a kelvin: 24 ohm and 18.1 ohm of loop, both 10 K warmer
    assert el.expected_at_terminals_ohm(24, 500, 1.0, temperature_c=30) == pytest.approx(42.1 * 1.0393)
