"""The state of a site day by day. The properties compare with a walk over every single day."""

import datetime as dt

from hypothesis import given
from hypothesis import strategies as st

from sites.core.site_state import FILLING, OFF, ON, WINTER, Standing, StateLine

DAY = dt.timedelta(days=1)
APRIL, OCTOBER = dt.date(2026, 4, 10), dt.date(2026, 10, 20)
SEASON = StateLine(((APRIL, ON), (OCTOBER, WINTER)))
ANY_LINE = st.lists(
    st.tuples(st.dates(dt.date(2025, 1, 1), dt.date(2026, 12, 31)), st.sampled_from([OFF, FILLING, ON, WINTER]))
).map(lambda changes: StateLine(tuple(sorted(changes, key=lambda change: change[0]))))


def test_a_site_without_any_record_counts_as_on_and_says_that_nobody_recorded_it():
    standing = StateLine().at(APRIL)

    assert standing == Standing(ON, None)
    assert standing.is_on
    assert standing.words == "on, as long as no shut-off is recorded"


def test_the_day_of_a_change_counts_for_the_new_state():
    assert not SEASON.at(APRIL - DAY).is_on
    assert SEASON.at(APRIL) == Standing(ON, APRIL)
    assert SEASON.at(OCTOBER - DAY).is_on
    assert SEASON.at(OCTOBER).words == "shut off for winter since 20 Oct 2026"


def test_a_first_startup_says_that_the_site_was_off_before_it_but_not_for_ever():
    assert SEASON.at(dt.date(2026, 1, 1)).words == "off, as it was started up later"
    assert SEASON.at(APRIL - 183 * DAY) == Standing(OFF, None)
    assert SEASON.at(APRIL - 184 * DAY).is_on, "last summer nobody kept records: the schedule of then counts"


def test_a_first_shut_off_says_that_the_site_was_on_before_it():
    assert StateLine(((OCTOBER, WINTER),)).spans_on(dt.date(2026, 1, 1), dt.date(2026, 12, 31)) == (
        (dt.date(2026, 1, 1), dt.date(2026, 10, 19)),
    )


def test_a_state_recorded_twice_holds_since_the_first_time():
    line = StateLine(((OCTOBER, WINTER), (OCTOBER + 9 * DAY, WINTER)))

    assert line.at(dt.date(2026, 11, 30)).since == OCTOBER


def test_filling_up_is_not_on_yet():
    line = StateLine(((OCTOBER - 300 * DAY, WINTER), (APRIL, FILLING), (APRIL + 2 * DAY, ON)))

    assert line.spans_on(dt.date(2026, 3, 1), dt.date(2026, 4, 30)) == ((APRIL + 2 * DAY, dt.date(2026, 4, 30)),)


@given(ANY_LINE)
def test_the_spans_hold_just_the_days_on_which_the_site_is_on(line):
    first, until = dt.date(2025, 6, 1), dt.date(2026, 6, 30)

    spans = line.spans_on(first, until)

    days = [first + number * DAY for number in range((until - first).days + 1)]
    inside = [any(start <= day <= end for start, end in spans) for day in days]
    assert inside == [line.at(day).is_on for day in days]
    assert all(later[0] - earlier[1] > DAY for earlier, later in zip(spans, spans[1:], strict=False)), "kept apart"
