"""From planned to used water. Small cases by hand; properties over many."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.used import losses, net_need_mm, spread_over_days, used_by_day

DAYS, ZONES = 6, 2


def water(*rows):
    return np.array(rows, dtype=float)


def flags(text):
    return np.array([letter == "x" for letter in text])


def test_each_cause_takes_its_own_days_and_the_parts_add_up():
    """Six days, two zones of 10 and 5 L a day as published; the second was set to 7 from day 4 on.

    By hand: off on day 1: 15. Paused on day 2: 15. Set otherwise on days 4 to 6: 3 x 2 = 6 more. Zone 1 stopped on
    days 5 and 6: 20. Left: 90 - 15 - 15 + 6 - 20 = 46 = day 3: 15, day 4: 17, days 5 and 6: 7 each.
    """
    planned = water(*[(10, 5)] * 6)
    as_set = water(*[(10, 5)] * 3, *[(10, 7)] * 3)
    stopped = np.outer(flags("....xx"), flags("x."))

    parts = losses(planned, as_set, flags(".xxxxx"), flags(".x...."), [stopped])

    assert (parts.planned_l, parts.off_l, parts.paused_l) == (90, 15, 15)
    assert (parts.set_otherwise_l, parts.stopped_l, parts.expected_l) == (6, (20,), 46)


def test_a_day_that_is_off_and_paused_counts_as_off_and_a_zone_stopped_twice_once():
    planned = water(*[(10, 5)] * 2)
    both = np.outer(flags(".x"), flags("x."))

    parts = losses(planned, planned, flags(".x"), flags("x."), [both, both])

    assert (parts.off_l, parts.paused_l, parts.stopped_l, parts.expected_l) == (15, 0, (10, 0), 5)


def test_a_zone_of_unknown_flow_is_in_no_part():
    planned = water((10, np.nan), (10, 0))

    parts = losses(planned, planned, flags("xx"), flags(".."), [])

    assert (parts.planned_l, parts.expected_l) == (20, 20)


def test_days_and_zones_that_do_not_agree_are_refused():
    with pytest.raises(WaterInputError, match="agree"):
        losses(water((1, 2)), water((1,)), flags("x"), flags("."), [])


LITRES = st.lists(st.floats(0, 1e5), min_size=DAYS * ZONES, max_size=DAYS * ZONES)
MASK = st.lists(st.booleans(), min_size=DAYS, max_size=DAYS).map(np.array)
STOPS = st.lists(st.tuples(MASK, st.integers(0, ZONES - 1)), max_size=3)


@given(LITRES, LITRES, MASK, MASK, STOPS)
def test_the_parts_always_lead_from_planned_to_expected(planned, as_set, on, paused, faults):
    planned, as_set = (np.array(each).reshape(DAYS, ZONES) for each in (planned, as_set))
    stopped = [np.outer(days, np.arange(ZONES) == zone) for days, zone in faults]

    parts = losses(planned, as_set, on, paused, stopped)

    left = parts.planned_l - parts.off_l - parts.paused_l + parts.set_otherwise_l - sum(parts.stopped_l)
    assert left == pytest.approx(parts.expected_l, abs=1e-6)
    assert min(parts.off_l, parts.paused_l, *parts.stopped_l, parts.expected_l) >= 0


@given(LITRES, LITRES, MASK, STOPS)
def test_a_site_that_is_off_is_expected_to_use_nothing(planned, as_set, paused, faults):
    planned, as_set = (np.array(each).reshape(DAYS, ZONES) for each in (planned, as_set))
    stopped = [np.outer(days, np.arange(ZONES) == zone) for days, zone in faults]

    assert losses(planned, as_set, np.zeros(DAYS, np.bool_), paused, stopped).expected_l == 0


def test_the_use_between_two_reads_follows_the_schedule_and_else_the_days():
    assert spread_over_days(30, np.array([0.0, 5.0, 10.0])).tolist() == [0, 10, 20]
    assert spread_over_days(30, np.zeros(3)).tolist() == [10, 10, 10]


def test_the_meter_counts_where_it_tells_the_day():
    assert used_by_day(np.array([np.nan, 0.0, 7.0]), np.array([1.0, 2.0, 3.0])).tolist() == [1, 0, 7]


def test_a_wet_month_waters_no_dry_one():
    """January 10 - 40, July 50 - 20: 30 mm, not 0."""
    et, rain, month = np.array([10.0, 50.0]), np.array([40.0, 20.0]), np.array([0, 6])

    assert net_need_mm(et, rain, month, np.array([0, 1])) == 30
    assert net_need_mm(et, rain, month, np.array([0])) == 0
