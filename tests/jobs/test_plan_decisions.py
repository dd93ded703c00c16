"""A season plan waits for a decision: compared with others and with what stands, accepted once, or discarded."""

import datetime as dt
import importlib

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.actions.planning import PlanOutdated, accept_plan, ask_for_plan, discard_plan, plan_season, run_plan
from jobs.models import Absence, DayRoute, PlanRun, SeasonWindow, Visit, VisitTerms
from jobs.queries.plan_comparison import compare_plans
from jobs.queries.planning import firm_today
from tests.jobs.planning_rows import make_visits, monday_ahead, plan_request, planned

pytestmark = pytest.mark.django_db


def proposed(office, **changes) -> PlanRun:
    run = ask_for_plan(run=plan_request(office, **changes))
    run_plan(run_pk=run.pk)
    run.refresh_from_db()
    return run


def places() -> dict[int, tuple]:
    return {v.pk: (v.technician_id, v.planned_on) for v in Visit.objects.exclude(state="open")}


def ordered(run: PlanRun) -> dict[int, tuple]:
    return {pk: (who, dt.date.fromisoformat(on)) for who, on, ids in run.orders for pk in ids}


def test_a_proposed_plan_changes_nothing_until_it_is_accepted_to_the_letter(office, technician, other_technician):
    make_visits(8)
    run = proposed(office)
    assert (run.state, places(), DayRoute.objects.count()) == ("proposed", {}, 0)
    accept_plan(run=run, by=office)
    run.refresh_from_db()
    assert (run.state, places()) == ("done", ordered(run))
    assert sum(row.drive_min for row in DayRoute.objects.all()) == pytest.approx(run.summary["drive_min"])
    for who, on, ids in run.orders:
        rows = Visit.objects.filter(technician=who, planned_on=on).order_by("position")
        assert list(rows.values_list("pk", flat=True)) == ids


def test_accepting_is_the_same_as_planning_at_once(office, technician, other_technician):
    make_visits(8)
    accept_plan(run=proposed(office, seed=5), by=office)
    one_by_one = places()
    Visit.objects.update(state="open", technician=None, planned_on=None, position=None)
    plan_season(run=plan_request(office, seed=5))
    assert places() == one_by_one


def test_a_discarded_plan_leaves_everything_and_neither_is_decided_twice(office, technician):
    make_visits(3)
    run = proposed(office)
    discard_plan(run=run, by=office)
    assert places() == {}
    for decide in (accept_plan, discard_plan):
        with pytest.raises(ValidationError, match="decided already"):
            decide(run=run, by=office)


@pytest.mark.parametrize("change", ["visit longer", "visit gone", "somebody ill", "visit planned by hand"])
def test_a_plan_is_refused_when_something_changed_since(office, technician, other_technician, change):
    visits = make_visits(5)
    run = proposed(office)
    if change == "visit longer":
        Visit.objects.filter(pk=visits[0].pk).update(service_min=200)
    elif change == "visit gone":
        Visit.objects.filter(pk=visits[0].pk).update(state="cancelled")
    elif change == "somebody ill":
        Absence.objects.create(technician=technician, starts_on=monday_ahead(), ends_on=monday_ahead())
    else:
        planned(visits[0], technician, monday_ahead())
    before = places()
    with pytest.raises(PlanOutdated, match="Plan again"):
        accept_plan(run=run, by=office)
    assert places() == before
    run.refresh_from_db()
    assert run.state == "proposed"


def test_accepting_one_discards_the_others_of_these_days_only(office, technician):
    make_visits(4)
    later = monday_ahead() + dt.timedelta(days=30)
    elsewhere = proposed(office, first_day=later, last_day=later + dt.timedelta(days=5))
    other, chosen = proposed(office, seed=2), proposed(office, seed=3)
    accept_plan(run=chosen, by=office)
    states = dict(PlanRun.objects.values_list("pk", "state"))
    assert states == {elsewhere.pk: "proposed", other.pk: "discarded", chosen.pk: "done"}


def test_the_comparison_names_each_visit_that_lies_elsewhere(office, technician, other_technician):
    visits = make_visits(6)
    planned(visits[0], technician, monday_ahead() + dt.timedelta(days=8))
    stays = (technician.pk, monday_ahead() + dt.timedelta(days=8))
    VisitTerms.objects.create(site=visits[1].site, preferred_technician=other_technician)
    run = proposed(office)
    found = compare_plans(first=None, second=None, today=firm_today())
    assert [column.number for column in found.columns] == [0, run.pk]
    now, plan = found.columns
    assert (now.placed, now.unplaced, plan.placed, plan.unplaced) == (1, 5, 6, 0)
    expected = {pk for pk, place in ordered(run).items() if place != (stays if pk == visits[0].pk else None)}
    assert {line.visit.pk for line in found.elsewhere} == expected
    assert all(not line.first for line in found.elsewhere if line.visit.pk != visits[0].pk)
    assert compare_plans(first=run.pk, second=run.pk, today=firm_today()).elsewhere == ()


def test_the_office_compares_and_decides_on_the_page(desk, office, technician, other_technician):
    make_visits(6)
    one, two = proposed(office, seed=1), proposed(office, seed=2)
    page = desk.get(f"{reverse('jobs:plan_comparison')}?first={one.pk}&second={two.pk}").content.decode()
    assert f"Plan {one.pk}" in page and f"Plan {two.pk}" in page and "As planned now" in page
    answer = desk.post(reverse("jobs:plan_decide", args=[two.pk]), {"decision": "accept"}, follow=True)
    assert f"Plan {two.pk} is accepted" in answer.content.decode()
    assert f"Discarded with it, being for some of these days: plan {one.pk}" in answer.content.decode()
    assert places() == ordered(two)
    again = desk.post(reverse("jobs:plan_decide", args=[one.pk]), {"decision": "accept"}, follow=True)
    assert "decided already" in again.content.decode()
    assert "No plan waits" in desk.get(reverse("jobs:plan_comparison")).content.decode()
    assert desk.get(f"{reverse('jobs:plan_comparison')}?first=x&second=9").status_code == 200


def test_the_comparison_asks_as_often_for_twelve_visits_as_for_four(office, technician, other_technician):
    counts = []
    for count in (4, 8):
        make_visits(count)
        proposed(office)
        with CaptureQueriesContext(connection) as asked:
            compare_plans(first=None, second=None, today=firm_today())
        counts.append(len(asked))
        PlanRun.objects.update(state="discarded")
    assert counts[0] == counts[1]


def test_winterisations_are_spread_when_asked_and_early_else(office, technician, other_technician):
    """Ten working days: left alone they crowd the first; spread, both weeks have their part."""
    make_visits(12, kind="winterisation", service_min=45)
    monday = monday_ahead()
    friday = monday + dt.timedelta(days=4)

    def in_first_week(run: PlanRun) -> int:
        return sum(len(ids) for _, on, ids in run.orders if dt.date.fromisoformat(on) <= friday)

    early = proposed(office, kinds=["winterisation"])
    spread = proposed(office, kinds=["winterisation"], spread=True)
    assert in_first_week(early) == 12
    assert 4 <= in_first_week(spread) <= 8


def test_the_comparison_names_the_visits_against_a_wish(desk, office, technician, other_technician):
    (visit,) = make_visits(1)
    VisitTerms.objects.create(site=visit.site, preferred_technician=other_technician, preferred_weekdays=[5])
    proposed(office)
    page = desk.get(reverse("jobs:plan_comparison")).content.decode()
    assert f"wishes for {other_technician}, Saturday" in page


def test_an_older_plan_can_still_be_reached_when_the_newest_is_discarded(desk, office, technician):
    make_visits(3)
    older, newest = proposed(office, seed=1), proposed(office, seed=2)
    discard_plan(run=newest, by=office)
    board = desk.get(f"{reverse('jobs:season_board')}?year={monday_ahead().year}").content.decode()
    assert "1 plan waits for a decision" in board
    assert f"Plan {older.pk}" in desk.get(reverse("jobs:plan_comparison")).content.decode()


def test_plans_that_answer_another_question_do_not_stand_beside_it(office, technician):
    visits = make_visits(4)
    planned(visits[0], technician, monday_ahead())
    all_of_them, only_open = proposed(office), proposed(office, keep_planned=True)
    found = compare_plans(first=None, second=all_of_them.pk, today=firm_today())
    assert [column.number for column in found.columns] == [0, all_of_them.pk]
    assert (found.columns[0].placed, found.columns[0].unplaced) == (1, 3)
    assert found.others == (only_open,)
    kept = compare_plans(first=None, second=only_open.pk, today=firm_today()).columns
    assert [(column.placed, column.unplaced) for column in kept] == [(0, 3), (3, 0)]


def test_hand_set_dates_are_marked_when_the_firm_moves_to_this_version(technician):
    """The migration's own function, on rows as the version before left them."""
    mark = importlib.import_module("jobs.migrations.0013_keep_dates_set_by_hand").mark
    monday = monday_ahead()
    last = monday + dt.timedelta(days=11)
    SeasonWindow.objects.create(season_year=monday.year, kind="startup", opens_on=monday, due_on=last)
    follows, own = make_visits(2)
    Visit.objects.filter(pk=own.pk).update(due_on=monday)
    (repair,) = make_visits(1, kind="repair")
    (no_window,) = make_visits(1, kind="winterisation")
    mark(apps, None)
    marked = set(Visit.objects.filter(own_dates=True).values_list("pk", flat=True))
    assert marked == {own.pk, repair.pk, no_window.pk}
