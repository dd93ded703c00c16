"""The office's list on five dates: what it says follows from the soil of that morning."""

import datetime as dt

import pytest

from scheduling.actions.schedules import compute_draft, publish
from scheduling.models import ProgramStep, SeasonSchedule
from scheduling.queries.week import office_week

DATES = [dt.date(2015, *day) for day in ((2, 1), (4, 5), (7, 25), (10, 1), (11, 30))]


def listed(site, today, run_time_factor):
    """The site's row with the month's plan in force for three weeks, its minutes times the factor."""
    since = today - dt.timedelta(days=21)
    schedule = publish(schedule=compute_draft(site=site, today=since, by=None, month=7), by=None, on=since)
    # July's programs ran on: taken as made for the month they run in.
    SeasonSchedule.objects.filter(pk=schedule.pk).update(month=today.month)
    for step in ProgramStep.objects.filter(program__schedule=schedule):
        ProgramStep.objects.filter(pk=step.pk).update(run_time_min=step.run_time_min * run_time_factor)
    compute_draft(site=site, today=today, by=None)
    (row,) = office_week(today=today, threshold_percent=-1).rows
    return row


@pytest.mark.parametrize("today", DATES[:4])
def test_three_times_july_s_plan_is_never_too_little_and_always_too_much(seattle, site, today):
    row = listed(site, today, 3)
    assert row.published_l > 0
    assert row.too_little_l == 0
    assert row.too_much_l > 0.15 * row.needed_l
    assert row.size_l <= row.published_l


@pytest.mark.parametrize("today", DATES[:4])
def test_next_to_nothing_is_too_little_from_spring_to_autumn_and_right_in_winter(seattle, site, today):
    row = listed(site, today, 0.001)
    assert row.too_much_l <= row.published_l
    assert (row.too_little_l > 0) == (today.month != 2)


def test_on_the_eve_of_december_nothing_runs_any_more_and_nothing_is_listed(seattle, site):
    """November's programs end with November; the table of months waters nothing in December."""
    since = DATES[4] - dt.timedelta(days=21)
    publish(schedule=compute_draft(site=site, today=since, by=None, month=11), by=None, on=since)
    compute_draft(site=site, today=DATES[4], by=None)
    week = office_week(today=DATES[4], threshold_percent=0)
    assert (week.rows, week.compared, week.idle) == ((), 1, 1)
