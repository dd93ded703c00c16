"""Several people plan at one moment on PostgreSQL: they queue, and nobody's stop lands on another's place."""

import datetime as dt
import os
import threading

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from jobs.actions.planning import accept_plan, ask_for_plan, assign, run_plan
from jobs.models import PlanRun, Visit
from tests.jobs.planning_rows import make_visits, monday_ahead

pytestmark = [
    pytest.mark.services,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(
        not os.environ.get("DATABASE_URL", "").startswith("postgres"),
        reason="needs a PostgreSQL DATABASE_URL; see .ci/services",
    ),
]


def proposed(office, seed: int) -> PlanRun:
    monday = monday_ahead()
    request = PlanRun(
        season_year=monday.year,
        kinds=["startup"],
        first_day=monday,
        last_day=monday + dt.timedelta(days=1),
        seed=seed,
        rounds=2,
        asked_by=office,
    )
    run = ask_for_plan(run=request)
    run_plan(run_pk=run.pk)
    run.refresh_from_db()
    return run


def at_once(*works) -> list[str]:
    """Run them in threads that begin together; the name of what each raised, empty where nothing was."""
    start, told = threading.Barrier(len(works)), [""] * len(works)

    def press(n: int) -> None:
        start.wait()
        try:
            works[n]()
        except Exception as error:
            told[n] = type(error).__name__ if isinstance(error, ValidationError) else repr(error)
        finally:
            connection.close()

    threads = [threading.Thread(target=press, args=(n,)) for n in range(len(works))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    return told


@pytest.mark.parametrize("again", range(3))
def test_of_two_plans_accepted_at_once_one_stands(office, technician, other_technician, again):
    make_visits(8)
    one, two = proposed(office, 1), proposed(office, 2)
    told = at_once(lambda: accept_plan(run=one, by=office), lambda: accept_plan(run=two, by=office))
    assert sorted(map(bool, told)) == [False, True]
    assert max(told) in ("ValidationError", "PlanOutdated")
    assert sorted(PlanRun.objects.values_list("state", flat=True)) == ["discarded", "done"]


@pytest.mark.parametrize("again", range(3))
def test_a_plan_accepted_while_somebody_plans_by_hand_leaves_no_two_stops_on_one_place(office, technician, again):
    make_visits(6)
    run = proposed(office, 1)
    repairs = make_visits(2, kind="repair")
    told = at_once(
        lambda: accept_plan(run=run, by=office),
        *(
            lambda visit=visit: assign(
                visit=visit, technician=technician, planned_on=monday_ahead(), knowingly=True, by=office
            )
            for visit in repairs
        ),
    )
    assert set(told) <= {"", "PlanOutdated"}  # whoever came after the hand-planned stop plans again
    for day in {visit.planned_on for visit in Visit.objects.exclude(planned_on=None)}:
        rows = Visit.objects.filter(planned_on=day).order_by("position")
        assert list(rows.values_list("position", flat=True)) == list(range(1, rows.count() + 1))
        times = list(rows.values_list("arrives_at", flat=True))
        assert times == sorted(set(times))
