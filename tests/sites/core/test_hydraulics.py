"""Hazen-Williams (10.67, 1.852, 4.87; 4.52 US) and the laws beside it, by hand and against a network solver."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.core import hydraulics as hy
from sites.core.units import FOOT_M, INCH_MM, PSI_KPA, US_GALLON_L

PUMP = hy.PumpCurve.through([(0, 45), (6, 40), (10, 30)])
SYSTEM = hy.System(static_m=8, length_m=120, inside_mm=40, nozzle_m3_h=7, nozzle_kpa=250)


def test_friction_and_velocity_in_a_32_mm_pipe():
    assert hy.friction_m(60, 100, 32) == pytest.approx(5.279, rel=0.005)
    assert hy.friction_m(60, 100, 32) == pytest.approx(5.288, rel=0.005)  # independent network solver
    assert hy.velocity_m_s(60, 32) == pytest.approx(1.243, abs=0.001)


def test_friction_agrees_with_the_us_form():
    # 12 gpm, 100 ft, 1.049 in, C 150: 3.330 psi and 4.45 ft/s
    flow, length, inside = 12 * US_GALLON_L, 100 * FOOT_M, 1.049 * INCH_MM
    assert hy.friction_kpa(flow, length, inside) / PSI_KPA == pytest.approx(3.330, rel=0.005)
    assert hy.velocity_m_s(flow, inside) / FOOT_M == pytest.approx(4.45, abs=0.01)


def test_pressure_at_the_head_is_the_supplys_less_height_and_losses():
    # by hand: 420 kPa, +6 m, pipe 51.8, valve 35, backflow 70
    assert hy.pressure_at_head_kpa(420, 6, 51.8, 35 + 70) == pytest.approx(204.4, abs=0.05)


def test_nozzles_and_orifices():
    assert hy.nozzle_flow_l_min(14, 210, 150) == pytest.approx(11.83, abs=0.01)
    assert hy.nozzle_flow_l_min(3.7, 30, 22) == pytest.approx(3.168, abs=0.001)  # same law in gpm and psi
    assert hy.orifice_flow_l_min(3.0, 300) == pytest.approx(6.44, abs=0.01)
    assert hy.nozzle_flow_l_min(2, 100, 300, exponent=0) == 2  # pressure-compensating


def test_operating_point_of_a_pump():
    # by hand and by an independent network solver: 6.750 m3/h, 38.56 m, 232.5 kPa
    point = hy.operating_point(PUMP, SYSTEM)
    assert PUMP.c == pytest.approx(2.1507, abs=0.0001)
    assert point.flow_m3_h == pytest.approx(6.751, rel=0.005)
    assert point.head_m == pytest.approx(38.56, rel=0.005)
    assert point.nozzle_kpa == pytest.approx(232.5, rel=0.005)
    assert point.velocity_m_s == pytest.approx(1.49, abs=0.01)
    assert point.hydraulic_kw == pytest.approx(0.708, abs=0.001)
    assert hy.shaft_power_kw(point.flow_m3_h, point.head_m, 0.6) == pytest.approx(1.18, abs=0.005)
    # energy a cubic metre needs does not depend on how it is divided: rho g h / eff
    assert hy.energy_kwh_per_m3(6.75, 38.56, 0.6) == pytest.approx(998 * 9.80665 * 38.56 / 3.6e6 / 0.6)


def test_a_curve_measured_almost_flat_still_has_its_point():
    # its head is used up at a flow that no float holds; the point is told all the same
    flat = hy.PumpCurve.through([(0, 45), (1, 10), (100, 9.99)])
    point = hy.operating_point(flat, hy.System(2, 120, 40, 7, 50))
    assert point.head_m == pytest.approx(hy.System(2, 120, 40, 7, 50).head_m(point.flow_m3_h))
    assert 9.99 < point.head_m < 10


def test_a_pump_that_cannot_lift_the_water_has_no_operating_point():
    assert hy.operating_point(PUMP, hy.System(46, 120, 40, 7, 250)) is None


@pytest.mark.parametrize(
    "points", [[(0, 45), (6, 46), (10, 30)], [(1, 45), (6, 40), (10, 30)], [(0, 45), (6, 40), (6, 30)]]
)
def test_a_curve_that_does_not_fall_is_refused(points):
    with pytest.raises(ValueError, match="curve"):
        hy.PumpCurve.through(points)


def test_filling_surge_and_leak():
    assert hy.fill_time_min(120, 40, 0.3) == pytest.approx(6.67, abs=0.01)
    assert hy.pipe_volume_l(120, 40) == pytest.approx(150.8, abs=0.05)
    assert hy.surge_kpa(1.5) == pytest.approx(600, abs=1)
    assert hy.leak_l_h(1234.805, 1234.871, 8.25) == pytest.approx(8.00, abs=0.01)


def test_zones_that_can_run_together():
    zones = [hy.ZoneFlow(n, flow, 5.5) for n, flow in enumerate([30, 25, 20, 15, 70, None], start=1)]
    result = hy.run_together(zones, supply_l_min=50, most_open=3)
    assert result == hy.Groups(((1, 3), (2, 4)), too_large=(5,), unknown=(6,))
    assert hy.run_together(zones, 50, most_open=3, transformer_va=10).groups == ((1,), (2,), (3,), (4,))
    assert hy.run_together(zones, 50).groups == ((1,), (2,), (3,), (4,))
    starting = [hy.ZoneFlow(n, 10, 5.5, 3.85) for n in (1, 2)]  # 11 VA hold, 14.85 VA while the second starts
    assert hy.run_together(starting, 50, 2, transformer_va=14.9).groups == ((1, 2),)
    assert hy.run_together(starting, 50, 2, transformer_va=14.8).groups == ((1,), (2,))


@given(st.lists(st.floats(1, 100), max_size=20), st.floats(5, 120), st.integers(1, 4))
def test_groups_hold_each_zone_once_within_the_supply(flows, supply, most_open):
    zones = [hy.ZoneFlow(n, flow) for n, flow in enumerate(flows)]
    result = hy.run_together(zones, supply, most_open)
    placed = [zone_id for group in result.groups for zone_id in group]
    assert sorted([*placed, *result.too_large]) == list(range(len(flows)))
    for group in result.groups:
        assert len(group) <= most_open
        assert sum(flows[zone_id] for zone_id in group) <= supply


@given(st.floats(0, 30), st.floats(20, 80), st.floats(10, 500))
def test_at_the_operating_point_both_curves_meet(static_m, inside_mm, length_m):
    system = hy.System(static_m, length_m, inside_mm, 7, 250)
    point = hy.operating_point(PUMP, system)
    assert point.head_m == pytest.approx(system.head_m(point.flow_m3_h), abs=1e-6)


def test_a_pipe_without_a_bore_is_refused():
    with pytest.raises(ValueError):
        hy.friction_m(10, 10, 0)


def test_the_finest_tubes_are_pipes_too():
    """By hand: 10.67 x 1 m x (0.06 L/min in m3/s)^1.852 / (150^1.852 x 0.0009 m^4.8704) = 5.25 m; and C = 1."""
    flow_m3_s = 0.06 / 60000
    by_hand = 10.67 * flow_m3_s**1.852 / (150**1.852 * 0.0009**4.8704)
    assert hy.friction_m(0.06, 1, 0.9) == pytest.approx(by_hand, rel=1e-9)
    assert by_hand == pytest.approx(5.25, abs=0.01)
    assert hy.friction_m(0.06, 1, 0.9, c=1.0) == pytest.approx(by_hand * 150**1.852, rel=1e-9)
    assert hy.friction_m(0, 10, 25) == 0


@pytest.mark.parametrize(("inside_mm", "c"), [(0, 150), (25, 0)])
def test_neither_bore_nor_roughness_is_nothing(inside_mm, c):
    with pytest.raises(ValueError, match="above 0"):
        hy.friction_m(10, 10, inside_mm, c)


def test_a_nozzle_without_pressure_gives_nothing_and_one_of_unknown_pressure_is_refused():
    assert hy.nozzle_flow_l_min(14, 0.5, 0) == 0
    with pytest.raises(ValueError, match="above 0"):
        hy.nozzle_flow_l_min(14, 0, 150)


def test_heights_and_a_leak_over_half_an_hour():
    assert hy.lift_kpa(-2) == pytest.approx(-19.614)  # 9.807 kPa a metre
    assert hy.pressure_at_head_kpa(400, -2, 10) == pytest.approx(409.614)
    assert hy.leak_l_h(10, 10.001, 0.5) == pytest.approx(2)
    with pytest.raises(ValueError, match="later"):
        hy.leak_l_h(10, 11, 0)


def test_a_curve_may_end_without_head_and_knows_its_last_point():
    curve = hy.PumpCurve.through([(10, 0), (0, 45), (6, 40)])  # in any order
    assert (curve.shutoff_m, curve.last_m3_h) == (45, 10)
    assert [curve.head_m(flow) for flow in (0, 6, 10)] == pytest.approx([45, 40, 0])


def test_a_pump_that_just_holds_the_water_gives_none():
    assert hy.operating_point(PUMP, hy.System(45, 120, 40, 7, 250)) is None
    assert hy.operating_point(PUMP, hy.System(44.9, 120, 40, 7, 250)) is not None


def test_what_is_lost_beside_the_nozzles_grows_with_the_square_of_the_flow():
    system = hy.System(8, 0, 40, nozzle_m3_h=7, nozzle_kpa=250, other_kpa=50)
    assert system.head_m(7) == pytest.approx(8 + 300 / 9.807)
    assert system.head_m(3.5) == pytest.approx(8 + 75 / 9.807)
    assert system.nozzle_pressure_kpa(3.5) == pytest.approx(62.5)


@pytest.mark.parametrize("efficiency", [0, 1.01])
def test_an_efficiency_that_cannot_be_is_refused(efficiency):
    with pytest.raises(ValueError, match="efficiency"):
        hy.shaft_power_kw(5, 40, efficiency)


def test_all_power_at_the_shaft_reaches_a_perfect_pump_s_water():
    # 998 kg/m3 x 9.80665 m/s2 x 3.6 m3/h x 100 m = 978.7 W
    assert hy.hydraulic_power_kw(3.6, 100) == pytest.approx(0.97870, abs=1e-5)
    assert hy.shaft_power_kw(3.6, 100, 1) == hy.hydraulic_power_kw(3.6, 100)


def test_a_zone_that_needs_the_whole_supply_runs_alone():
    zones = [hy.ZoneFlow(1, 50), hy.ZoneFlow(2, 50.1), hy.ZoneFlow(3, 0.5), hy.ZoneFlow(4, 49.5)]
    found = hy.run_together(zones, 50, most_open=4)
    assert found == hy.Groups(((1,), (4, 3)), too_large=(2,), unknown=())
    assert hy.run_together(zones[2:], 50, most_open=1).groups == ((4,), (3,))
    exactly = [hy.ZoneFlow(n, 10, 5.5, 3.5) for n in (1, 2)]  # 11 VA hold, 14.5 VA while the second starts
    assert hy.run_together(exactly, 50, 2, transformer_va=14.5).groups == ((1, 2),)
