import datetime as dt
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from jobs.models import DayRoute, SeasonWindow, ServicePlan, Visit
from tests.jobs.planning_rows import make_visits, monday_ahead, planned

pytestmark = pytest.mark.django_db


def run(*args) -> str:
    out = StringIO()
    call_command(*args, stdout=out, stderr=out)
    return out.getvalue()


def test_a_season_is_planned_with_progress_and_a_summary(technician):
    monday = monday_ahead()
    make_visits(5)
    until = str(monday + dt.timedelta(days=4))
    text = run("plan_season", monday.year, "--kind", "startup", "--from", str(monday), "--to", until)
    assert "first plan: 0 not placed" in text
    assert "5 visits to plan: 5 newly planned, 0 moved, 0 stayed, 0 not placed; 0 fixed before." in text
    assert set(Visit.objects.values_list("state", flat=True)) == {"planned"}


def test_the_season_can_be_made_and_planned_in_one_command(technician, site):
    monday = monday_ahead()
    ServicePlan.objects.create(site=site, mid_season_visits=0, winterisation=False)
    window = {"opens_on": monday, "due_on": monday + dt.timedelta(days=4)}
    SeasonWindow.objects.create(season_year=monday.year, kind="startup", **window)
    text = run("plan_season", monday.year, "--make-visits")
    assert text.startswith(f"1 visits of {monday.year} made.\n")
    assert Visit.objects.get().state == "planned"


def test_visits_without_a_place_are_listed_with_the_reason(technician):
    monday = monday_ahead()
    make_visits(1, service_min=700)
    text = run("plan_season", monday.year, "--from", str(monday), "--to", str(monday))
    assert "1 not placed" in text and "fit no shift" in text


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["2031"], "has no window ahead"),
        (["2031", "--kind", "picnic"], "No kind of visit picnic"),
        (["2031", "--from", "soon", "--to", "2031-05-01"], "--from 'soon' is not a date"),
        (["2031", "--from", "2031-05-02", "--to", "2031-05-01"], "must not lie before the first"),
        (["2031", "--from", "2020-05-02", "--to", "2020-05-05"], "that day is past"),
        (["2031", "--from", "2031-05-02", "--to", "2031-05-05", "--seconds", "0"], "--seconds must be"),
        (["2031", "--from", "2031-05-02", "--to", "2031-05-05", "--seed", "-1"], "--seed must lie"),
    ],
)
def test_a_wrong_season_wish_is_one_line_and_exit_code_one(technician, args, words):
    with pytest.raises(CommandError, match=words) as refused:
        run("plan_season", *args)
    assert refused.value.returncode == 1 and "\n" not in str(refused.value)


def test_a_day_is_planned_for_everybody_or_for_one(technician, other_technician):
    monday = monday_ahead()
    first, second = make_visits(2)
    planned(first, technician, monday)
    planned(second, other_technician, monday)
    assert run("plan_day", str(monday), "--technician", "tess").startswith("tess: ")
    assert DayRoute.objects.count() == 1
    assert len(run("plan_day", str(monday)).splitlines()) == 2
    assert (
        run("plan_day", str(monday + dt.timedelta(days=1)))
        == f"No visits are planned on {monday + dt.timedelta(days=1)}.\n"
    )


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["26.11."], "is not a date"),
        (["2020-01-01"], "is past"),
        (["2031-05-01", "--technician", "nobody"], "No technician 'nobody'"),
    ],
)
def test_a_wrong_day_wish_is_one_line_and_exit_code_one(technician, args, words):
    with pytest.raises(CommandError, match=words) as refused:
        run("plan_day", *args)
    assert refused.value.returncode == 1 and "\n" not in str(refused.value)
