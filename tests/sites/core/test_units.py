import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.core import units
from sites.core.units import Quantity, System, format_quantity, from_display, to_display


@pytest.mark.parametrize(
    ("unit", "m3", "tolerance"),
    [
        ("CCF", 2.83168, 0.00001),  # definition
        ("acre-foot", 1233.482, 0.001),  # definition
        ("acre-inch", 102.790, 0.001),
        ("kgal", 3.785411784, 1e-12),  # US gallon = 231 in3 exactly
        ("ft3", 0.028316846592, 1e-15),  # exact
        ("imp gal", 0.00454609, 0),  # exact
    ],
)
def test_register_units_hold_their_defined_volume(unit, m3, tolerance):
    assert units.VOLUME_UNITS_M3[unit] == pytest.approx(m3, abs=tolerance or 1e-18)


@pytest.mark.parametrize(
    ("constant", "expected", "tolerance"),
    [
        (units.PSI_KPA, 6.894757293, 1e-8),  # NIST SP 811 App. B.8
        (units.US_GALLON_L, 3.785411784, 1e-12),
        (units.ACRE_M2, 4046.8564224, 1e-7),  # international acre
        (units.HORSEPOWER_KW, 0.745699872, 1e-8),
        (60 / units.US_GALLON_L, 15.850, 0.001),  # 1 L/s in gpm
        (1000 / 60 / units.US_GALLON_L, 4.403, 0.001),  # 1 m3/h in gpm
        (units.INCH_MM / 1000 * units.FOOT2_M2 * 1000 / units.US_GALLON_L, 0.62338, 0.00001),  # 1 in on 1 ft2
    ],
)
def test_constants_agree_with_their_published_values(constant, expected, tolerance):
    assert constant == pytest.approx(expected, abs=tolerance)


@pytest.mark.parametrize(
    ("awg", "diameter_mm", "section_mm2"),  # wire table of ASTM B258 (American wire gauge)
    [(20, 0.812, 0.518), (18, 1.024, 0.823), (14, 1.628, 2.081), (12, 2.053, 3.309), (8, 3.264, 8.366)],
)
def test_american_gauges_have_the_table_diameter_and_section(awg, diameter_mm, section_mm2):
    assert units.awg_diameter_mm(awg) == pytest.approx(diameter_mm, abs=0.0005)
    assert units.awg_to_mm2(awg) == pytest.approx(section_mm2, abs=0.001)
    assert units.mm2_to_awg(units.awg_to_mm2(awg)) == pytest.approx(awg, abs=1e-9)


@pytest.mark.parametrize(
    ("stored", "quantity", "us_text", "metric_text"),
    [
        (37.85411784, Quantity.FLOW, "10.0 gpm", "37.9 L/min"),
        (210, Quantity.PRESSURE, "30.5 psi", "210 kPa"),
        (25.4, Quantity.DEPTH, "1.00 in", "25.4 mm"),
        (40.2, Quantity.RATE, "1.58 in/h", "40.2 mm/h"),
        (0.0, Quantity.TEMPERATURE, "32 °F", "0.0 °C"),
        (37.7777777, Quantity.TEMPERATURE, "100 °F", "37.8 °C"),
        (1.0, Quantity.VOLUME, "264 gal", "1.00 m³"),
        (0.8231, Quantity.WIRE_SECTION, "AWG 18", "0.82 mm²"),
        (1.5, Quantity.WIRE_SECTION, "AWG 15.4", "1.50 mm²"),
        (None, Quantity.FLOW, "–", "–"),
    ],
)
def test_a_person_reads_the_value_in_the_firms_units(stored, quantity, us_text, metric_text):
    assert format_quantity(stored, quantity, System.US) == us_text
    assert format_quantity(stored, quantity, "metric") == metric_text


def test_a_tiny_negative_value_is_not_shown_as_minus_zero():
    assert format_quantity(-0.01, Quantity.PRESSURE, System.METRIC, with_unit=False) == "0"


@given(
    st.sampled_from(list(Quantity)),
    st.sampled_from(list(System)),
    st.floats(min_value=1e-3, max_value=1e6, allow_nan=False),
)
def test_what_is_shown_and_typed_back_is_what_was_stored(quantity, system, value):
    shown = to_display(value, quantity, system)
    assert math.isclose(from_display(shown, quantity, system), value, rel_tol=1e-9, abs_tol=1e-9)


@given(st.sampled_from(list(Quantity)))
def test_every_quantity_has_a_label_in_both_systems(quantity):
    assert units.unit_label(quantity, System.METRIC)
    assert units.unit_label(quantity, System.US)


@pytest.mark.parametrize("bad", [0, -1.5])
def test_a_wire_without_copper_is_refused(bad):
    with pytest.raises(ValueError, match="wire section"):
        to_display(bad, Quantity.WIRE_SECTION, System.US)


def test_an_unknown_unit_system_is_refused():
    with pytest.raises(ValueError):
        units.unit_label(Quantity.FLOW, "imperial")
