"""The hours a client is told keep to the site's hours and the technician's."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.core.appointments import WINDOW_MIN, told_hours, usual_hours, within_usual

EIGHT, FOUR = 8 * 60, 16 * 60


def hours(start: str, **bounds) -> str:
    begins, until = told_hours(minutes(start), **{name: minutes(text) for name, text in bounds.items()})
    return f"{begins // 60:02d}:{begins % 60:02d}-{until // 60:02d}:{until % 60:02d}"


def minutes(clock: str) -> int:
    hour, minute = clock.split(":")
    return int(hour) * 60 + int(minute)


@pytest.mark.parametrize(
    ("start", "service", "told"),
    [
        ("10:40", "1:00", "10:00-12:00"),  # in the middle of the day nothing is changed
        ("08:00", "1:00", "08:00-10:00"),  # not before the site opens
        ("08:20", "1:00", "08:00-10:00"),
        ("14:40", "1:00", "13:00-15:00"),  # the hour of work fits before four
        ("14:50", "1:05", "13:00-14:55"),  # no half hour holds both
        ("08:00", "8:00", "08:00-08:30"),  # the work takes all day
        ("16:30", "1:00", "14:30-16:30"),  # planned too late: what is planned is what is told
        ("07:10", "1:00", "07:10-09:00"),  # planned too early
    ],
)
def test_the_hours_told_lie_within_the_opening_hours(start, service, told):
    assert hours(start, service_min=service, opens_min="8:00", closes_min="16:00") == told


def test_without_bounds_the_start_lies_early_in_two_hours():
    assert hours("10:05") == "09:30-11:30"
    assert hours("00:10") == "00:00-02:00"
    assert hours("23:50") == "22:00-23:50"


@given(
    start=st.integers(0, 1439), service=st.integers(1, 600), opens=st.integers(0, 1000), closes=st.integers(0, 1440)
)
def test_the_hours_told_are_never_empty_and_hold_the_start(start, service, opens, closes):
    begins, until = told_hours(start, service_min=service, opens_min=opens, closes_min=closes)
    assert 0 <= begins < until < 24 * 60
    assert until - begins <= max(WINDOW_MIN, 30)
    assert begins <= start <= until
    if start >= opens and start < 1400:
        assert begins >= opens
    if start + service <= closes and until - begins > 30:
        assert until + service <= closes


def test_hours_that_never_meet_are_the_sites():
    assert usual_hours((EIGHT, FOUR), (7 * 60, 15 * 60)) == (EIGHT, 15 * 60)
    assert usual_hours((EIGHT, FOUR), (18 * 60, 22 * 60)) == (EIGHT, FOUR)
    assert usual_hours(None, None) == (0, 1440)


@pytest.mark.parametrize(
    ("told", "work", "kept"),
    [
        ((450, 630), 60, (480, 630)),  # told 07:30 to 09:30: work begins when the site opens
        ((450, 530), 60, (450, 530)),  # no hour of work between opening and the end told: as it was promised
        ((360, 480), 60, (360, 480)),  # wholly before it opens
        ((870, 1050), 60, (870, 960)),
        ((930, 1110), 60, (930, 1110)),  # half an hour is left before it closes: the promise counts
    ],
)
def test_hours_told_are_kept_to_the_usual_ones_where_the_work_fits(told, work, kept):
    assert within_usual(told, (EIGHT, FOUR), work) == kept
