"""The season board follows a plan that is being computed without being touched."""

import datetime as dt

import pytest

from jobs.actions.planning import ask_for_plan
from jobs.models import PlanRun
from tests.jobs.planning_rows import monday_ahead

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_the_board_shows_the_progress_and_the_end_by_itself(open_as, office, technician):
    monday = monday_ahead()
    run = ask_for_plan(
        run=PlanRun(
            season_year=monday.year,
            kinds=["startup"],
            first_day=monday,
            last_day=monday + dt.timedelta(days=4),
            asked_by=office,
        )
    )
    page = open_as(office)
    page.goto(f"/season/?year={monday.year}&kind=startup#plan")  # as the form leaves it, with its anchor
    assert "It has not begun yet" in page.locator("main").inner_text()
    progress = {"stage": "improving days together", "done": 7, "total": 20, "unplaced": 0, "drive_min": 311}
    PlanRun.objects.filter(pk=run.pk).update(state="running", progress=progress)
    page.get_by_text("step 7 of 20").wait_for(timeout=15_000)
    PlanRun.objects.filter(pk=run.pk).update(state="failed", error="Nobody works then.")
    page.get_by_text("The last plan was not stored: Nobody works then.").wait_for(timeout=15_000)
    assert "kind=startup" in page.url
