import datetime as dt
import time

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from jobs.actions.planning import (
    PlannerBusy,
    PlanOutdated,
    ask_for_plan,
    plan_season,
    set_order,
    stop_plan,
    sweep_plans,
)
from jobs.actions.planning.season import _Pulse
from jobs.actions.visits import generate_visits, save_window
from jobs.core.routing.season import Progress
from jobs.core.routing.validate import season_faults
from jobs.models import Absence, DayRoute, PlanRun, SeasonWindow, ServicePlan, TechnicianProfile, Visit
from jobs.outside.roads import travel_between
from jobs.queries.days import read_days
from jobs.queries.planning import planning_technicians, season_input
from jobs.queries.service_minutes import ServiceMinutes
from jobs.queries.windows import part_of, suggested_windows
from scheduling.models import DailyWeather
from sites.core import writing
from sites.core.told import told
from sites.models import AuditEntry
from tests import factories
from tests.jobs.planning_rows import make_visits, monday_ahead, plan_request, planned

pytestmark = pytest.mark.django_db


def plan(office, **changes):
    told = {name: changes.pop(name) for name in ("progress", "stop") if name in changes}
    return plan_season(run=plan_request(office, **changes), **told)


def stored() -> dict[int, tuple]:
    return {v.pk: (v.state, v.technician_id, v.planned_on) for v in Visit.objects.order_by("pk")}


def set_windows(year: int) -> None:
    for kind, first, last in (("startup", 3, 4), ("mid_season", 6, 7), ("winterisation", 9, 10)):
        SeasonWindow.objects.create(
            season_year=year, kind=kind, opens_on=dt.date(year, first, 1), due_on=dt.date(year, last, 28)
        )


def test_every_ordered_visit_is_made_once_with_its_window_and_minutes(office, site, other_site):
    set_windows(2031)
    ServicePlan.objects.create(site=site, mid_season_visits=2)
    ServicePlan.objects.create(site=other_site, startup=False, mid_season_visits=0)
    assert generate_visits(season_year=2031, by=office) == 5
    assert generate_visits(season_year=2031, by=office) == 0
    rows = Visit.objects.filter(site=site).order_by("opens_on").values_list("kind", "sequence", "opens_on", "due_on")
    assert list(rows) == [
        ("startup", 1, dt.date(2031, 3, 1), dt.date(2031, 4, 28)),
        ("mid_season", 1, dt.date(2031, 6, 1), dt.date(2031, 6, 29)),
        ("mid_season", 2, dt.date(2031, 6, 30), dt.date(2031, 7, 28)),
        ("winterisation", 1, dt.date(2031, 9, 1), dt.date(2031, 10, 28)),
    ]
    startup = Visit.objects.get(site=site, kind="startup")
    assert startup.service_min == ServiceMinutes([site]).at(site, "startup").minutes
    assert AuditEntry.objects.filter(verb="visits generated", by=office).count() == 2


def test_a_cancelled_visit_is_not_made_again_and_an_archived_site_gets_none(office, site, other_site):
    set_windows(2031)
    ServicePlan.objects.create(site=site, mid_season_visits=0, winterisation=False)
    ServicePlan.objects.create(site=other_site)
    other_site.archived_at = timezone.now()
    other_site.save()
    assert generate_visits(season_year=2031, by=office) == 1
    Visit.objects.update(state="cancelled")
    assert generate_visits(season_year=2031, by=office) == 0


def test_a_site_that_joins_in_autumn_gets_no_startup_beside_its_winterisation(office, site):
    set_windows(2031)
    ServicePlan.objects.create(site=site)
    assert generate_visits(season_year=2031, by=office, today=dt.date(2031, 9, 5)) == 1
    assert Visit.objects.get(site=site).kind == "winterisation"


def test_missing_windows_are_named(office, site):
    ServicePlan.objects.create(site=site, startup=False)
    with pytest.raises(ValidationError, match="mid-season check, winterization"):
        generate_visits(season_year=2031, by=office)
    assert Visit.objects.count() == 0


def test_the_sites_own_history_replaces_the_usual_minutes(site):
    start = dt.datetime(2025, 4, 1, 16, tzinfo=dt.UTC)
    end = start + dt.timedelta(minutes=85)
    factories.VisitFactory(site=site, state="finished", started_at=start, finished_at=end)
    answer = ServiceMinutes([site]).at(site, "startup")
    assert (answer.minutes, answer.source) == (85, "median of 1 earlier visits here")


def test_visits_follow_a_window_unless_promised_or_with_dates_of_their_own(office, site):
    set_windows(2031)
    old = {"season_year": 2031, "opens_on": dt.date(2031, 3, 1), "due_on": dt.date(2031, 4, 28)}
    follows = factories.VisitFactory(**old)
    promised = factories.VisitFactory(**old, promised=True)
    own = factories.VisitFactory(**{**old, "due_on": dt.date(2031, 4, 20)}, own_dates=True)
    new = {"opens_on": dt.date(2031, 3, 10), "due_on": dt.date(2031, 5, 5)}
    assert (
        save_window(window=SeasonWindow(season_year=2031, kind="startup", reason="late spring", **new), by=office)
        == 1
    )
    dates = {v.pk: (v.opens_on, v.due_on) for v in Visit.objects.all()}
    assert dates[follows.pk] == (new["opens_on"], new["due_on"])
    assert dates[promised.pk] == (old["opens_on"], old["due_on"])
    assert dates[own.pk] == (old["opens_on"], dt.date(2031, 4, 20))


def test_parts_of_a_window_cover_it_without_overlap():
    window = SeasonWindow(opens_on=dt.date(2031, 6, 1), due_on=dt.date(2031, 8, 31))
    parts = [part_of(window, n, 3) for n in (1, 2, 3)]
    assert parts[0][0] == window.opens_on and parts[-1][1] == window.due_on
    assert [b[0] - a[1] for a, b in zip(parts, parts[1:], strict=False)] == [dt.timedelta(days=1)] * 2


def test_windows_are_suggested_from_the_stations_freezes_with_the_reason(site):
    # Every spring's last hard freeze on day 79 of the year, every autumn's first on day 298, for 25 years.
    cold = {dt.date(y, 1, 1) + dt.timedelta(days=n - 1) for y in range(2001, 2026) for n in (79, 298)}
    days = {day + dt.timedelta(days=n) for day in cold for n in range(-25, 26)}
    DailyWeather.objects.bulk_create(
        DailyWeather(station=site.weather_station, date=day, temp_min_c=-3.0 if day in cold else 5.0) for day in days
    )
    startup, _, winterisation = suggested_windows(2031, 0.1)
    assert (startup.opens_on, winterisation.due_on) == (dt.date(2031, 3, 20), dt.date(2031, 10, 25))
    assert (
        startup.sufficient
        and "10 % chance of −2.2 °C after 20 Mar, Test station, site 80 m lower than the station"
        in told(startup.reason, "metric")
    )


def test_without_any_record_no_dates_are_invented(site):
    startup, mid_season, winterisation = suggested_windows(2031, 0.1)
    assert not (startup.usable or mid_season.usable or winterisation.usable)
    assert "no usable season" in startup.reason


def test_a_plan_is_stored_whole_and_the_independent_validator_finds_nothing(office, technician, other_technician):
    visits = make_visits(14)
    summary = plan(office)
    assert (summary.asked, summary.newly_planned, summary.unplaced) == (14, 14, ())
    assert set(Visit.objects.values_list("state", flat=True)) == {"planned"}
    monday = monday_ahead()
    people = planning_technicians()
    routes = {}
    for date in (monday + dt.timedelta(days=n) for n in range(12)):
        for day in read_days(date, people):
            if day.to_do:
                routes[str(day.technician), date] = day.in_order(day.to_do)
    Visit.objects.update(state="open")  # as the validator must know them: free to go anywhere
    given = season_input(plan_request(None), today=monday, technicians=people)
    travel = travel_between([v.point for v in given.visits] + [d.shift.start_point for d in given.days])
    assert season_faults(routes, given.visits, given.days, travel) == ()
    assert sum(len(route.stops) for route in routes.values()) == len(visits)
    assert DayRoute.objects.count() == len(routes)
    assert sum(r.drive_min for r in DayRoute.objects.all()) == pytest.approx(summary.drive_min)
    assert sum(route.drive_s for route in routes.values()) / 60 == pytest.approx(summary.drive_min)


def test_the_same_seed_gives_the_same_plan(office, technician, other_technician):
    make_visits(9)
    plan(office, seed=7)
    first = stored()
    Visit.objects.update(state="open", technician=None, planned_on=None, position=None)
    plan(office, seed=7)
    assert stored() == first


def test_promised_and_started_visits_never_move(office, technician, other_technician):
    monday = monday_ahead()
    promised, started, *_ = make_visits(8)
    planned(promised, other_technician, monday + dt.timedelta(days=9), promised=True, promised_time=dt.time(13, 10))
    planned(started, technician, monday, state="started", started_at=timezone.now())
    before = stored()
    plan(office)
    after = stored()
    assert {pk: after[pk] for pk in (promised.pk, started.pk)} == {pk: before[pk] for pk in (promised.pk, started.pk)}
    promised.refresh_from_db()
    assert promised.arrives_at == dt.time(13, 10)
    assert all(state == "planned" for pk, (state, *_) in after.items() if pk != started.pk)


def test_a_promise_on_a_day_away_stays_and_is_told(office, technician):
    monday = monday_ahead()
    promised, _ = make_visits(2)
    planned(promised, technician, monday, promised=True)
    Absence.objects.create(technician=technician, starts_on=monday, ends_on=monday)
    summary = plan(office)
    promised.refresh_from_db()
    assert (promised.planned_on, summary.placed) == (monday, 1)
    (warning,) = summary.warnings
    assert warning.startswith(f"{promised.site} on {writing.day_month(monday)} with {technician} is fixed and stays")


def test_a_day_ordered_by_hand_keeps_its_order_when_it_gains_nothing(office, technician):
    monday = monday_ahead()
    rows = [planned(v, technician, monday, promised=True) for v in make_visits(4)]
    ids = [visit.pk for visit in rows]
    set_order(technician=technician, date=monday, visit_ids=ids, by=office)
    plan(office)
    assert list(Visit.objects.order_by("position").values_list("pk", flat=True)) == ids


def test_planned_visits_stay_when_asked_to(office, technician):
    monday = monday_ahead()
    stays, *_ = make_visits(4)
    planned(stays, technician, monday + dt.timedelta(days=10))
    summary = plan(office, keep_planned=True)
    stays.refresh_from_db()
    assert (stays.planned_on, summary.asked, summary.held) == (monday + dt.timedelta(days=10), 3, 1)


def test_absences_weekends_and_closed_weekdays_are_kept_free(office, technician):
    monday = monday_ahead()
    visits = make_visits(6)
    Absence.objects.create(technician=technician, starts_on=monday, ends_on=monday + dt.timedelta(days=3))
    site = visits[0].site
    site.open_weekdays = [1]
    site.save()
    plan(office)
    days = dict(Visit.objects.values_list("pk", "planned_on"))
    assert days[visits[0].pk] == monday + dt.timedelta(days=8)
    assert min(days.values()) >= monday + dt.timedelta(days=4)
    assert {date.weekday() for date in days.values()} <= {0, 1, 2, 3, 4}


def test_what_cannot_be_served_is_told_with_what_would_free_it(office, technician):
    monday = monday_ahead()
    make_visits(12, service_min=240, due_on=monday + dt.timedelta(days=1))
    summary = plan(office)
    assert len(summary.unplaced) == 12 - summary.placed > 0
    row = summary.unplaced[0]
    assert "full" in row.reason and row.remedies
    assert Visit.objects.filter(state="open").count() == len(summary.unplaced)


def test_a_late_visit_is_planned_soon_and_counted_as_late(office, technician):
    monday = monday_ahead()
    long_ago = monday - dt.timedelta(days=60)
    make_visits(1, opens_on=long_ago, due_on=long_ago + dt.timedelta(days=20))
    summary = plan(office)
    assert (summary.placed, summary.late) == (1, 1)


def test_a_visit_missed_on_a_past_day_is_planned_again(office, technician):
    (missed,) = make_visits(1)
    planned(missed, technician, monday_ahead() - dt.timedelta(days=40))
    assert plan(office).moved == 1
    missed.refresh_from_db()
    assert missed.planned_on >= monday_ahead()


def test_a_second_planner_is_told_that_one_is_at_work(office, technician):
    make_visits(3)
    refused = []

    def another(step) -> None:
        if not refused:
            with pytest.raises(PlannerBusy, match="being computed"):
                plan(office)
            refused.append(step.stage)

    assert plan(office, progress=another).placed == 3
    assert refused
    assert plan(office).placed == 3  # free again


def test_nothing_is_stored_when_a_visit_changed_while_the_plan_was_computed(office, technician):
    first, second, third = make_visits(3)
    changed = []

    def edit(step) -> None:
        if not changed:
            changed.append(Visit.objects.filter(pk=second.pk).update(service_min=95))

    with pytest.raises(PlanOutdated, match="One visit changed while the plan was computed"):
        plan(office, progress=edit)
    assert set(Visit.objects.values_list("state", flat=True)) == {"open"}
    assert DayRoute.objects.count() == 0
    run = PlanRun.objects.get()
    assert run.state == "failed" and "One visit changed" in run.error


def test_nothing_is_stored_when_somebody_falls_ill_while_the_plan_was_computed(office, technician):
    make_visits(2)

    def ill(step) -> None:
        on = monday_ahead()
        Absence.objects.get_or_create(technician=technician, starts_on=on, ends_on=on)

    with pytest.raises(PlanOutdated, match="working days changed"):
        plan(office, progress=ill)
    assert DayRoute.objects.count() == 0


def test_a_planner_that_died_does_not_block_the_next(office, technician):
    make_visits(1)
    monday = monday_ahead()
    days = {"first_day": monday, "last_day": monday + dt.timedelta(days=3)}
    dead = ask_for_plan(run=PlanRun(season_year=monday.year, kinds=["startup"], asked_by=office, **days))
    PlanRun.objects.update(state="running", heard_at=timezone.now() - dt.timedelta(minutes=30))
    assert plan(office).placed == 1
    dead.refresh_from_db()
    assert dead.state == "failed"


def test_waiting_plans_are_swept_and_a_stopped_one_is_dropped(office, technician):
    make_visits(2)
    monday = monday_ahead()
    days = {"first_day": monday, "last_day": monday + dt.timedelta(days=3), "rounds": 1}
    dropped = ask_for_plan(run=PlanRun(season_year=monday.year, kinds=["startup"], asked_by=office, **days))
    stop_plan(run=dropped, by=office)
    kept = ask_for_plan(run=PlanRun(season_year=monday.year, kinds=["startup"], asked_by=office, **days))
    assert sweep_plans() == 1
    assert dict(PlanRun.objects.values_list("pk", "state")) == {dropped.pk: "failed", kept.pk: "proposed"}


def test_a_wish_to_stop_ends_the_search_with_a_valid_plan(office, technician):
    make_visits(6)
    summary = plan(office, stop=lambda: True)
    assert (summary.placed, summary.stopped_early) == (6, True)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"kinds": []}, "Choose kinds"),
        ({"kinds": ["picnic"]}, "Choose kinds"),
        ({"first_day": dt.date(2020, 1, 1)}, "that day is past"),
        ({"last_day": dt.date(2020, 1, 1)}, "must not lie before"),
        ({"last_day": dt.date(2050, 1, 1)}, "at most"),
    ],
)
def test_impossible_wishes_are_refused_in_words(office, technician, changes, words):
    with pytest.raises(ValidationError, match=words):
        plan(office, **changes)
    assert PlanRun.objects.count() == 0


def test_without_working_hours_or_days_the_plan_says_so(office, technician):
    make_visits(1)
    TechnicianProfile.objects.update(working_weekdays=[])
    with pytest.raises(ValidationError, match="Nobody works between"):
        plan(office)
    TechnicianProfile.objects.all().delete()
    with pytest.raises(ValidationError, match="No technician has working hours"):
        plan(office)


def test_the_row_tells_a_step_that_came_between_two_signs_of_life(office, technician, monkeypatch):
    """The search asks far oftener whether to stop than it tells a step; that must not hide the step."""
    monkeypatch.setattr("jobs.actions.planning.season.HEARTBEAT_S", 0.05)
    monday = monday_ahead()
    run = ask_for_plan(
        run=PlanRun(season_year=monday.year, kinds=["startup"], first_day=monday, last_day=monday, asked_by=office)
    )
    pulse = _Pulse(run, time.monotonic(), None, None)
    pulse.stop()
    pulse.report(Progress("making room", 3, 20, 1, 311.4, lambda: None))
    time.sleep(0.06)
    pulse.stop()
    run.refresh_from_db()
    assert (run.progress["stage"], run.progress["done"], run.progress["drive_min"]) == ("making room", 3, 311)
