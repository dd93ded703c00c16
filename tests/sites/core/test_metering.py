import pytest

from sites.core.metering import use_m3


def test_a_register_that_passed_its_end_counts_on():
    # By hand: a 5-digit register from 99874 to 128 has counted 254 units.
    assert use_m3(99874, 128, digits=5, unit="m3") == 254


@pytest.mark.parametrize(
    ("unit", "multiplier", "m3"),
    [
        ("m3", 1, 10),
        ("litre", 10, 0.1),
        ("us_gallon", 1, 0.03785411784),  # US gallon = 231 in³ exactly
        ("kgal", 1, 37.85411784),
        ("ccf", 1, 28.316846592),  # 100 ft³ by the international foot
        ("ft3", 1, 0.28316846592),
    ],
)
def test_ten_units_of_a_register_are_so_many_cubic_metres(unit, multiplier, m3):
    assert use_m3(90, 100, digits=6, unit=unit, multiplier=multiplier) == pytest.approx(m3, rel=1e-12)


def test_equal_readings_used_nothing_and_a_register_wraps_at_its_own_digits():
    assert use_m3(100, 100, digits=4, unit="m3") == 0
    assert use_m3(9999, 1, digits=4, unit="m3") == 2
    assert use_m3(9999, 1, digits=5, unit="m3", multiplier=10) == pytest.approx(900020)
