"""The table of fields judges without Django: limits in the reader's units, words by kind, rules between fields."""

import datetime as dt
import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.core.rulebook import BACKFLOW, CONTROLLER, PUMP, SITE, TABLES, VALVE, ZONE
from sites.core.rulebook.fields import NUMERIC, Kind
from sites.core.units import from_display
from sites.core.writing import MINUS

FIELDS = [pytest.param(field, id=f"{name}.{field.name}") for name, table in TABLES.items() for field in table]
NUMBERS = [param for param in FIELDS if param.values[0].kind in NUMERIC]


@pytest.mark.parametrize("field", NUMBERS)
def test_every_number_has_both_limits_holds_them_and_refuses_what_lies_beyond(field):
    assert field.least is not None and field.most is not None and field.least < field.most
    assert field.refusal(field.least) is None
    assert field.refusal(field.most) is None
    step = max(abs(field.most), 1) * 1e-6 if field.kind is not Kind.WHOLE else 1
    assert field.refusal(field.least - step)
    assert field.refusal(field.most + step)
    assert field.refusal(math.nan) == "Enter a number."
    assert field.refusal(Decimal("NaN")) == "Enter a number."
    assert field.refusal(True) == "Enter a number."


@pytest.mark.parametrize("field", FIELDS)
def test_every_field_says_whether_it_may_be_left_out_and_starts_with_a_value_it_accepts(field):
    assert (field.refusal(None) is None) == field.empty
    if field.default is not None and field.kind is not Kind.TIME:
        assert field.refusal(field.default) is None
    if field.longest and field.kind is not Kind.CHOICE:
        assert field.refusal("x" * (field.longest + 1)) == f"Longer than {field.longest} characters."
    if field.choices:
        assert max(len(value) for value, _ in field.choices.pairs()) <= field.longest
        assert field.refusal("nonsense") == "Select a valid choice. nonsense is not one of the available choices."


@pytest.mark.parametrize("field", [param for param in NUMBERS if param.values[0].quantity])
@pytest.mark.parametrize("system", ["metric", "us"])
def test_a_limit_as_it_is_told_can_be_typed(field, system):
    """Rounded for a person it must still be inside: "at most 10 ft" for 3 m would refuse the 10 ft it offers."""
    for limit, upper in ((field.least, False), (field.most, True)):
        text, _, unit = field.limit(limit, system, upper=upper).partition(" ")
        if text == "AWG":
            text = unit
        if limit == 0.0001:
            continue  # told as "above 0"
        stored = from_display(float(text.replace(",", "").replace(MINUS, "-")), field.quantity, system)
        slack = 0.02 if field.name == "wire_section_mm2" else 1e-9  # a gauge is told to a tenth
        assert stored <= limit * (1 + slack) if upper else stored >= limit - abs(limit) * slack


def test_limits_are_told_in_the_units_of_the_reader():
    assert ZONE["head_pressure_kpa"].refusal(9000) == "Must be at most 2,500 kPa."
    # 2500 kPa is 362.59 psi (1 psi = 6.894757 kPa, NIST SP 811 B.8).
    assert ZONE["head_pressure_kpa"].refusal(9000, "us") == "Must be at most 362.59 psi."
    assert ZONE["area_m2"].refusal(-1) == "Must be above 0."
    assert VALVE["opens_within_s"].refusal(1e6) == "Must be at most 3,600 s."
    assert CONTROLLER["terminals"].refusal(0) == "Must be at least 1."
    assert VALVE["wire_section_mm2"].refusal(500) == (
        "Valve wire lies between 0.1 mm² and 35.0 mm². Gauge and mm² mixed up?"
    )
    assert SITE["latitude"].refusal(91).startswith("Latitude lies between −90 and 90 degrees.")


def test_a_rule_between_fields_is_judged_where_its_fields_are_sound():
    day = dt.date(2026, 4, 1)
    assert BACKFLOW.refusals({"last_tested_on": day, "test_due_on": day}) == {
        "test_due_on": "The next test must lie after the last one."
    }
    assert not BACKFLOW.refusals({"last_tested_on": day, "test_due_on": day + dt.timedelta(days=1)})
    unsound = {"application_rate_mm_h": -3.0, "distribution_uniformity": None, "figures_origin": "unknown"}
    assert ZONE.refusals(unsound) == {"application_rate_mm_h": "Must be above 0."}


def test_what_stands_unchanged_is_not_judged():
    old = {"application_rate_mm_h": 10.0, "distribution_uniformity": None, "figures_origin": "unknown"}
    wire = {"wire_section_mm2": 500.0, "name": ""}
    assert ZONE.refusals(old, changed={"name"}) == {}
    assert list(ZONE.refusals(old, changed={"application_rate_mm_h"})) == ["figures_origin"]
    assert VALVE.refusals(wire, changed={"name"}) == {"name": "This field is required."}


CURVE = st.none() | st.floats(0.001, 900)


@given(CURVE, CURVE, CURVE, CURVE, CURVE)
def test_a_pump_curve_is_whole_and_falls_or_is_refused_beside_a_field_of_it(head_0, flow_1, head_1, flow_2, head_2):
    names = ("shutoff_head_m", "curve_flow_1_l_min", "curve_head_1_m", "curve_flow_2_l_min", "curve_head_2_m")
    points = (head_0, flow_1, head_1, flow_2, head_2)
    refused = PUMP.refusals(dict(zip(names, points, strict=True)))
    whole = None not in points
    falls = whole and flow_1 < flow_2 and head_0 > head_1 > head_2
    assert (not refused) == (falls or points == (None,) * 5)
    assert set(refused) <= set(names)
