from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.core.routing.frost import FrostLimit
from jobs.core.site_dates import REASON_CHARS, Place, Span, startup_span, winterisation_span

AUTUMN = Span(date(2031, 9, 1), date(2031, 11, 10), "by hand")
SPRING = Span(date(2031, 3, 1), date(2031, 5, 15), "by hand")
HOLLOW = Place(7, "cold hollow")


def by(on, *, sufficient=True):
    return FrostLimit(on, "10 % chance of -2.2 °C by 24 Oct, Harbour + 120 m", sufficient)


def test_a_site_is_due_by_its_own_date_and_says_what_it_rests_on():
    span = winterisation_span(AUTUMN, by(date(2031, 10, 24)))
    assert (span.opens_on, span.due_on) == (AUTUMN.opens_on, date(2031, 10, 24))
    assert span.reason == "10 % chance of -2.2 °C by 24 Oct, Harbour + 120 m"


def test_frost_days_come_earlier_in_autumn_and_later_in_spring():
    span = winterisation_span(AUTUMN, by(date(2031, 10, 24)), HOLLOW)
    assert span.due_on == date(2031, 10, 17)
    assert span.reason.endswith("Harbour + 120 m, 7 days earlier: cold hollow")
    span = startup_span(SPRING, FrostLimit(date(2031, 4, 2), "after 2 Apr", True), Place(1, "by the creek"))
    assert (span.opens_on, span.due_on, span.reason) == (
        date(2031, 4, 3),
        SPRING.due_on,
        "after 2 Apr, 1 day later: by the creek",
    )
    assert winterisation_span(AUTUMN, by(date(2031, 10, 24)), Place(-5)).reason.endswith(", 5 days later")


@pytest.mark.parametrize(
    ("limit", "reason"),
    [
        (by(date(2031, 10, 24), sufficient=False), "Harbour + 120 m: the season's window counts"),
        (
            FrostLimit(None, "no weather station at this site", sufficient=False),
            "this site: the season's window counts",
        ),
        (
            FrostLimit(None, "-2.2 °C met in 2 of 25 seasons only, Harbour", True),
            "Harbour: the season's window counts",
        ),
        (None, "by hand"),
    ],
)
def test_without_a_date_of_its_own_the_window_counts_and_frost_days_still_move_it(limit, reason):
    span = winterisation_span(AUTUMN, limit)
    assert (span.opens_on, span.due_on) == (AUTUMN.opens_on, AUTUMN.due_on)
    assert span.reason.endswith(reason)
    moved = winterisation_span(AUTUMN, limit, HOLLOW)
    assert moved.due_on == date(2031, 11, 3)
    assert moved.reason.endswith(f"{reason}, 7 days earlier: cold hollow")
    # A sheltered place is never due after the window.
    assert winterisation_span(AUTUMN, limit, Place(-5)).due_on == AUTUMN.due_on


def test_a_date_outside_the_round_is_held_to_it_and_told():
    late, early = winterisation_span(AUTUMN, by(date(2031, 12, 2))), winterisation_span(AUTUMN, by(date(2031, 8, 20)))
    assert (late.due_on, early.due_on) == (AUTUMN.due_on, AUTUMN.opens_on)
    assert late.reason.endswith("; its own date {day:2031-12-02} lies after the round")
    assert early.reason.endswith("; its own date {day:2031-08-20} lies before the round")
    opened = startup_span(SPRING, by(date(2031, 6, 1)))
    assert (opened.opens_on, opened.due_on) == (SPRING.due_on, SPRING.due_on)


def test_a_long_reason_keeps_its_figures_and_shortens_the_note():
    limit = FrostLimit(date(2031, 8, 20), f"10 % chance of -2.2 °C by 20 Aug, {'Harbour ' * 8}+ 120 m", True)
    span = winterisation_span(AUTUMN, limit, Place(60, "word " * 15 + "end"))
    assert len(span.reason) <= REASON_CHARS
    assert span.reason.startswith("10 % chance") and span.reason.endswith("lies before the round")
    assert ", 60 days earlier: word word" in span.reason
    assert (
        len(winterisation_span(Span(AUTUMN.opens_on, AUTUMN.due_on, "x " * 150), None, HOLLOW).reason) <= REASON_CHARS
    )


DATES = st.dates(date(2031, 1, 1), date(2031, 12, 31))
LIMITS = st.none() | st.builds(FrostLimit, st.none() | DATES, st.text(max_size=200), st.booleans())
DAYS = st.integers(-60, 60)


@given(DATES, st.integers(0, 120), LIMITS, DAYS, st.text(max_size=80))
def test_a_span_lies_in_its_window_and_never_ends_before_it_opens(first, days, limit, frost_days, note):
    window = Span(first, first + timedelta(days), "r")
    for make in (startup_span, winterisation_span):
        span = make(window, limit, Place(frost_days, note))
        assert window.opens_on <= span.opens_on <= span.due_on <= window.due_on
        assert len(span.reason) <= REASON_CHARS


@given(LIMITS, DAYS, DAYS)
def test_more_frost_days_never_open_earlier_nor_end_later(limit, some, more):
    few, many = Place(min(some, more)), Place(max(some, more))
    assert winterisation_span(AUTUMN, limit, many).due_on <= winterisation_span(AUTUMN, limit, few).due_on
    assert startup_span(SPRING, limit, many).opens_on >= startup_span(SPRING, limit, few).opens_on
