from dataclasses import replace
from datetime import date, timedelta

import pytest

from jobs.core.routing.day import Shift
from jobs.core.routing.replan import Appointment, appointments, replan
from jobs.core.routing.season import (
    PlannableVisit,
    SeasonSettings,
    TechnicianDay,
    plan_season,
    points_needed,
)
from jobs.core.routing.travel import GreatCircle, Point
from jobs.core.routing.validate import season_faults

MONDAY = date(2025, 10, 6)
TUESDAY = MONDAY + timedelta(1)
YARD = Point(47.60, -122.30)
SETTINGS = SeasonSettings(rounds=6, part_iterations=40)


def team(days=4, names=("ana", "bo", "cy"), start=480):
    return [
        TechnicianDay(n, MONDAY + timedelta(d), Shift(start, 1020, YARD, YARD, 30))
        for d in range(days)
        for n in names
    ]


def visit(i, **more):
    where = Point(47.55 + (i * 7 % 20) / 150, -122.4 + (i * 11 % 20) / 100)
    return PlannableVisit(f"v{i}", where, 60, MONDAY, MONDAY + timedelta(3), **more)


@pytest.fixture(scope="module")
def season():
    visits, days = [visit(i) for i in range(48)], team()
    travel = GreatCircle().matrix(points_needed(visits, days))
    plan = plan_season(visits, days, travel, settings=SETTINGS)
    assert plan.unplaced == ()
    told = {
        key: replace(a, promise=(int(a.start_min) - 30, int(a.start_min) + 90)) if key[-1] in "0248" else a
        for key, a in appointments(plan).items()
    }
    return visits, days, plan, told


def again(told, visits, days):
    travel = GreatCircle().matrix(points_needed(visits, days))
    plan, diff = replan(told, visits, days, travel, settings=SETTINGS)
    assert season_faults(plan.routes, visits, days, travel) == ()
    return plan, diff


def test_without_an_upset_nothing_moves(season):
    visits, days, plan, told = season
    after, diff = again(told, visits, days)
    assert (diff.moves, diff.added, diff.removed, diff.tell_clients, diff.tell_technicians) == ((), (), (), (), ())
    assert after.assignment == plan.assignment


def test_a_technician_falls_ill_and_promises_are_kept_by_others_or_told(season):
    visits, days, _, told = season
    left = [d for d in days if (d.technician, d.date) != ("ana", MONDAY)]
    plan, diff = again(told, visits, left)
    stranded = {k for k, a in told.items() if (a.technician, a.date) == ("ana", MONDAY)}
    off = {k for k, a in told.items() if plan.assignment.get(k) != (a.technician, a.date)}
    assert stranded <= off
    assert all(told[k].promise is None for k in off - stranded)
    assert set(diff.promises_broken) <= stranded
    assert diff.tell_clients == diff.promises_broken
    assert "ana" in diff.tell_technicians
    assert not plan.unplaced or {u.key for u in plan.unplaced} <= set(told)


def test_a_cancelled_visit_moves_nobody_else_off_a_promise(season):
    visits, days, _, told = season
    gone = next(k for k in told if told[k].promise)
    plan, diff = again(told, [v for v in visits if v.key != gone], days)
    assert [a.key for a in diff.removed] == [gone]
    assert diff.tell_clients == (gone,)
    assert diff.promises_broken == ()
    assert plan.unplaced == ()


def test_an_urgent_call_out_is_served_today_and_no_promise_moves(season):
    visits, days, _, told = season
    # 10:40 on Monday: what began before is done, the rest of the day begins now.
    done = {k for k, a in told.items() if a.date == MONDAY and a.start_min < 640}
    rest = [v for v in visits if v.key not in done]
    later = [replace(d, shift=replace(d.shift, start_min=640)) if d.date == MONDAY else d for d in days]
    burst = PlannableVisit("burst", Point(47.61, -122.31), 45, MONDAY, MONDAY, hours=((640, 800),) * 7, priority=3)
    plan, diff = again({k: a for k, a in told.items() if k not in done}, [*rest, burst], later)
    assert plan.assignment["burst"][1] == MONDAY
    assert [a.key for a in diff.added] == ["burst"]
    assert diff.added[0].start_min <= 755
    assert diff.promises_broken == ()


def test_an_early_freeze_pulls_deadlines_forward(season):
    visits, days, _, told = season
    hurried = [
        replace(v, window_due=TUESDAY) if told[v.key].date > TUESDAY and not told[v.key].promise and i % 3 == 0 else v
        for i, v in enumerate(visits)
    ]
    assert hurried != list(visits)
    plan, diff = again(told, hurried, days)
    due = {v.key: v.window_due for v in hurried}
    assert all(on <= due[k] for k, (_, on) in plan.assignment.items())
    assert diff.promises_broken == ()
    assert {m.key for m in diff.moves} >= {k for k in plan.assignment if due[k] == TUESDAY}


def test_a_promise_yields_step_by_step():
    # Only bo is left, already promised elsewhere at the same hour: the second promise keeps its day, not its hour.
    visits = [visit(1), visit(2)]
    told = {
        "v1": Appointment("v1", "bo", MONDAY, 600, (600, 610)),
        "v2": Appointment("v2", "ana", MONDAY, 600, (600, 610)),
    }
    days = [d for d in team() if d.technician == "bo"]
    plan, diff = again(told, visits, days)
    assert plan.assignment == {"v1": ("bo", MONDAY), "v2": ("bo", MONDAY)}
    assert diff.promises_broken == ("v2",)
    assert diff.moves[-1].after.date == MONDAY
    assert diff.tell_technicians == ("ana", "bo")


def test_an_urgent_call_out_takes_spare_time_before_it_pushes_anybody_out():
    visits = [visit(i) for i in range(12)]
    days = team(days=1, names=("ana",))
    travel = GreatCircle().matrix(points_needed(visits, days))
    tight = SeasonSettings(rounds=3, part_iterations=40, spare_fraction=0.25)
    plan = plan_season(visits, days, travel, settings=tight)
    placed = [v for v in visits if v.key in plan.assignment]
    call = PlannableVisit("burst", YARD, 45, MONDAY, MONDAY, priority=3)
    after, diff = replan(appointments(plan), [*placed, call], days, travel_for([*placed, call], days), settings=tight)
    assert after.unplaced == ()
    assert set(after.assignment) == {*plan.assignment, "burst"}
    assert diff.tell_technicians == ("ana",)


def travel_for(visits, days):
    return GreatCircle().matrix(points_needed(visits, days))
