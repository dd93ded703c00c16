"""What nothing can have is refused at the door of the computing functions, by the name of the figure."""

import math

import pytest

from sites.core import electrical, hydraulics
from sites.core.figures import ImpossibleFigure
from sites.core.metering import use_m3

NO_NUMBERS = [math.nan, math.inf, -math.inf]
PIPE = {"flow_l_min": 20.0, "length_m": 30.0, "inside_mm": 25.0}
DOORS = {
    "friction_m": (hydraulics.friction_m, PIPE),
    "friction_kpa": (hydraulics.friction_kpa, PIPE),
    "velocity_m_s": (hydraulics.velocity_m_s, {"flow_l_min": 20.0, "inside_mm": 25.0}),
    "lift_kpa": (hydraulics.lift_kpa, {"rise_m": 2.0}),
    "pressure_at_head_kpa": (
        hydraulics.pressure_at_head_kpa, {"supply_dynamic_kpa": 400.0, "rise_m": 2.0, "pipe_kpa": 10.0}
    ),
    "nozzle_flow_l_min": (
        hydraulics.nozzle_flow_l_min, {"known_flow_l_min": 10.0, "known_kpa": 210.0, "pressure_kpa": 300.0}
    ),
    "orifice_flow_l_min": (hydraulics.orifice_flow_l_min, {"diameter_mm": 5.0, "pressure_kpa": 300.0}),
    "fill_time_min": (hydraulics.fill_time_min, {"length_m": 30.0, "inside_mm": 25.0, "velocity_m_s": 0.3}),
    "surge_kpa": (hydraulics.surge_kpa, {"velocity_change_m_s": 1.5, "wave_m_s": 400.0}),
    "leak_l_h": (hydraulics.leak_l_h, {"first_m3": 1.0, "second_m3": 2.0, "hours": 3.0}),
    "shaft_power_kw": (hydraulics.shaft_power_kw, {"flow_m3_h": 5.0, "head_m": 40.0, "efficiency": 0.6}),
    "PumpCurve": (hydraulics.PumpCurve, {"shutoff_m": 50.0, "b": 0.1, "c": 2.0}),
    "System": (
        hydraulics.System,
        {"static_m": 5.0, "length_m": 50.0, "inside_mm": 40.0, "nozzle_m3_h": 4.0, "nozzle_kpa": 300.0},
    ),
    "ZoneFlow": (lambda flow_l_min: hydraulics.ZoneFlow(1, flow_l_min), {"flow_l_min": 20.0}),
    "at_20c_ohm": (electrical.at_20c_ohm, {"resistance_ohm": 25.0, "temperature_c": 15.0}),
    "loop_ohm": (electrical.loop_ohm, {"length_m": 100.0, "hot_mm2": 1.0, "common_mm2": 1.5}),
    "valve_voltage_v": (
        electrical.valve_voltage_v, {"source_v": 26.0, "current_a": 0.3, "length_m": 100.0, "hot_mm2": 1.0}
    ),
    "longest_run_m": (
        electrical.longest_run_m, {"source_v": 26.0, "minimum_v": 20.0, "inrush_a": 0.4, "hot_mm2": 1.0}
    ),
    "run_together": (lambda supply_l_min: hydraulics.run_together([], supply_l_min), {"supply_l_min": 50.0}),
    "parallel_ohm": (lambda resistance_ohm: electrical.parallel_ohm(30.0, resistance_ohm), {"resistance_ohm": 30.0}),
    "Coil": (electrical.Coil, {"holding_va": 5.5, "inrush_va": 9.6}),
    "transformer_load": (lambda rated_va: electrical.transformer_load([], rated_va), {"rated_va": 40.0}),
    "use_m3": (lambda before, after: use_m3(before, after, digits=6, unit="m3"), {"before": 10.0, "after": 20.0}),
}  # fmt: skip
FIELDS = [(name, field) for name, (_, given) in DOORS.items() for field in given]


@pytest.mark.parametrize(("name", "field"), FIELDS, ids=[f"{name}-{field}" for name, field in FIELDS])
def test_no_door_lets_in_what_is_no_number(name, field):
    compute, given = DOORS[name]
    compute(**given)
    for value in NO_NUMBERS:
        with pytest.raises(ImpossibleFigure, match=field) as refused:
            compute(**{**given, field: value})
        assert refused.value.field == field


@pytest.mark.parametrize("field", ["flow_l_min", "length_m", "inside_mm"], ids=["flow", "length", "diameter"])
def test_a_pipe_has_no_negative_size(field):
    with pytest.raises(ImpossibleFigure, match=field):
        hydraulics.friction_m(**{**PIPE, field: -1.0})


def test_the_last_point_of_a_curve_may_be_unknown():
    assert hydraulics.PumpCurve(50.0, 0.1, 2.0).last_m3_h == math.inf
