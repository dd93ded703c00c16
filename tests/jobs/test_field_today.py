import datetime as dt

import pytest
from django.utils import timezone

from jobs.actions.field import start_visit
from jobs.queries.field import today_stops
from tests import factories

DAY = dt.date(2026, 10, 20)


def stop(technician, position, **odd):
    site = odd.pop("site", None) or factories.make_small_site(client_name=f"Stop {position}")
    facts = {
        "site": site,
        "kind": "winterisation",
        "technician": technician,
        "planned_on": DAY,
        "state": "planned",
        "position": position,
        "arrives_at": dt.time(7 + position, 15),
    }
    return factories.VisitFactory(**facts | odd)


def names(stops):
    return [found.visit.site.name for found in stops]


def test_stops_stand_in_route_order_whatever_order_they_were_made_in(technician):
    for position in (3, 1, 2):
        stop(technician, position)
    day = today_stops(technician, DAY)
    assert (names([day.next_stop]), names(day.later)) == (["Stop 1"], ["Stop 2", "Stop 3"])


def test_the_visit_under_way_comes_first_and_finished_ones_last(technician):
    finished, _, third = (stop(technician, position) for position in (1, 2, 3))
    now = timezone.now()
    type(finished).objects.filter(pk=finished.pk).update(state="finished", started_at=now, finished_at=now)
    start_visit(visit=third, by=technician)
    day = today_stops(technician, DAY)
    assert names([day.next_stop]) == ["Stop 3"]
    assert names(day.later) == ["Stop 2"]
    assert names(day.done) == ["Stop 1"]


def test_a_visit_left_under_way_on_an_earlier_day_is_not_forgotten(technician):
    start_visit(visit=stop(technician, 1, planned_on=DAY - dt.timedelta(days=3)), by=technician)
    day = today_stops(technician, DAY)
    assert (day.next_stop, names(day.left_open)) == (None, ["Stop 1"])


def test_other_peoples_and_cancelled_visits_are_not_shown(technician, other_technician):
    stop(other_technician, 1)
    stop(technician, 2, state="cancelled")
    day = today_stops(technician, DAY)
    assert (day.next_stop, day.later, day.done) == (None, [], [])


def test_the_counts_say_what_is_left(technician):
    visit = start_visit(visit=stop(technician, 1), by=technician)
    factories.FaultFactory(site=visit.site)
    factories.FaultFactory(site=visit.site, state="dismissed")
    found = today_stops(technician, DAY).next_stop
    assert (found.steps_done, found.steps_total) == (0, visit.checklist.items.count())
    assert (found.valves_measured, found.valves_total, found.open_faults) == (0, 2, 1)


def test_the_page_gives_arrival_map_and_phone(client, technician):
    visit = stop(technician, 1)
    visit.site.client.phone = "+1 (206) 555-0142"
    visit.site.client.save()
    client.force_login(technician)
    page = client.get("/today/?date=2026-10-20").content.decode()
    assert "08:15" in page
    assert 'href="geo:47.620000,-122.300000"' in page
    assert 'href="tel:+12065550142"' in page


def test_a_date_that_is_none_shows_today_with_a_message(client, technician):
    client.force_login(technician)
    response = client.get("/today/?date=never")
    assert response.status_code == 200
    assert "That is not a date" in response.content.decode()


@pytest.mark.parametrize("stops", [1, 3])
def test_the_day_costs_the_same_queries_however_many_stops(client, technician, stops, django_assert_num_queries):
    for position in range(1, stops + 1):
        stop(technician, position)
    client.force_login(technician)
    client.get("/today/")
    with django_assert_num_queries(5):  # session, user, firm, stops, route
        client.get("/today/?date=2026-10-20")
