"""The day board: stops dropped elsewhere, promises and filter on it, and what is asked before it is stored."""

import datetime as dt
import re
from dataclasses import replace

import numpy as np
import pytest
from django.urls import reverse
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from jobs.actions.planning import assign, pin
from jobs.core.whole_minutes import whole_minutes
from jobs.models import Absence, ClosedDays, DayRoute, Skill, TechnicianProfile, Visit
from jobs.queries.day_board import card_of
from jobs.queries.days import read_days
from jobs.queries.doubts import doubts
from jobs.queries.planning import firm_today, planning_technicians
from reports.queries.run_sheet import run_sheet_data
from sites.core import writing
from sites.models import AuditEntry, User
from tests import factories
from tests.jobs.planning_rows import make_visits, monday_ahead, planned

pytestmark = pytest.mark.django_db


@pytest.fixture
def rows(technician, other_technician):
    """Three stops of Tess and two of Tom on the Monday."""
    made = make_visits(5)
    for n, visit in enumerate(made):
        planned(visit, technician if n < 3 else other_technician, monday_ahead(), position=n % 3 + 1)
    return made


def order_of(technician) -> list[int]:
    found = Visit.objects.filter(technician=technician, planned_on=monday_ahead()).order_by("position")
    return list(found.values_list("pk", flat=True))


def drop(desk, technician, visit, order, date=None, **more):
    url = reverse("jobs:day_arrange", args=[date or monday_ahead(), technician.pk])
    return desk.post(url, {"visit": visit.pk, "visits": ",".join(map(str, order)), **more})


def cards_in(answer) -> list[int]:
    return [int(pk) for pk in re.findall(r'<section class="card day" id="t(\d+)"', answer.content.decode())]


# Stops dropped


def test_a_stop_dropped_in_its_own_day_brings_back_that_card_with_new_times(desk, technician, rows):
    a, b, c = (visit.pk for visit in rows[:3])
    answer = drop(desk, technician, rows[2], [c, a, b])
    assert (answer.status_code, cards_in(answer), order_of(technician)) == (200, [technician.pk], [c, a, b])
    page = answer.content.decode()
    assert page.index(f'id="v{c}"') < page.index(f'id="v{a}"') < page.index(f'id="v{b}"')
    stored = Visit.objects.get(pk=c)
    assert f"{stored.arrives_at:%H:%M}–{stored.leaves_at:%H:%M}" in page
    assert "These times are new" not in page and "<html" not in page


def test_a_stop_dropped_at_another_technician_changes_both_days_at_once(desk, technician, other_technician, rows):
    a, b, c, d, e = (visit.pk for visit in rows)
    answer = drop(desk, other_technician, rows[1], [d, b, e])
    assert set(cards_in(answer)) == {technician.pk, other_technician.pk}
    assert (order_of(technician), order_of(other_technician)) == ([a, c], [d, b, e])
    assert Visit.objects.get(pk=b).arrives_at < Visit.objects.get(pk=e).arrives_at
    assert DayRoute.objects.count() == 2
    assert set(AuditEntry.objects.values_list("verb", flat=True)) == {"visit assigned", "day order set"}


def test_the_card_of_whoever_is_at_the_same_site_comes_back_too(desk, technician, other_technician, rows):
    third = factories.TechnicianFactory(username="thea")
    planned(rows[4], third, monday_ahead(), site=rows[0].site, sequence=2)
    answer = drop(desk, other_technician, rows[0], [rows[0].pk, rows[3].pk])
    assert set(cards_in(answer)) == {technician.pk, other_technician.pk, third.pk}
    assert f"{other_technician} is there on the same day" in answer.content.decode()
    assert f"{technician} is there on the same day" not in answer.content.decode()


@pytest.mark.parametrize("why", ["promised", "started", "finished", "gone", "unknown stop", "away"])
def test_what_may_not_be_handed_over_is_refused_with_words_and_nothing_changes(
    desk, office, technician, other_technician, rows, why
):
    visit, order = rows[0], [rows[3].pk, rows[0].pk, rows[4].pk]
    started = {"started_at": timezone.now() - dt.timedelta(hours=1)}
    if why == "promised":
        pin(visit=visit, promised=True, by=office)
    elif why == "started":
        Visit.objects.filter(pk=visit.pk).update(state="started", **started)
    elif why == "finished":
        Visit.objects.filter(pk=visit.pk).update(state="finished", finished_at=timezone.now(), **started)
    elif why == "gone":
        planned(visit, technician, monday_ahead() + dt.timedelta(days=1))
    elif why == "unknown stop":
        order.append(rows[1].pk)
    else:
        Absence.objects.create(
            technician=other_technician, starts_on=monday_ahead(), ends_on=monday_ahead(), reason="course"
        )
    before = list(Visit.objects.order_by("pk").values())
    answer = drop(desk, other_technician, visit, order)
    words = {
        "promised": "Withdraw the promise first",
        "started": "has started and stays",
        "finished": "is finished",
        "gone": "The day has changed since you opened it",
        "unknown stop": "The day has changed since you opened it",
        "away": f"{other_technician} is away: course. “Move” lets you plan it anyway.",
    }
    assert answer.status_code == 422 and words[why] in answer.content.decode()
    assert list(Visit.objects.order_by("pk").values()) == before


def test_a_past_day_and_a_list_that_is_none_are_refused(desk, technician, rows):
    yesterday = firm_today() - dt.timedelta(days=1)
    planned(rows[0], technician, yesterday)
    answer = drop(desk, technician, rows[0], [rows[0].pk], date=yesterday)
    assert answer.status_code == 422 and "is past" in answer.content.decode()
    for visits in ("", "1,x", "1,,2", "9" * 5000):
        url = reverse("jobs:day_arrange", args=[monday_ahead(), technician.pk])
        assert desk.post(url, {"visit": rows[0].pk, "visits": visits}).status_code == 422
    assert desk.post(url, {"visit": "9" * 40, "visits": "1"}).status_code == 422


def test_the_drop_is_the_offices_and_of_rows_that_are_there(client, desk, office, technician, client_user, rows):
    order = [rows[2].pk, rows[1].pk, rows[0].pk]
    before = order_of(technician)
    for person in (technician, client_user):
        client.force_login(person)
        assert drop(client, technician, rows[2], order).status_code == 403
    assert order_of(technician) == before
    client.force_login(office)
    assert drop(client, office, rows[2], order).status_code == 404  # nobody who drives
    rows[0].pk = 10**9
    assert drop(client, technician, rows[0], order).status_code == 404


# Promises from the board


def test_a_stop_is_pinned_on_the_board_and_the_rest_planned_around_it(desk, technician, rows):
    url = reverse("jobs:visit_promise", args=[rows[1].pk])
    answer = desk.post(url, {"promised_time": "13:15", "board": technician.pk})
    board = f"{reverse('jobs:day_board')}?date={monday_ahead()}&technician={technician.pk}"
    assert answer.url == f"{board}#v{rows[1].pk}"
    assert "promised 13:15" in desk.get(answer.url).content.decode()
    order = reverse("jobs:day_order", args=[monday_ahead(), technician.pk])
    assert desk.post(order, {"board": technician.pk}).url == f"{board}#t{technician.pk}"
    rows[1].refresh_from_db()
    assert rows[1].arrives_at == dt.time(13, 15)
    assert DayRoute.objects.get(technician=technician).warnings == []
    answer = desk.post(url, {"undo": "1", "board": "all"})
    assert answer.url == f"{reverse('jobs:day_board')}?date={monday_ahead()}#v{rows[1].pk}"
    rows[1].refresh_from_db()
    assert not rows[1].promised


@pytest.mark.parametrize("board", ["//elsewhere.example/", "https://elsewhere.example/?1", "1'x", "9" * 40, "²"])
def test_a_promise_leads_to_no_other_place_than_the_board_of_that_date(desk, rows, board):
    answer = desk.post(reverse("jobs:visit_promise", args=[rows[0].pk]), {"promised_time": "", "board": board})
    assert answer.url == f"{reverse('jobs:day_board')}?date={monday_ahead()}#v{rows[0].pk}"


def test_a_promised_time_that_is_none_comes_back_and_still_knows_the_board(desk, technician, rows):
    url = reverse("jobs:visit_promise", args=[rows[0].pk])
    answer = desk.post(url, {"promised_time": "25:99", "board": technician.pk})
    page = answer.content.decode()
    assert answer.status_code == 422 and 'value="25:99"' in page
    assert f'name="board" value="{technician.pk}"' in page
    # The visit's own page, which names no board, leads back to itself.
    own = desk.post(url, {"promised_time": "09:00", "board": ""})
    assert own.url == reverse("jobs:visit_plan", args=[rows[0].pk])


# One technician's board


def test_the_board_of_one_technician_keeps_to_that_one(desk, technician, other_technician, rows):
    (waiting,) = make_visits(1)
    board = reverse("jobs:day_board")
    answer = desk.get(f"{board}?date={monday_ahead()}&technician={technician.pk}")
    page = answer.content.decode()
    assert cards_in(answer) == [technician.pk]
    assert waiting.site.name in page
    assert f'<option value="{technician.pk}" selected>' in page
    for date in (monday_ahead() - dt.timedelta(days=1), monday_ahead() + dt.timedelta(days=1)):
        assert f'href="?date={date}&amp;technician={technician.pk}"' in page
    assert "Plan all routes" not in page
    move = desk.post(reverse("jobs:day_move", args=[rows[0].pk]), {"to": "later", "board": technician.pk})
    assert f"&technician={technician.pk}#v" in move.url
    assign = f"{reverse('jobs:day_assign', args=[waiting.pk])}?board={technician.pk}"
    assert f'action="{assign}"' in page
    answer = desk.post(assign, {"technician": technician.pk, "planned_on": monday_ahead()})
    assert f"&technician={technician.pk}#v{waiting.pk}" in answer.url


@pytest.mark.parametrize("nobody", ["", "0", "-1", "tess", "999999", "9" * 30, "²"])
def test_a_technician_who_is_not_there_is_everybody(desk, technician, other_technician, rows, nobody):
    answer = desk.get(f"{reverse('jobs:day_board')}?date={monday_ahead()}&technician={nobody}")
    assert answer.status_code == 200
    assert set(cards_in(answer)) == {technician.pk, other_technician.pk}


# Asked before it is stored


def test_each_doubt_names_its_field(technician):
    (technician,) = planning_technicians()
    (visit,) = make_visits(1)
    visit.site.open_weekdays = [0]
    saturday = monday_ahead() + dt.timedelta(days=12)
    assert doubts(visit, technician, monday_ahead()) == []
    assert doubts(visit, technician, saturday) == [
        ("planned_on", "Closed on Saturdays."),
        ("planned_on", "1 day after its deadline."),
        ("technician", f"{technician} does not work on Saturdays."),
    ]
    early = monday_ahead() - dt.timedelta(days=7)
    assert doubts(visit, technician, early) == [
        ("planned_on", f"Before its window opens on {writing.day_month(visit.opens_on)}.")
    ]


@pytest.mark.parametrize("days", [-7, 14])
def test_a_day_outside_the_window_is_asked_about_once(desk, technician, days):
    (visit,) = make_visits(1, opens_on=monday_ahead(), due_on=monday_ahead() + dt.timedelta(days=11))
    url = reverse("jobs:day_assign", args=[visit.pk])
    assert "Plan it anyway" not in desk.get(url).content.decode()
    wanted = {"technician": technician.pk, "planned_on": monday_ahead() + dt.timedelta(days=days)}
    answer = desk.post(url, wanted)
    page = answer.content.decode()
    assert answer.status_code == 422 and "Plan it anyway" in page
    assert ("before its window opens" if days < 0 else "after its deadline") in page.lower()
    assert f'value="{wanted["planned_on"]}"' in page and f'value="{technician.pk}" selected' in page
    visit.refresh_from_db()
    assert visit.state == "open"
    (told,) = re.findall(r'<input type="checkbox" name="knowingly"[^>]* value="([^"]+)"', page)
    elsewhere = {**wanted, "planned_on": monday_ahead() + dt.timedelta(days=12), "knowingly": told}
    assert "does not work on Saturdays" in desk.post(url, elsewhere).content.decode()  # the tick was for another day
    assert desk.post(url, {**wanted, "knowingly": told}).status_code == 302
    visit.refresh_from_db()
    assert (visit.planned_on, visit.technician) == (wanted["planned_on"], technician)


def test_a_technician_who_is_away_is_asked_about_beside_the_technician(desk, technician):
    (visit,) = make_visits(1)
    Absence.objects.create(technician=technician, starts_on=monday_ahead(), ends_on=monday_ahead())
    wanted = {"technician": technician.pk, "planned_on": monday_ahead()}
    page = desk.post(reverse("jobs:day_assign", args=[visit.pk]), wanted).content.decode()
    assert re.search(rf'id="id_technician_error">\s*{technician} is away\.', page)


def test_a_lacking_skill_and_a_closed_firm_are_doubts_too(desk, office, technician, other_technician, rows):
    tester = Skill.objects.create(name="Backflow tester", kinds=["startup"])
    tester.technicians.set(TechnicianProfile.objects.filter(user=technician))
    answer = drop(desk, other_technician, rows[0], [rows[0].pk, rows[3].pk, rows[4].pk])
    assert answer.status_code == 422
    assert f"{other_technician} lacks a skill: Backflow tester." in answer.content.decode()
    assert rows[0].pk in order_of(technician)
    assign(visit=rows[0], technician=other_technician, planned_on=monday_ahead(), knowingly=True, by=office)
    warnings = DayRoute.objects.get(technician=other_technician).warnings
    assert f"{rows[0].site}, startup: {other_technician} lacks a skill: Backflow tester" in warnings
    assert DayRoute.objects.get(technician=technician).warnings == []
    ClosedDays.objects.create(starts_on=monday_ahead(), ends_on=monday_ahead(), reason="Founders' day")
    (tess,) = [user for user in planning_technicians() if user == technician]
    assert doubts(rows[0], tess, monday_ahead()) == [("planned_on", "The firm is closed: Founders' day.")]


def test_what_is_forbidden_stays_so_also_knowingly(desk, technician):
    (visit,) = make_visits(1)
    wanted = {"technician": technician.pk, "planned_on": "2020-01-01", "knowingly": f"{technician.pk} 2020-01-01"}
    answer = desk.post(reverse("jobs:day_assign", args=[visit.pk]), wanted)
    page = answer.content.decode()
    assert answer.status_code == 422 and "is past" in page


# Minutes that add up


def test_the_drives_of_a_card_add_up_to_its_total_and_to_that_of_the_paper(technician, rows):
    began = timezone.now().replace(hour=17, minute=0)
    Visit.objects.filter(pk=rows[0].pk).update(state="started", started_at=began)
    (day,) = read_days(monday_ahead(), [user for user in planning_technicians() if user == technician])
    assert (len(day.done), len(day.to_do)) == (1, 2)
    count = len(day.travel.points)

    @given(st.lists(st.integers(0, 5000), min_size=count**2, max_size=count**2))
    def check(seconds):
        travel = replace(day.travel, seconds=np.array(seconds, dtype=np.int64).reshape(count, count))
        card = card_of(replace(day, travel=travel), firm_today())
        shown = card.driven_min + sum(line.drive_min for line in card.lines) + card.last_drive_min
        assert shown == card.drive_min

    check()


def test_board_paper_and_phone_show_the_same_minutes_of_driving(desk, technician, rows):
    desk.post(reverse("jobs:day_order", args=[monday_ahead(), technician.pk]))
    technician = User.objects.get(pk=technician.pk)  # with its hours as stored
    for half in (30.0, 90.0, 89.0):  # half minutes, where roundings differ
        DayRoute.objects.filter(technician=technician).update(drive_min=half / 60)
        wanted = whole_minutes(half)
        assert run_sheet_data(technician, monday_ahead()).driving.startswith(f"{wanted} min")
        desk.force_login(technician)
        phone = desk.get(f"{reverse('jobs:today')}?date={monday_ahead()}").content.decode()
        assert f"{wanted} min on the road" in phone
