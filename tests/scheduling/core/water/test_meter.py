"""Meter readings, leaks and the units on a bill."""

import datetime as dt

import pytest

from scheduling.core.water import volumes
from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.meter import (
    Reading,
    Use,
    consumption,
    leak_check,
    leak_rate_l_h,
    rollover_use,
    suspects_leak,
)


def day(n):
    return dt.datetime(2026, 3, 1, tzinfo=dt.UTC) + dt.timedelta(days=n)


def test_rollover():
    """Own case, by hand: a five-digit counter from 99874 to 128."""
    assert rollover_use(99874, 128, 5) == 254


@pytest.mark.parametrize(
    ("unit", "m3", "gal"),
    [
        ("L", 0.001, 0.264172),
        ("m3", 1, 264.172),
        ("ft3", 0.0283168466, 7.48052),
        ("CCF", 2.83168, 748.052),
        ("kgal", 3.78541, 1000),
        ("acre_in", 102.790, 27154.3),
        ("acre_ft", 1233.482, 325851),
        ("imp_gal", 0.00454609, 1.20095),
    ],
)
def test_units_of_a_bill(unit, m3, gal):
    """international definitions."""
    litres = volumes.to_litres(1, unit)
    assert volumes.from_litres(litres, "m3") == pytest.approx(m3, rel=5e-6)
    assert volumes.from_litres(litres, "gal") == pytest.approx(gal, rel=5e-6)


def test_acre_foot_to_the_litre():
    assert volumes.to_litres(1, "acre_ft") / 1000 == pytest.approx(1233.48184, abs=0.00001)


def test_consumption_over_rollover_change_and_estimates():
    readings = [
        Reading(day(0), 99_874),
        Reading(day(30), 128),
        Reading(day(60), 400, estimated=True),
        Reading(day(90), 390),
        Reading(day(91), 0, series="new"),
        Reading(day(120), 75, series="new"),
    ]
    uses = consumption(readings, digits=5, largest_use_per_day=20, multiplier=10.0)
    assert [use.use for use in uses] == [2540.0, 2720.0, None, None, 750.0]
    assert [use.estimated for use in uses] == [False, True, True, False, False]
    assert [use.remark.split(":")[0] for use in uses] == [
        "counter rolled over",
        "",
        "the estimated reading before was too high",
        "meter changed",
        "",
    ]


def test_a_fallen_counter_is_not_taken_for_a_rollover():
    (use,) = consumption([Reading(day(0), 500), Reading(day(30), 480)], digits=5, largest_use_per_day=20)
    assert use.use is None and use.remark.startswith("the counter fell")


def test_reads_are_put_in_order_and_doubles_refused():
    (use,) = consumption([Reading(day(10), 60), Reading(day(0), 50)], digits=4, largest_use_per_day=5)
    assert (use.use, use.days) == (10, 10)
    with pytest.raises(WaterInputError, match="two readings at"):
        consumption([Reading(day(0), 1), Reading(day(0), 2)], digits=4, largest_use_per_day=5)


def test_a_read_too_long_for_its_counter_is_refused():
    with pytest.raises(WaterInputError, match="does not fit"):
        consumption([Reading(day(0), 1), Reading(day(1), 12345)], digits=4, largest_use_per_day=5)


def test_leak_rate():
    """Own case, by hand: 1234.805 to 1234.871 m3 in 8.25 h is 8.00 L/h, 5.84 m3 in 30.4 days."""
    assert leak_rate_l_h(1234.805, 1234.871, 8.25) == pytest.approx(8.00, abs=0.01)
    check = leak_check(1234.805, 1234.871, 8.25, resolution_m3=0.001)
    assert check.m3_per_month == pytest.approx(5.84, abs=0.01)
    assert check.tellable
    assert not leak_check(1234.805, 1234.806, 1.0, resolution_m3=0.001).tellable


def test_water_running_off_season_is_suspicious():
    def use(litres, estimated=False):
        return Use(day(0), day(30), litres, estimated)

    assert suspects_leak([use(9_000)], [use(60_000)]) is True
    assert suspects_leak([use(3_000)], [use(60_000)]) is False
    assert suspects_leak([use(9_000)], [use(60_000)], base_use_per_day=250) is False
    assert suspects_leak([use(9_000, estimated=True)], [use(60_000)]) is None
