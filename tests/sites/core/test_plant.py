"""The door of the plant: what cannot be is refused by name, what the register holds of it counts as not known."""

from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.core.plant import Controller, Pump, SitePlant, Supply, Valve, Zone, defaults

NUMBERS = {
    kind: [f.name for f in fields(kind) if "float" in str(f.type)] for kind in (Pump, Supply, Controller, Valve, Zone)
}
GIVEN = {
    Pump: {},
    Supply: {"id": 1},
    Controller: {"id": 1},
    Valve: {"id": 1, "name": "V", "controller_id": 1},
    Zone: {"id": 1},
}
EVERY = [(kind, name) for kind, names in NUMBERS.items() for name in names]


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -1.0, 1e12])
@pytest.mark.parametrize(("kind", "name"), EVERY, ids=lambda one: getattr(one, "__name__", one))
def test_every_figure_refuses_what_is_no_size(kind, name, value):
    if name == "head_rise_m" and value == -1.0:
        assert kind(**GIVEN[kind], head_rise_m=value).head_rise_m == value  # heads may lie lower than the supply
        return
    with pytest.raises(ValueError, match=name):
        kind(**GIVEN[kind], **{name: value})


@pytest.mark.parametrize(
    ("kind", "given", "field"),
    [
        (Supply, {"static_pressure_kpa": 400, "working_pressure_kpa": 400}, "working_pressure_kpa"),
        (Controller, {"one_valve_at_a_time": True, "most_valves_open": 2}, "most_valves_open"),
        (Valve, {"closes_from_s": 20, "closes_within_s": 15}, "closes_from_s"),
        (
            Pump,
            {
                "shutoff_head_m": 40,
                "curve_flow_1_l_min": 100,
                "curve_head_1_m": 41,
                "curve_flow_2_l_min": 200,
                "curve_head_2_m": 20,
            },
            "curve_head_1_m",
        ),
    ],
)
def test_two_fields_that_contradict_each_other_are_refused(kind, given, field):
    with pytest.raises(ValueError, match=field):
        kind(**GIVEN[kind], **given)


def test_a_half_recorded_curve_is_none_and_is_not_refused():
    assert Pump.read({"shutoff_head_m": 40.0}) == (Pump(shutoff_head_m=40.0), {})
    assert Pump(shutoff_head_m=40.0).curve is None


numbers = st.none() | st.floats() | st.integers(-5, 500)


@given(st.data(), st.sampled_from(list(NUMBERS)))
def test_whatever_a_register_holds_is_read_and_the_rest_is_named(data, kind):
    held = {name: data.draw(numbers.filter(lambda n: n is not None) if defaults(kind)[name] is not None else numbers)
            for name in NUMBERS[kind]}  # fmt: skip
    part, refused = kind.read({**GIVEN[kind], **held, "a column of no interest": 1})
    for name in NUMBERS[kind]:
        value = getattr(part, name)
        assert value == (defaults(kind)[name] if name in refused else held[name])


def test_the_supply_of_a_controller_is_the_one_it_names_or_the_only_one():
    one, other = Supply(1), Supply(2)
    named, silent = Controller(1, supply_id=2), Controller(2)
    assert SitePlant(supplies=(one, other)).supply_of(named) == other
    assert SitePlant(supplies=(one, other)).supply_of(silent) is None
    assert SitePlant(supplies=(one,)).supply_of(silent) == one
    assert SitePlant(supplies=(one,)).supply_of(named) is None


def test_a_valve_takes_what_its_zones_in_use_take_together():
    zones = (Zone(1, valve_id=1, flow_l_min=10), Zone(2, valve_id=1, flow_l_min=5), Zone(3, valve_id=2))
    plant = SitePlant(zones=(*zones, Zone(4, valve_id=1, flow_l_min=99, in_use=False)))
    assert plant.flow_l_min(1) == 15
    assert plant.flow_l_min(2) is None
    assert plant.flow_l_min(3) is None
