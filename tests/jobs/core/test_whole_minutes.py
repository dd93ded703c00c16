from hypothesis import given
from hypothesis import strategies as st

from jobs.core.whole_minutes import shared_out, whole_minutes

DRIVES = st.lists(st.integers(0, 4 * 3600), max_size=15)


def test_three_drives_of_a_minute_and_a_half_are_five_minutes_together():
    assert shared_out([90, 90, 90]) == [2, 1, 2]
    assert whole_minutes(270) == 5  # 4 min 30 s


def test_half_a_minute_counts_up_also_where_it_was_stored_in_minutes():
    assert [whole_minutes(60 * minutes) for minutes in (0.5, 1.5, 2.5, 1 / 3)] == [1, 2, 3, 0]


@given(DRIVES)
def test_what_is_shown_adds_up_and_no_drive_is_a_minute_off(seconds):
    shown = shared_out(seconds)
    assert sum(shown) == whole_minutes(sum(seconds))
    for minutes, exact in zip(shown, seconds, strict=True):
        assert minutes >= 0
        assert abs(60 * minutes - exact) < 60


@given(DRIVES)
def test_the_whole_minutes_of_a_sum_are_its_nearest(seconds):
    assert abs(60 * whole_minutes(sum(seconds)) - sum(seconds)) <= 30
