import datetime as dt
import xml.etree.ElementTree as ET

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.actions.planning import ask_for_plan, plan_day, plan_season
from jobs.models import Absence, PlanRun, SeasonWindow, ServicePlan, TechnicianProfile, Visit
from jobs.queries.planning import firm_today
from sites.core import writing
from tests import factories
from tests.jobs.planning_rows import make_visits, monday_ahead, planned

pytestmark = pytest.mark.django_db


def window(kind="startup", year=None) -> SeasonWindow:
    monday = monday_ahead()
    return SeasonWindow.objects.create(
        season_year=year or monday.year, kind=kind, opens_on=monday, due_on=monday + dt.timedelta(days=11)
    )


def season_url() -> str:
    return f"{reverse('jobs:season_board')}?year={monday_ahead().year}"


def days_url(date=None) -> str:
    return f"{reverse('jobs:day_board')}?date={date or monday_ahead()}"


def plan_data(**changes) -> dict:
    monday = monday_ahead()
    last = monday + dt.timedelta(days=11)
    return {"kinds": ["startup"], "first_day": monday, "last_day": last, "seconds": 20, "seed": 1, **changes}


@pytest.mark.parametrize("who", ["technician", "client_user"])
def test_planning_pages_are_closed_to_technicians_and_clients(client, request, technician, who):
    client.force_login(request.getfixturevalue(who))
    (visit,) = make_visits(1)
    date, pk = monday_ahead(), visit.pk
    addresses = [
        ("season_board", []),
        ("season_generate", [2031]),
        ("season_plan", [2031]),
        ("season_plan_stop", [1]),
        ("season_window", [2031, "startup"]),
        ("day_board", []),
        ("day_order_all", [date]),
        ("day_order", [date, technician.pk]),
        ("day_arrange", [date, technician.pk]),
        ("day_map", [date, technician.pk]),
        ("visit_new", []),
        ("visit_plan", [pk]),
        ("day_move", [pk]),
        ("day_assign", [pk]),
        ("visit_unassign", [pk]),
        ("visit_promise", [pk]),
        ("visit_cancel", [pk]),
        ("technician_list", []),
        ("technician_edit", [technician.pk]),
        ("absence_new", [technician.pk]),
        ("absence_delete", [technician.pk, 1]),
    ]
    for name, args in addresses:
        url = reverse(f"jobs:{name}", args=args)
        assert (name, client.get(url).status_code, client.post(url).status_code) == (name, 403, 403)


def test_the_office_walks_from_windows_to_a_routed_day(
    desk, technician, site, other_site, django_capture_on_commit_callbacks
):
    monday = monday_ahead()
    year, last = monday.year, monday + dt.timedelta(days=11)
    for row in (site, other_site):
        ServicePlan.objects.create(site=row, mid_season_visits=0, winterisation=False)
    generate = reverse("jobs:season_generate", args=[year])
    assert "no window yet for: startup" in desk.post(generate, follow=True).content.decode()
    data = {"opens_on": monday, "due_on": last, "reason": "by hand"}
    assert desk.post(reverse("jobs:season_window", args=[year, "startup"]), data).status_code == 302
    assert "2 visits of" in desk.post(generate, follow=True).content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        answer = desk.post(reverse("jobs:season_plan", args=[year]), plan_data())
    assert answer.status_code == 302
    page = desk.get(season_url()).content.decode()
    assert "A plan waits for your decision" in page and "2 newly planned" in page
    assert set(Visit.objects.values_list("state", flat=True)) == {"open"}  # nothing changes before it is accepted
    decide = reverse("jobs:plan_decide", args=[PlanRun.objects.get().pk])
    page = desk.post(decide, {"decision": "accept"}, follow=True).content.decode()
    assert "is accepted, " in page and "by hand" in page and "No deadline is at risk" in page
    visit = Visit.objects.order_by("planned_on", "position").first()
    desk.post(reverse("jobs:day_order", args=[visit.planned_on, technician.pk]))
    page = desk.get(days_url(visit.planned_on)).content.decode()
    assert visit.site.name in page and f"{visit.arrives_at:%H:%M}" in page
    assert reverse("jobs:day_map", args=[visit.planned_on, technician.pk]) in page


def test_a_wrong_plan_form_comes_back_as_typed(desk, technician):
    answer = desk.post(
        reverse("jobs:season_plan", args=[2031]), plan_data(first_day="2020-01-05", last_day="2020-01-04", seed=77)
    )
    page = answer.content.decode()
    assert answer.status_code == 422
    assert 'value="2020-01-05"' in page and 'value="77"' in page
    assert "that day is past" in page and "must not lie before the first" in page
    assert PlanRun.objects.count() == 0


def test_a_second_plan_is_refused_on_the_page_while_one_waits(desk, office, technician):
    monday = monday_ahead()
    days = {"first_day": monday, "last_day": monday}
    ask_for_plan(run=PlanRun(season_year=monday.year, kinds=["startup"], asked_by=office, **days))
    page = desk.get(season_url()).content.decode()
    assert "A plan is being computed" in page and 'http-equiv="refresh"' in page
    answer = desk.post(reverse("jobs:season_plan", args=[monday.year]), plan_data())
    assert answer.status_code == 422
    desk.post(reverse("jobs:season_plan_stop", args=[PlanRun.objects.get().pk]))
    assert PlanRun.objects.get().state == "failed"


def test_what_the_plan_could_not_place_is_listed_with_remedies(desk, office, technician):
    window()
    monday = monday_ahead()
    make_visits(6, service_min=240, due_on=monday + dt.timedelta(days=1))
    plan_season(
        run=PlanRun(
            season_year=monday.year, kinds=["startup"], first_day=monday, last_day=monday, rounds=1, asked_by=office
        )
    )
    page = desk.get(season_url()).content.decode()
    assert "Not placed by the last plan" in page and "overtime" in page


def test_deadlines_at_risk_are_told(desk, technician):
    today, year = firm_today(), monday_ahead().year
    soon, late, after = make_visits(3, opens_on=today - dt.timedelta(days=30))
    Visit.objects.filter(pk=soon.pk).update(due_on=today + dt.timedelta(days=5))
    Visit.objects.filter(pk=late.pk).update(due_on=today - dt.timedelta(days=1))
    Visit.objects.filter(pk=after.pk).update(due_on=monday_ahead() - dt.timedelta(days=2))
    planned(after, technician, monday_ahead())
    page = desk.get(f"{reverse('jobs:season_board')}?year={year}").content.decode()
    for words in ("not planned, due in 5 days", "not planned, 1 day past", "planned 2 days after its deadline"):
        assert words in page


def queries_of(client, url) -> int:
    with CaptureQueriesContext(connection) as seen:
        assert client.get(url).status_code == 200
    return len(seen)


def test_the_boards_ask_the_database_as_often_for_one_row_as_for_three(desk, technician, other_technician):
    window()
    monday = monday_ahead()
    make_visits(1)
    planned(make_visits(1)[0], technician, monday)
    urls = [season_url(), days_url(), reverse("jobs:technician_list")]
    desk.get(urls[0])
    few = [queries_of(desk, url) for url in urls]
    make_visits(2)
    for visit in make_visits(3):
        planned(visit, other_technician, monday)
    Absence.objects.create(technician=technician, starts_on=monday, ends_on=monday)
    assert [queries_of(desk, url) for url in urls] == few


def test_buttons_move_a_stop_without_script(desk, technician):
    a, b = (planned(v, technician, monday_ahead(), position=n) for n, v in enumerate(make_visits(2), start=1))
    answer = desk.post(reverse("jobs:day_move", args=[b.pk]), {"to": "earlier"})
    assert answer.url.endswith(f"#v{b.pk}")
    order = Visit.objects.order_by("position").values_list("pk", flat=True)
    assert list(order) == [b.pk, a.pk]
    assert desk.post(reverse("jobs:day_move", args=[b.pk]), {"to": "sideways"}).status_code == 404


def test_a_visit_is_planned_from_the_waiting_list(desk, technician):
    (visit,) = make_visits(1)
    assert visit.site.name in desk.get(days_url()).content.decode()
    url = reverse("jobs:day_assign", args=[visit.pk])
    answer = desk.post(url, {"technician": "", "planned_on": "soon"})
    assert answer.status_code == 422 and 'value="soon"' in answer.content.decode()
    past = {"technician": technician.pk, "planned_on": "2020-01-01"}
    assert "is past" in desk.post(url, past).content.decode()
    assert desk.post(url, {**past, "planned_on": monday_ahead()}).status_code == 302
    visit.refresh_from_db()
    assert (visit.technician, visit.planned_on, visit.position) == (technician, monday_ahead(), 1)


def test_a_date_nobody_can_mean_shows_today(desk, technician):
    for nonsense in ("yesterday", "2026-13-40", "0001-01-01"):
        assert desk.get(f"{reverse('jobs:day_board')}?date={nonsense}").status_code == 302
    assert desk.get(f"{reverse('jobs:season_board')}?year=abc&kind=picnic").status_code == 200
    assert desk.get("/days/2026-13-40/order/").status_code == 404


def test_the_map_is_plain_svg_with_a_number_for_every_stop(desk, office, technician):
    for n, visit in enumerate(make_visits(4), start=1):
        planned(visit, technician, monday_ahead(), position=n)
    plan_day(date=monday_ahead(), by=office)
    answer = desk.get(reverse("jobs:day_map", args=[monday_ahead(), technician.pk]))
    assert answer["Content-Type"] == "image/svg+xml"
    texts = [el.text for el in ET.fromstring(answer.content).iter("{http://www.w3.org/2000/svg}text")]
    assert texts[:5] == ["1", "2", "3", "4", "S"]
    assert texts[5].endswith(" km") and texts[6] == "N"
    assert b"style=" not in answer.content


def test_an_empty_day_has_a_map_too(desk, technician):
    assert desk.get(reverse("jobs:day_map", args=[monday_ahead(), technician.pk])).status_code == 200


def test_a_visits_window_is_changed_and_a_wrong_one_comes_back(desk, technician):
    (visit,) = make_visits(1)
    url = reverse("jobs:visit_plan", args=[visit.pk])
    data = {"opens_on": "2031-05-02", "due_on": "2031-05-01", "service_min": 45, "instructions": "Key at no. 9"}
    answer = desk.post(url, data)
    assert answer.status_code == 422
    assert "Key at no. 9" in answer.content.decode() and 'value="2031-05-02"' in answer.content.decode()
    assert desk.post(url, {**data, "due_on": "2031-05-09"}).status_code == 302
    visit.refresh_from_db()
    assert (visit.opens_on, visit.service_min) == (dt.date(2031, 5, 2), 45)


def test_a_visit_is_promised_and_cancelled_on_its_page(desk, technician):
    (visit,) = make_visits(1)
    planned(visit, technician, monday_ahead())
    promise = reverse("jobs:visit_promise", args=[visit.pk])
    assert desk.post(promise, {"promised_time": "noon"}).status_code == 422
    desk.post(promise, {"promised_time": "09:30"})
    page = desk.get(reverse("jobs:visit_plan", args=[visit.pk])).content.decode()
    assert "at 09:30. No planner moves this visit" in page
    assert (
        "Withdraw the promise first"
        in desk.post(reverse("jobs:visit_unassign", args=[visit.pk]), follow=True).content.decode()
    )
    cancel = reverse("jobs:visit_cancel", args=[visit.pk])
    assert desk.post(cancel, {"reason": ""}).status_code == 422
    assert "Moved house" in desk.post(cancel, {"reason": "Moved house"}, follow=True).content.decode()
    visit.refresh_from_db()
    assert (visit.state, visit.promised, visit.promised_time) == ("cancelled", False, None)


@pytest.mark.parametrize(
    ("time", "words"),
    [
        ("06:00", ["The site opens at 08:00.", "tess starts at 07:30."]),
        ("07:45", ["The site opens at 08:00."]),
        ("15:10", ["The work takes 60 min and the site closes at 16:00."]),
        ("15:45", ["the site closes at 16:00.", "the day of tess ends at 16:30."]),
    ],
)
def test_an_hour_at_which_nobody_can_work_is_promised_only_knowingly(desk, technician, time, words):
    (visit,) = make_visits(1)
    visit.site.opens_at, visit.site.closes_at = dt.time(8), dt.time(16)
    visit.site.save()
    planned(visit, technician, monday_ahead())
    promise = reverse("jobs:visit_promise", args=[visit.pk])
    answer = desk.post(promise, {"promised_time": time, "board": "all"})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert answer.context["promise_form"].errors.keys() == {"promised_time"}
    assert all(text in page for text in words) and f'value="{time}"' in page and "Promise it anyway" in page
    # Known of another time is not known of this one.
    assert desk.post(promise, {"promised_time": time, "knowingly": "12:00"}).status_code == 422
    visit.refresh_from_db()
    assert not visit.promised
    answer = desk.post(promise, {"promised_time": time, "knowingly": time, "board": "all"}, follow=True)
    assert answer.request["PATH_INFO"] == reverse("jobs:day_board")
    assert f"Promised: {visit.site}, {writing.day(monday_ahead())} at {time}." in answer.content.decode()
    visit.refresh_from_db()
    assert visit.promised_time == dt.time.fromisoformat(time)


def test_a_repair_is_added_on_the_page(desk, site):
    url = reverse("jobs:visit_new")
    data = {"site": site.pk, "kind": "repair", "opens_on": "2031-05-02", "due_on": "2031-05-01", "service_min": 60}
    assert desk.post(url, {**data, "instructions": "Burst pipe"}).status_code == 422
    answer = desk.post(url, {**data, "due_on": "2031-05-03", "instructions": "Burst pipe"})
    assert answer.url == reverse("jobs:visit_plan", args=[Visit.objects.get(instructions="Burst pipe").pk])


def test_hours_and_days_away_are_kept_and_planned_visits_named(desk, technician):
    monday = monday_ahead()
    planned(make_visits(1)[0], technician, monday)
    hours = {"day_starts_at": "09:00", "day_ends_at": "08:00", "lunch_min": 45, "working_weekdays": [0, 5]}
    url = reverse("jobs:technician_edit", args=[technician.pk])
    answer = desk.post(url, hours)
    assert answer.status_code == 422 and "must end after it starts" in answer.content.decode()
    assert desk.post(url, {**hours, "day_ends_at": "17:00"}).status_code == 302
    assert TechnicianProfile.objects.get(user=technician).working_weekdays == [0, 5]
    away = reverse("jobs:absence_new", args=[technician.pk])
    turned = {"starts_on": monday, "ends_on": monday - dt.timedelta(days=1), "reason": "course"}
    assert desk.post(away, turned).status_code == 422
    page = desk.post(away, {**turned, "ends_on": monday}, follow=True).content.decode()
    assert "1 planned visit falls on these days" in page
    assert desk.post(away, {**turned, "ends_on": monday}).status_code == 422  # twice
    absence = Absence.objects.get()
    assert desk.post(reverse("jobs:absence_delete", args=[technician.pk, absence.pk])).status_code == 302
    assert Absence.objects.count() == 0


def test_a_technician_without_hours_gets_them_on_the_team_page(desk, firm):
    fresh = factories.TechnicianFactory(username="nora", profile=None)
    assert "No hours yet" in desk.get(reverse("jobs:technician_list")).content.decode()
    hours = {"day_starts_at": "07:00", "day_ends_at": "15:00", "lunch_min": 30, "working_weekdays": [1]}
    desk.post(reverse("jobs:technician_edit", args=[fresh.pk]), hours)
    assert TechnicianProfile.objects.get(user=fresh).day_ends_at == dt.time(15)


def test_a_suggested_window_fills_the_form_only_when_the_record_gives_dates(desk, site):
    url = reverse("jobs:season_window", args=[2031, "startup"])
    assert "No dates can be given" in desk.get(f"{url}?use=1").content.decode()
    assert desk.get(reverse("jobs:season_window", args=[2031, "repair"])).status_code == 404
    answer = desk.post(url, {"opens_on": "2031-05-02", "due_on": "2031-04-01", "reason": "typed"})
    assert answer.status_code == 422 and "typed" in answer.content.decode()


def test_the_season_board_and_its_map_show_one_technician(desk, technician, other_technician):
    window()
    mine, theirs, waiting = make_visits(3)
    planned(mine, technician, monday_ahead())
    planned(theirs, other_technician, monday_ahead())
    page = desk.get(f"{season_url()}&technician={technician.pk}").content.decode()
    weeks = page[page.index('id="weeks"') : page.index('id="map"')]
    assert str(technician) in weeks and str(other_technician) not in weeks
    places = reverse("jobs:season_places", args=[monday_ahead().year])
    found = desk.get(f"{places}?technician={technician.pk}").json()["features"]
    assert [feature["properties"]["name"] for feature in found] == [str(mine.site)]
    assert f"{places}?kind=&amp;technician={technician.pk}" in page
    everybody = desk.get(f"{season_url()}&technician=999999").content.decode()
    assert all(str(who) in everybody for who in (technician, other_technician))
    assert len(desk.get(places).json()["features"]) == 3


def test_the_board_stays_with_this_season_while_a_visit_of_it_is_left(desk, technician):
    today = firm_today()
    window(year=today.year + 1)
    assert f"<h1>Season {today.year + 1}</h1>" in desk.get(reverse("jobs:season_board")).content.decode()
    past = today - dt.timedelta(days=40)
    factories.VisitFactory(season_year=today.year, opens_on=past, due_on=past)
    assert f"<h1>Season {today.year}</h1>" in desk.get(reverse("jobs:season_board")).content.decode()
