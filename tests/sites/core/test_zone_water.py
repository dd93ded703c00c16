"""A zone's water against values worked by hand, a network solver and the laws they rest on."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.core.plant import Pump, Supply, Valve, Zone
from sites.core.zone_water import ASSUMED_VALVE_KPA, supply_pressure_kpa, zone_answers

MAINS = Supply(1, flow_available_l_min=80, static_pressure_kpa=500, working_pressure_kpa=420)
# the curve through 45 m, 40 m at 6 m3/h and 30 m at 10 m3/h
CURVE = Pump(
    shutoff_head_m=45,
    curve_flow_1_l_min=100,
    curve_head_1_m=40,
    curve_flow_2_l_min=10_000 / 60,
    curve_head_2_m=30,
    efficiency_percent=60,
    energy_price_per_kwh=0.30,
)
PUMP = Supply(2, kind="pump", pump=CURVE)
NO_CURVE = replace(PUMP, pump=replace(CURVE, shutoff_head_m=None))
VALVE = Valve(1, "Valve", 1, pressure_loss_kpa=35)
FREE = replace(VALVE, pressure_loss_kpa=0)
ZONE = Zone(
    1,
    flow_l_min=60,
    pipe_length_m=100,
    pipe_inside_mm=32,
    pipe_material="pvc",
    head_rise_m=6,
    head_pressure_kpa=250,
)
PUMPED = replace(ZONE, id=2, flow_l_min=7000 / 60, pipe_length_m=120 / 1.1, pipe_inside_mm=40, head_rise_m=8)


def on_mains(zone=ZONE, supply=MAINS, valve=VALVE):
    return zone_answers(zone, supply, valve)


def on_pump(zone=PUMPED, supply=PUMP, valve=FREE):
    return zone_answers(zone, supply, valve)


def test_velocity_and_friction_with_fittings():
    # Hazen-Williams by hand: 60 L/min, 100 m of 32 mm, C 150: 1.243 m/s, 51.8 kPa; fittings add a tenth
    answers = on_mains()
    assert answers.velocity_m_s.value == pytest.approx(1.243, abs=0.001)
    assert answers.friction_kpa.value == pytest.approx(1.1 * 51.8, rel=0.005)
    assert not answers.over_design


def test_pressure_at_the_head_is_what_the_supply_gives_less_height_pipe_and_valve():
    # by hand: 420 kPa at the zone's flow, +6 m, pipe 51.8, valve 35, backflow 70: 204.4 kPa
    tested = replace(MAINS, flow_available_l_min=60)
    answers = on_mains(replace(ZONE, pipe_length_m=100 / 1.1), tested, replace(VALVE, pressure_loss_kpa=35 + 70))
    assert answers.head_kpa.value == pytest.approx(204.4, abs=0.3)
    assert answers.too_low  # 250 asked for


def test_a_supply_between_standing_water_and_its_flow_test():
    assert supply_pressure_kpa(MAINS, 0).value == 500
    assert supply_pressure_kpa(MAINS, 80).value == 420
    # half the flow loses 0.5^1.852 = 0.277 of what the test lost
    assert supply_pressure_kpa(MAINS, 40).value == pytest.approx(500 - 80 * 0.27702, abs=0.01)
    assert supply_pressure_kpa(MAINS, 81).needs  # never stretched beyond the test


def test_the_operating_point_power_and_cost_of_the_worked_example():
    # by hand and by an independent network solver: 6.750 m3/h, 38.56 m, 232.5 kPa, 1.49 m/s; shaft 1.18 kW at 60 %
    answers = on_pump()
    assert answers.point.flow_m3_h == pytest.approx(6.750, rel=0.005)
    assert answers.flow_l_min.value == pytest.approx(112.5, rel=0.005)
    assert answers.head_kpa.value == pytest.approx(232.5, rel=0.005)
    assert answers.velocity_m_s.value == pytest.approx(1.49, abs=0.01)
    assert answers.power_kw.value == pytest.approx(1.18, abs=0.005)
    assert answers.kwh_per_m3.value == pytest.approx(1.18 / 6.75, rel=0.005)
    assert answers.cost_per_m3.value == pytest.approx(0.30 * 1.18 / 6.75, rel=0.005)
    assert not answers.too_low  # within a tenth of the 250 asked for
    assert not answers.beyond_curve


def test_a_valve_loss_pushes_the_operating_point_back():
    free, lossy = on_pump(), on_pump(valve=None)
    assert lossy.valve_assumed
    assert lossy.point.flow_m3_h < free.point.flow_m3_h
    # energy balance at the point: the pump's head is height, pipe, valve and nozzle together
    valve_kpa = ASSUMED_VALVE_KPA * (lossy.point.flow_m3_h / 7) ** 2
    total_kpa = 8 * 9.807 + lossy.friction_kpa.value + valve_kpa + lossy.head_kpa.value
    assert lossy.point.head_m * 9.807 == pytest.approx(total_kpa, abs=0.01)


def test_a_pump_too_weak_to_lift_the_water_says_so():
    answers = on_pump(replace(PUMPED, head_rise_m=46))
    assert answers.cannot_lift
    assert answers.too_low
    assert answers.point is None
    assert answers.power_kw.value is None


def test_a_point_beyond_the_curves_last_point_is_flagged():
    wide = replace(PUMPED, flow_l_min=400, head_pressure_kpa=150, pipe_inside_mm=80, head_rise_m=0)
    assert on_pump(wide).beyond_curve


def test_without_a_design_pressure_the_class_says_what_it_needs():
    answers = on_mains(replace(ZONE, head_pressure_kpa=None, emitter="bubbler"))
    assert (answers.wanted_kpa, answers.wanted_by_class) == (140, True)
    assert not answers.too_low


GAPS = {
    "flow_l_min": "flow of the zone",
    "pipe_length_m": "length of the pipe",
    "pipe_inside_mm": "inside diameter of the pipe",
    "head_rise_m": "height of the heads above the supply",
}


@pytest.mark.parametrize(("field", "words"), GAPS.items())
def test_what_is_missing_is_named_and_never_taken_as_zero(field, words):
    answers = on_mains(replace(ZONE, **{field: None}))
    assert answers.head_kpa.value is None
    assert words in answers.head_kpa.needs
    assert not answers.too_low
    assert "material of the pipe" in on_mains(replace(ZONE, pipe_material="")).friction_kpa.needs
    assert on_mains(supply=None).head_kpa.needs == ("water supply of the zone",)


@pytest.mark.parametrize("field", ["static_pressure_kpa", "working_pressure_kpa", "flow_available_l_min"])
def test_a_supply_that_was_never_tested_says_what_to_measure(field):
    needs = on_mains(supply=replace(MAINS, **{field: None})).head_kpa.needs
    assert len(needs) == 1
    assert "supply" in needs[0]


def test_a_pump_without_curve_efficiency_or_price_says_so():
    no_curve = on_pump(supply=NO_CURVE)
    assert no_curve.point_needs == ("curve of the pump",)
    assert no_curve.head_kpa.needs == ("curve of the pump",)
    assert no_curve.power_kw.needs == ("curve of the pump",)
    idle = on_pump(supply=replace(PUMP, pump=replace(CURVE, efficiency_percent=None)))
    assert idle.power_kw.needs == ("efficiency of pump and motor",)
    free = on_pump(supply=replace(PUMP, pump=replace(CURVE, energy_price_per_kwh=None)))
    assert free.cost_per_m3.needs == ("price of a kWh",)
    assert free.power_kw.value is not None
    assert on_mains().power_kw.needs == ()  # a mains zone has no pump to ask about


maybe = st.none() | st.floats(0.5, 300)


@given(
    st.builds(
        Zone,
        st.just(1),
        emitter=st.sampled_from(["rotor", "drip_grid"]),
        flow_l_min=maybe,
        pipe_length_m=maybe,
        pipe_inside_mm=maybe,
        pipe_material=st.sampled_from(["", "pvc", "old_steel"]),
        head_rise_m=maybe,
        head_pressure_kpa=maybe,
    ),
    st.none() | st.sampled_from([MAINS, PUMP, NO_CURVE]),
    st.none() | st.builds(Valve, st.just(1), st.just("Valve"), st.just(1), pressure_loss_kpa=maybe),
)
def test_each_figure_is_a_number_or_names_what_it_needs(zone, supply, valve):
    answers = zone_answers(zone, supply, valve)
    for answer in (answers.flow_l_min, answers.velocity_m_s, answers.friction_kpa, answers.head_kpa):
        assert (answer.value is None) == bool(answer.needs)
    if answers.point:
        assert answers.head_kpa.value >= 0
        assert answers.power_kw.value > 0
