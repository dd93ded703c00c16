"""Values of a derivation in the units a firm reads; factors exact by definition (1 in = 25.4 mm, 1 ft = 0.3048 m)."""

import pytest

from scheduling.core.water.derivation import shown_value


@pytest.mark.parametrize(
    ("value", "unit", "metric", "us"),
    [
        (5.08, "mm/day", "5.08 mm/day", "0.200 in/day"),
        (170.0, "mm/m", "170 mm/m", "2.04 in/ft"),  # 170 x 0.3048 / 25.4
        (25.4, "mm", "25.4 mm", "1.00 in"),
        (0.15, "m", "0.15 m", "0.49 ft"),
        (93.456, "min/week", "93.46 min/week", "93.46 min/week"),
        ("Loam", "", "Loam", "Loam"),
    ],
)
def test_a_value_is_shown_in_the_firm_s_units(value, unit, metric, us):
    assert (shown_value(value, unit, "metric"), shown_value(value, unit, "us")) == (metric, us)
