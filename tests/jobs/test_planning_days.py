import datetime as dt
import json
import zoneinfo

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from jobs.actions.planning import (
    Doubtful,
    add_visit,
    assign,
    cancel_visit,
    change_visit,
    move,
    pin,
    plan_day,
    set_order,
    unassign,
)
from jobs.core.routing.day import Shift, Stop
from jobs.core.routing.day_route import plan_day as core_plan_day
from jobs.core.routing.travel import GreatCircle, Point
from jobs.models import Absence, DayRoute, Visit
from jobs.queries.day_board import day_board
from jobs.queries.planning import firm_today
from sites.models import AuditEntry
from tests.jobs.planning_rows import PLACES, make_visits, monday_ahead, planned

pytestmark = pytest.mark.django_db


@pytest.fixture
def day(technician):
    """Five visits on Tess's Monday, in the order they were made."""
    return [planned(v, technician, monday_ahead(), position=n) for n, v in enumerate(make_visits(5), start=1)]


def order_of(technician) -> list[int]:
    rows = Visit.objects.filter(technician=technician, planned_on=monday_ahead()).order_by("position")
    return list(rows.values_list("pk", flat=True))


def seconds(clock: dt.time) -> int:
    return clock.hour * 3600 + clock.minute * 60 + clock.second


def test_a_planned_day_is_the_cores_own_answer_to_the_second(office, technician, day):
    (row,) = plan_day(date=monday_ahead(), by=office)
    # Built here from the plain figures of the factories, not by the code under test.
    yard = Point(47.60, -122.33)
    shift = Shift(7 * 60 + 30, 16 * 60 + 30, yard, yard, lunch_min=30)
    stops = [Stop(str(v.pk), *place, 60, 7 * 60, 18 * 60) for v, place in zip(day, PLACES, strict=False)]
    travel = GreatCircle().matrix([yard, *(stop.point for stop in stops)])
    route = core_plan_day(stops, shift, travel, seed=1)
    assert route.proven_optimal
    visits = Visit.objects.in_bulk(map(int, route.keys))
    assert order_of(technician) == [int(key) for key in route.keys]
    assert [seconds(visits[int(s.key)].arrives_at) for s in route.stops] == [s.start_s for s in route.stops]
    assert [seconds(visits[int(s.key)].leaves_at) for s in route.stops] == [s.departure_s for s in route.stops]
    assert (row.drive_min, row.drive_km) == pytest.approx((route.drive_min, route.drive_km))
    assert (seconds(row.lunch_at), seconds(row.back_at)) == (route.lunch.start_s, route.finish_s)
    assert (row.travel_source, row.warnings) == ("great circle", [])


def test_the_board_shows_the_stored_times(office, technician, day):
    plan_day(date=monday_ahead(), technician=technician, by=office)
    (card,) = day_board(date=monday_ahead(), today=firm_today()).cards
    stored = Visit.objects.order_by("position")
    assert [line.starts for line in card.lines] == [f"{visit.arrives_at:%H:%M}" for visit in stored]
    assert not card.stale and not card.warnings


def test_ordering_twice_changes_nothing(office, technician, day):
    (first,) = plan_day(date=monday_ahead(), by=office)
    (second,) = plan_day(date=monday_ahead(), by=office)
    assert (first.pk, first.drive_min) == (DayRoute.objects.get().pk, second.drive_min)


def test_an_order_by_hand_is_kept_and_its_times_computed(office, technician, day):
    ids = [visit.pk for visit in reversed(day)]
    row = set_order(technician=technician, date=monday_ahead(), visit_ids=ids, by=office)
    assert order_of(technician) == ids
    times = list(Visit.objects.order_by("position").values_list("arrives_at", flat=True))
    assert times == sorted(times) and row.back_at > times[-1]


def test_broken_opening_hours_are_told_not_refused(office, technician, day):
    last = day[-1].site
    last.closes_at = dt.time(8, 45)
    last.save()
    row = set_order(technician=technician, date=monday_ahead(), visit_ids=[v.pk for v in day], by=office)
    assert any(str(last) in text and "must be finished by 08:45" in text for text in row.warnings)
    (better,) = plan_day(date=monday_ahead(), by=office)
    assert (better.warnings, order_of(technician)[0]) == ([], day[-1].pk)


def test_a_list_that_is_not_the_day_is_refused(office, technician, day):
    with pytest.raises(ValidationError, match="has changed"):
        set_order(technician=technician, date=monday_ahead(), visit_ids=[day[0].pk], by=office)


def test_a_stop_moves_one_place_and_stops_at_the_ends(office, technician, day):
    a, b, *rest = (visit.pk for visit in day)
    move(visit=day[0], steps=1, by=office)
    assert order_of(technician) == [b, a, *rest]
    day[1].refresh_from_db()
    move(visit=day[1], steps=-1, by=office)
    assert order_of(technician) == [b, a, *rest]


def test_a_promised_time_holds_in_the_best_order(office, technician, day):
    pin(visit=day[2], promised=True, promised_time=dt.time(11, 15), by=office)
    (row,) = plan_day(date=monday_ahead(), by=office)
    day[2].refresh_from_db()
    assert (day[2].arrives_at, row.warnings) == (dt.time(11, 15), [])


def test_hours_told_before_the_site_opens_do_not_let_work_begin_before_it_opens(office, technician, day):
    first = day[0]
    first.site.opens_at, first.site.closes_at = dt.time(8), dt.time(16)
    first.site.save()
    hours = {"promised_time": dt.time(7, 30), "promised_until": dt.time(9, 30)}
    pin(visit=first, promised=True, **hours, by=office)
    plan_day(date=monday_ahead(), by=office)
    first.refresh_from_db()
    assert dt.time(8) <= first.arrives_at <= dt.time(9, 30)


def test_a_day_under_way_keeps_its_beginning_and_plans_the_rest_from_there(office, technician):
    today = firm_today()
    technician.technician_profile.working_weekdays = [0, 1, 2, 3, 4, 5, 6]
    technician.technician_profile.save()
    done, *rest = (planned(v, technician, today, position=n) for n, v in enumerate(make_visits(3), start=1))
    zone = zoneinfo.ZoneInfo("America/Los_Angeles")
    start, end = (dt.datetime.combine(today, dt.time(h, m), tzinfo=zone) for h, m in ((9, 0), (10, 5)))
    Visit.objects.filter(pk=done.pk).update(state="finished", started_at=start, finished_at=end)
    (row,) = plan_day(date=today, by=office)
    rows = {v.pk: v for v in Visit.objects.all()}
    assert rows[done.pk].position == 1
    assert sorted(rows[v.pk].position for v in rest) == [2, 3]
    assert all(rows[v.pk].arrives_at > dt.time(10, 5) for v in rest)
    # Around the yard and back: the first drive counts, though it is over.
    yard = Point(47.60, -122.33)
    order = sorted((v for v in rows.values()), key=lambda v: v.position)
    points = [yard, *(Point(v.site.latitude, v.site.longitude) for v in order), yard]
    assert row.drive_min == pytest.approx(GreatCircle().path(points).seconds / 60)


def test_a_visit_is_assigned_where_it_costs_least_and_both_days_get_new_times(
    office, technician, other_technician, day
):
    plan_day(date=monday_ahead(), by=office)
    before = DayRoute.objects.get(technician=technician).drive_min
    tuesday = monday_ahead() + dt.timedelta(days=1)
    moved = assign(visit=day[0], technician=other_technician, planned_on=tuesday, by=office)
    assert (moved.technician, moved.planned_on, moved.position) == (other_technician, tuesday, 1)
    assert DayRoute.objects.get(technician=technician).drive_min < before
    assert DayRoute.objects.get(technician=other_technician).drive_min > 0
    assert order_of(technician) == list(
        Visit.objects.filter(technician=technician).order_by("arrives_at").values_list("pk", flat=True)
    )
    assert AuditEntry.objects.get(verb="visit assigned").by == office


def test_a_day_that_lost_its_last_visit_keeps_no_route(office, technician):
    (visit,) = make_visits(1)
    assign(visit=visit, technician=technician, planned_on=monday_ahead(), by=office)
    assert DayRoute.objects.count() == 1
    unassign(visit=visit, by=office)
    visit.refresh_from_db()
    assert (visit.state, visit.technician, visit.planned_on, visit.arrives_at) == ("open", None, None, None)
    assert DayRoute.objects.count() == 0


def test_absence_closed_days_and_deadlines_are_warned_of(office, technician):
    sunday = monday_ahead() + dt.timedelta(days=13)
    (visit,) = make_visits(1)
    visit.site.open_weekdays = [0]
    visit.site.save()
    Absence.objects.create(technician=technician, starts_on=sunday, ends_on=sunday, reason="course")
    to = {"visit": visit, "technician": technician, "planned_on": sunday, "by": office}
    with pytest.raises(Doubtful) as asked:
        assign(**to)
    assert asked.value.message_dict == {
        "planned_on": ["Closed on Sundays.", "2 days after its deadline."],
        "technician": [f"{technician} is away: course."],
    }
    assert not Visit.objects.filter(planned_on=sunday).exists()
    assign(**to, knowingly=True)
    assert DayRoute.objects.get().warnings == [
        f"{technician} is away: course",
        f"{visit.site}, startup: closed on Sundays",
        f"{visit.site}, startup: 2 days after its deadline",
    ]


def test_a_promised_visit_is_moved_only_after_the_promise_is_taken_back(office, technician, other_technician, day):
    visit = pin(visit=day[0], promised=True, by=office)
    to = {"technician": other_technician, "planned_on": monday_ahead(), "by": office}
    with pytest.raises(ValidationError, match="Withdraw the promise first"):
        assign(visit=visit, **to)
    with pytest.raises(ValidationError, match="Withdraw the promise first"):
        unassign(visit=visit, by=office)
    pin(visit=visit, promised=False, by=office)
    assert assign(visit=visit, **to).technician == other_technician


def test_nothing_is_planned_into_the_past(office, technician, day):
    yesterday = firm_today() - dt.timedelta(days=1)
    for attempt in (
        lambda: plan_day(date=yesterday, by=office),
        lambda: set_order(technician=technician, date=yesterday, visit_ids=[], by=office),
        lambda: assign(visit=day[0], technician=technician, planned_on=yesterday, by=office),
    ):
        with pytest.raises(ValidationError, match="is past"):
            attempt()


def test_a_cancelled_visit_gives_its_place_back_and_keeps_the_reason(office, technician, day):
    plan_day(date=monday_ahead(), by=office)
    before = DayRoute.objects.get().drive_min
    with pytest.raises(ValidationError, match="Say why"):
        cancel_visit(visit=day[0], reason="  ", by=office)
    cancel_visit(visit=day[0], reason="The client sold the house.", by=office)
    assert DayRoute.objects.get().drive_min < before
    assert sorted(Visit.objects.filter(state="planned").values_list("position", flat=True)) == [1, 2, 3, 4]
    assert AuditEntry.objects.get(verb="visit cancelled").detail["reason"] == "The client sold the house."
    with pytest.raises(ValidationError, match="was cancelled"):
        assign(visit=day[0], technician=technician, planned_on=monday_ahead(), by=office)


def test_a_started_visit_is_neither_moved_nor_cancelled(office, technician, day):
    Visit.objects.filter(pk=day[0].pk).update(state="started", started_at=dt.datetime.now(dt.UTC))
    for attempt in (
        lambda: cancel_visit(visit=day[0], reason="x", by=office),
        lambda: unassign(visit=day[0], by=office),
        lambda: assign(visit=day[0], technician=technician, planned_on=monday_ahead(), by=office),
    ):
        with pytest.raises(ValidationError, match="has started"):
            attempt()


def test_longer_work_shifts_the_rest_of_the_day(office, technician, day):
    plan_day(date=monday_ahead(), by=office)
    first = Visit.objects.get(pk=order_of(technician)[0])
    back = DayRoute.objects.get().back_at
    change_visit(visit=first, changes={"service_min": 90}, by=office)
    later = DayRoute.objects.get().back_at
    assert (seconds(later) - seconds(back)) == 30 * 60
    with pytest.raises(ValidationError) as refused:
        change_visit(visit=first, changes={"opens_on": first.due_on + dt.timedelta(days=1)}, by=office)
    assert "latest date must be on or after" in str(refused.value)


def test_a_repair_is_added_on_request_as_often_as_needed(office, site):
    today = firm_today()
    fields = {"site": site, "opens_on": today, "due_on": today, "service_min": 40}
    first = add_visit(visit=Visit(**fields), by=office)
    second = add_visit(visit=Visit(**fields, instructions="Bring a pump."), by=office)
    assert [(v.kind, v.state, v.sequence) for v in (first, second)] == [("repair", "open", 1), ("repair", "open", 2)]


def test_nobody_is_kept_waiting_while_the_road_server_is_asked(transactional_db, technician, settings, monkeypatch):
    """Asked once and outside of every transaction; what it answered is kept and read while the planners queue."""
    rows = [planned(v, technician, monday_ahead(), position=n) for n, v in enumerate(make_visits(3), start=1)]
    held = []

    def fetch(url: str) -> tuple[int, bytes]:
        held.append(connection.in_atomic_block)
        count = url.split("/driving/")[1].split("?")[0].count(";") + 1
        legs = [[60.0 * (a != b) for b in range(count)] for a in range(count)]
        near = [{"distance": 0}] * count
        answer = {"code": "Ok", "durations": legs, "distances": legs, "sources": near, "destinations": near}
        return 200, json.dumps(answer).encode()

    settings.OSRM_URL = "http://127.0.0.1:9"
    monkeypatch.setattr("jobs.outside.roads.fetch", fetch)
    (row,) = plan_day(date=monday_ahead(), by=None)
    assert held == [False]
    assert row.travel_source == "road server"
    assert row.drive_min == len(rows) + 1
