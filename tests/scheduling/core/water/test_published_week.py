"""The published schedule against the soil of the coming week; every case worked by hand (D = D + demand - given)."""

import numpy as np
import pytest

from scheduling.core.water.advice import Outlook
from scheduling.core.water.checks import WaterInputError
from scheduling.core.water.published_week import judge_published

DAYS = 8  # today and the week from tomorrow


def outlook(demand, raw, rain=0.0, growing=True):
    column = np.ones((DAYS + 35, 1))
    flags = column.astype(bool)
    return Outlook(column * demand, column * rain, column * 0, column * 0, column * raw, flags, flags & growing)


def judged(depletion, waterings, **expected):
    given = np.zeros((DAYS, 1))
    for day, mm in waterings.items():
        given[day] = mm
    week = judge_published(outlook(**expected), np.array([depletion]), given)
    return float(week.published[0]), float(week.too_much[0]), float(week.too_little[0])


def test_trees_between_two_waterings_of_a_fortnight_s_plan_are_right():
    """RAW 36, 2 mm a day: five days after a watering D is 10, and 10 + 8 x 2 = 26 at the week's end."""
    assert judged(10.0, {}, demand=2.0, raw=36.0) == (0, 0, 0)


def test_a_zone_that_dries_out_before_its_watering_lacks_what_it_passes_by():
    """RAW 10, 4 mm a day, D 6: today ends on 10, three days pass by 4 each; then 2, 6, 10, and the last by 4."""
    assert judged(6.0, {4: 12.0}, demand=4.0, raw=10.0) == (12.0, 0, 16.0)


def test_a_program_that_waters_every_day_after_rain_gives_more_than_the_soil_takes():
    """D 0, 3 mm a day, given 5: 2 mm run through on each of the seven days; today's run is past."""
    given = dict.fromkeys(range(DAYS), 5.0)
    assert judged(0.0, given, demand=3.0, raw=10.0) == pytest.approx((35.0, 14.0, 0))


def test_rain_alone_that_runs_through_is_no_fault_of_the_schedule():
    assert judged(0.0, {}, demand=1.0, rain=6.0, raw=10.0) == (0, 0, 0)
    assert judged(0.0, {2: 2.0}, demand=1.0, rain=6.0, raw=10.0) == (2.0, 2.0, 0)


def test_a_dry_soil_lacks_only_in_season_and_only_what_can_still_be_given():
    """D 14 with RAW 10 and no demand: 4 mm; a watering today makes up for it."""
    assert judged(14.0, {}, demand=0.0, raw=10.0) == (0, 0, 4.0)
    assert judged(14.0, {}, demand=0.0, raw=10.0, growing=False) == (0, 0, 0)
    assert judged(14.0, {0: 9.0}, demand=0.0, raw=10.0) == (0, 0, 0)


def test_waterings_that_do_not_fit_the_zones_are_refused():
    with pytest.raises(WaterInputError, match="one column a zone"):
        judge_published(outlook(1.0, 10.0), np.array([1.0]), np.zeros((DAYS, 2)))
