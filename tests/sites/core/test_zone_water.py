"""A zone's water against the worked values of the water reference, 6.2 and 6.4, and the laws they rest on."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.core.hydraulics import PumpCurve
from sites.core.zone_water import ASSUMED_VALVE_KPA, SupplyWater, ZoneWater, supply_pressure_kpa, zone_answers

MAINS = SupplyWater("Mains", flow_l_min=80, static_kpa=500, working_kpa=420)
PUMP = SupplyWater(
    "Pump",
    pumped=True,
    curve=PumpCurve.through([(0, 45), (6, 40), (10, 30)]),
    efficiency=0.6,
    price_per_kwh=0.30,
)
ZONE = ZoneWater(1, "Zone 1", "rotor", MAINS, 60, 100, 32, "pvc", 6, 250, 35)
PUMPED = ZoneWater(2, "Zone 2", "rotor", PUMP, 7000 / 60, 120 / 1.1, 40, "pvc", 8, 250, 0)


def test_velocity_and_friction_with_fittings():
    # reference 6.1: 60 L/min, 100 m of 32 mm, C 150: 1.243 m/s, 51.8 kPa; fittings add a tenth
    answers = zone_answers(ZONE)
    assert answers.velocity_m_s.value == pytest.approx(1.243, abs=0.001)
    assert answers.friction_kpa.value == pytest.approx(1.1 * 51.8, rel=0.005)
    assert not answers.over_design


def test_pressure_at_the_head_is_what_the_supply_gives_less_height_pipe_and_valve():
    # reference 6.2: 420 kPa at the zone's flow, +6 m, pipe 51.8, valve 35, backflow 70: 204.4 kPa
    tested = replace(ZONE, supply=replace(MAINS, flow_l_min=60), length_m=100 / 1.1, valve_kpa=35 + 70)
    answers = zone_answers(tested)
    assert answers.head_kpa.value == pytest.approx(204.4, abs=0.3)
    assert answers.too_low  # 250 asked for


def test_a_supply_between_standing_water_and_its_flow_test():
    assert supply_pressure_kpa(MAINS, 0).value == 500
    assert supply_pressure_kpa(MAINS, 80).value == 420
    # half the flow loses 0.5^1.852 = 0.277 of what the test lost
    assert supply_pressure_kpa(MAINS, 40).value == pytest.approx(500 - 80 * 0.27702, abs=0.01)
    assert supply_pressure_kpa(MAINS, 81).needs  # never stretched beyond the test


def test_the_operating_point_power_and_cost_of_the_worked_example():
    # reference 6.4 and an independent network solver: 6.750 m3/h, 38.56 m, 232.5 kPa, 1.49 m/s; shaft 1.18 kW at 60 %
    answers = zone_answers(PUMPED)
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
    free, lossy = zone_answers(PUMPED), zone_answers(replace(PUMPED, valve_kpa=None))
    assert lossy.valve_assumed
    assert lossy.point.flow_m3_h < free.point.flow_m3_h
    # energy balance at the point: the pump's head is height, pipe, valve and nozzle together
    valve_kpa = ASSUMED_VALVE_KPA * (lossy.point.flow_m3_h / 7) ** 2
    total_kpa = 8 * 9.807 + lossy.friction_kpa.value + valve_kpa + lossy.head_kpa.value
    assert lossy.point.head_m * 9.807 == pytest.approx(total_kpa, abs=0.01)


def test_a_pump_too_weak_to_lift_the_water_says_so():
    answers = zone_answers(replace(PUMPED, rise_m=46))
    assert answers.cannot_lift
    assert answers.too_low
    assert answers.point is None
    assert answers.power_kw.value is None


def test_a_point_beyond_the_curves_last_point_is_flagged():
    assert zone_answers(replace(PUMPED, flow_l_min=400, head_kpa=150, inside_mm=80, rise_m=0)).beyond_curve


def test_without_a_design_pressure_the_class_says_what_it_needs():
    answers = zone_answers(replace(ZONE, head_kpa=None, emitter="bubbler"))
    assert (answers.wanted_kpa, answers.wanted_by_class) == (140, True)
    assert not answers.too_low


GAPS = {
    "supply": "water supply of the zone",
    "flow_l_min": "flow of the zone",
    "length_m": "length of the pipe",
    "inside_mm": "inside diameter of the pipe",
    "rise_m": "height of the heads above the supply",
}


@pytest.mark.parametrize(("field", "words"), GAPS.items())
def test_what_is_missing_is_named_and_never_taken_as_zero(field, words):
    answers = zone_answers(replace(ZONE, **{field: None}))
    assert answers.head_kpa.value is None
    assert words in answers.head_kpa.needs
    assert not answers.too_low
    assert "material of the pipe" in zone_answers(replace(ZONE, material="")).friction_kpa.needs


@pytest.mark.parametrize("field", ["static_kpa", "working_kpa", "flow_l_min"])
def test_a_supply_that_was_never_tested_says_what_to_measure(field):
    needs = zone_answers(replace(ZONE, supply=replace(MAINS, **{field: None}))).head_kpa.needs
    assert len(needs) == 1
    assert "supply" in needs[0]


def test_a_pump_without_curve_efficiency_or_price_says_so():
    no_curve = zone_answers(replace(PUMPED, supply=replace(PUMP, curve=None)))
    assert no_curve.point_needs == ("curve of the pump",)
    assert no_curve.head_kpa.needs == ("curve of the pump",)
    assert no_curve.power_kw.needs == ("curve of the pump",)
    idle = zone_answers(replace(PUMPED, supply=replace(PUMP, efficiency=None)))
    assert idle.power_kw.needs == ("efficiency of pump and motor",)
    free = zone_answers(replace(PUMPED, supply=replace(PUMP, price_per_kwh=None)))
    assert free.cost_per_m3.needs == ("price of a kWh",)
    assert free.power_kw.value is not None
    assert zone_answers(ZONE).power_kw.needs == ()  # a mains zone has no pump to ask about


maybe = st.none() | st.floats(0.5, 400)


@given(
    st.builds(
        ZoneWater,
        st.just(1),
        st.just("Zone"),
        st.sampled_from(["rotor", "drip_grid"]),
        st.none() | st.sampled_from([MAINS, PUMP, replace(PUMP, curve=None)]),
        maybe,
        maybe,
        maybe,
        st.sampled_from(["", "pvc", "old_steel"]),
        maybe,
        maybe,
        maybe,
    )
)
def test_each_figure_is_a_number_or_names_what_it_needs(zone):
    answers = zone_answers(zone)
    for answer in (answers.flow_l_min, answers.velocity_m_s, answers.friction_kpa, answers.head_kpa):
        assert (answer.value is None) == bool(answer.needs)
    if answers.point:
        assert answers.head_kpa.value >= 0
        assert answers.power_kw.value > 0
