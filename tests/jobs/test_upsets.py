"""Four mornings on which a plan does not survive: what is proposed, what is accepted, and what never moves."""

import datetime as dt
import re
import zoneinfo
from html import unescape

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from jobs.actions.planning import PlanOutdated, assign, pin, plan_season, upsets
from jobs.models import Absence, ClosedDays, DayRoute, PlanRun, Replan, SeasonWindow, Skill, Visit
from jobs.queries.upset_stories import days_words
from jobs.queries.upsets import difference_of
from sites.core import writing
from sites.core.told import told
from tests import factories
from tests.jobs.planning_rows import make_visits, monday_ahead, planned

pytestmark = pytest.mark.django_db
PLACE_FIELDS = ("pk", "state", "technician_id", "planned_on", "position", "arrives_at", "promised", "promised_time")


def at(clock: str, day: dt.date | None = None) -> dt.datetime:
    """That time where the firm is, on the Monday or another day."""
    zone = zoneinfo.ZoneInfo("America/Los_Angeles")
    return dt.datetime.combine(day or monday_ahead(), dt.time.fromisoformat(clock), tzinfo=zone)


def places() -> list[tuple]:
    return list(Visit.objects.order_by("pk").values_list(*PLACE_FIELDS))


def promise(visit: Visit, by) -> None:
    """Two hours around the planned arrival, as a client is told."""
    start = visit.arrives_at.hour * 60 + visit.arrives_at.minute - 30
    times = [dt.time(m // 60, m % 60) for m in (start, start + 120)]
    pin(visit=visit, promised=True, promised_time=times[0], promised_until=times[1], by=by)


@pytest.fixture
def week(technician, other_technician, office):
    """Sixteen winterizations planned over a week and two technicians; every third one is promised."""
    monday = monday_ahead()
    make_visits(16, kind="winterisation", service_min=75)
    SeasonWindow.objects.create(
        season_year=monday.year, kind="winterisation", opens_on=monday, due_on=monday + dt.timedelta(days=11)
    )
    plan_season(
        run=PlanRun(
            season_year=monday.year,
            kinds=["winterisation"],
            first_day=monday,
            last_day=monday + dt.timedelta(days=11),
            rounds=3,
            asked_by=office,
        )
    )
    visits = list(Visit.objects.order_by("planned_on", "arrives_at"))
    assert all(visit.state == "planned" for visit in visits)
    for visit in visits[::3]:
        promise(visit, office)
    return visits


def busiest_day(technician=None) -> tuple[int, dt.date]:
    """(technician, day) with most stops."""
    routes = DayRoute.objects.all() if technician is None else DayRoute.objects.filter(technician=technician)
    days = [(r.technician_id, r.date) for r in routes]
    return max(days, key=lambda d: Visit.objects.filter(technician_id=d[0], planned_on=d[1]).count())


def check_stored(replan: Replan) -> None:
    """What stands after acceptance is what the page showed, and every route is stored."""
    for technician, on, keys in replan.proposal["orders"]:
        rows = Visit.objects.filter(technician_id=technician, planned_on=on, state="planned").order_by("position")
        wanted = [key for key in keys if key != "new"]
        assert [v.pk for v in rows if v.pk in wanted] == wanted
        assert DayRoute.objects.filter(technician_id=technician, date=on).exists()
    for visit in Visit.objects.filter(state="planned", promised=True, promised_until__isnull=False):
        assert visit.promised_time <= visit.arrives_at <= visit.promised_until


def test_a_technician_falls_ill_and_nothing_changes_before_it_is_accepted(week, office):
    ill, day = busiest_day()
    before = places()
    stranded = set(Visit.objects.filter(technician_id=ill, planned_on=day).values_list("pk", flat=True))
    who = Visit.objects.filter(technician_id=ill).first().technician

    replan = upsets.propose_absence(
        technician=who, first_day=day, last_day=day, reason="ill", now=at("07:00", day), by=office
    )

    assert places() == before
    assert not Absence.objects.exists()
    moved = {line["visit"] for line in replan.proposal["moves"]}
    assert stranded <= moved

    upsets.accept(replan=replan, now=at("07:05", day), by=office)

    assert Absence.objects.get().reason == "ill"
    assert not Visit.objects.filter(technician_id=ill, planned_on=day).exists()
    replan.refresh_from_db()
    assert replan.state == Replan.State.ACCEPTED
    check_stored(replan)
    # A promise is broken only where it had to be, and only of the stranded.
    assert set(replan.proposal["tell_clients"]) <= stranded
    kept = [row for row in before if row[6] and row[0] not in stranded]
    assert all(Visit.objects.get(pk=row[0]).promised_time == row[7] for row in kept)
    assert all(Visit.objects.get(pk=row[0]).planned_on == row[3] for row in kept)


def test_a_freeze_a_week_early_brings_every_winterisation_before_it(week, office):
    monday = monday_ahead()
    new_due = monday + dt.timedelta(days=4)
    late = Visit.objects.filter(planned_on__gt=new_due).count()

    replan = upsets.propose_frost(
        season_year=monday.year, due_on=new_due, now=at("12:00", monday - dt.timedelta(days=3)), by=office
    )
    upsets.accept(replan=replan, now=at("12:05", monday - dt.timedelta(days=3)), by=office)

    assert SeasonWindow.objects.get().due_on == new_due
    assert not Visit.objects.filter(due_on__gt=new_due).exists()
    assert not Visit.objects.filter(state="planned", planned_on__gt=new_due).exists()
    assert Visit.objects.filter(state="planned").count() == 16
    assert len([m for m in replan.proposal["moves"] if m["before"]]) >= late
    check_stored(replan)


def test_an_early_freeze_reaches_visits_with_dates_of_their_own_and_promised_ones(week, office):
    monday = monday_ahead()
    SeasonWindow.objects.update(chance=0.1)
    by_hand, promised = week[1], week[3]
    Visit.objects.filter(pk=by_hand.pk).update(own_dates=True, due_on=monday + dt.timedelta(days=20))
    assert promised.pk in Visit.objects.filter(promised=True).values_list("pk", flat=True)
    new_due, friday = monday + dt.timedelta(days=4), at("12:00", monday - dt.timedelta(days=3))
    replan = upsets.propose_frost(season_year=monday.year, due_on=new_due, now=friday, by=office)
    upsets.accept(replan=replan, now=friday, by=office)

    window = SeasonWindow.objects.get()
    assert (window.due_on, window.chance) == (new_due, 0.1)
    assert not Visit.objects.filter(due_on__gt=new_due).exists()
    for visit in (by_hand, promised):
        visit.refresh_from_db()
        assert told(visit.window_reason, "metric") == f"Frost earlier than planned: by {writing.day_month(new_due)}."
    assert (by_hand.own_dates, promised.own_dates) == (True, False)


def test_a_burst_pipe_at_1040_is_served_today_and_started_and_promised_visits_stay(week, office):
    technician, day = busiest_day()
    stops = list(Visit.objects.filter(technician_id=technician, planned_on=day).order_by("position"))
    Visit.objects.filter(pk=stops[0].pk).update(state="started", started_at=at("08:10", day))
    promises = [v for v in stops[1:] if v.promised]
    before = {row[0]: row for row in places()}
    site = factories.SiteFactory(name="Burst", latitude=47.63, longitude=-122.31)

    replan = upsets.propose_call_out(
        site=site,
        service_min=60,
        begin_by=dt.time(12, 30),
        instructions="burst pipe",
        now=at("10:40", day),
        by=office,
    )
    assert not Visit.objects.filter(site=site).exists()
    upsets.accept(replan=replan, now=at("10:45", day), by=office)

    call = Visit.objects.get(site=site)
    assert (call.planned_on, call.state, call.kind) == (day, "planned", "repair")
    assert dt.time(10, 40) <= call.arrives_at <= dt.time(12, 30)
    started = Visit.objects.get(pk=stops[0].pk)
    assert before[started.pk] == tuple(getattr(started, name) for name in PLACE_FIELDS)
    for visit in promises:
        now = Visit.objects.get(pk=visit.pk)
        told = visit.pk in replan.proposal["tell_clients"]
        assert told or (now.planned_on == day and now.promised_time == visit.promised_time)
    check_stored(replan)


def test_a_client_cancels_and_only_that_day_closes_up(week, office):
    technician, day = busiest_day()
    gone = Visit.objects.filter(technician_id=technician, planned_on=day).order_by("position").first()
    others = [row for row in places() if row[3] != day]

    replan = upsets.propose_cancellation(visit=gone, reason="sold", now=at("07:00", day), by=office)
    difference = difference_of(replan)
    assert [line.visit.pk for line in difference.moves if line.gone] == [gone.pk]
    upsets.accept(replan=replan, now=at("07:01", day), by=office)

    gone.refresh_from_db()
    assert gone.state == "cancelled"
    assert [row for row in places() if row[3] != day] == others
    assert replan.proposal["tell_clients"] in ([], [gone.pk])
    check_stored(replan)


def test_a_proposal_that_is_discarded_leaves_everything_as_it_was(week, office):
    before = places()
    visit = week[0]
    replan = upsets.propose_cancellation(visit=visit, reason="sold", now=at("07:00"), by=office)

    upsets.discard(replan=replan, by=office)

    assert places() == before
    with pytest.raises(ValidationError, match="decided already"):
        upsets.accept(replan=replan, now=at("07:00"), by=office)


def test_a_proposal_is_refused_when_the_plan_changed_since(week, office, technician):
    visit, other = week[0], next(v for v in week if not v.promised and v.pk != week[0].pk)
    replan = upsets.propose_cancellation(visit=visit, reason="sold", now=at("07:00"), by=office)
    Visit.objects.filter(pk=visit.pk).update(service_min=200)
    before = places()

    with pytest.raises(PlanOutdated):
        upsets.accept(replan=replan, now=at("07:00"), by=office)

    assert places() == before
    assert other.state == "planned"


def test_a_proposal_for_a_day_under_way_grows_old(week, office):
    _, day = busiest_day()
    site = factories.SiteFactory(latitude=47.63, longitude=-122.31)
    replan = upsets.propose_call_out(site=site, service_min=30, now=at("10:40", day), by=office)

    with pytest.raises(PlanOutdated, match="gone on"):
        upsets.accept(replan=replan, now=at("12:00", day), by=office)


def test_the_office_sees_the_difference_and_decides_on_the_page(client, week, office):
    client.force_login(office)
    visit = week[0]
    page = client.get(f"/upsets/new/cancelled/?visit={visit.pk}").content.decode()
    assert f'<option value="{visit.pk}" selected>' in page

    wrong = client.post("/upsets/new/cancelled/", {"visit": visit.pk, "reason": ""})
    assert wrong.status_code == 422
    answer = client.post("/upsets/new/cancelled/", {"visit": visit.pk, "reason": "sold the house"})
    page = client.get(answer.url).content.decode()
    assert "Accept the new plan" in page
    assert str(visit.site) in page
    visit.refresh_from_db()
    assert visit.state == "planned"

    answer = client.post(f"{answer.url}decide/", {"decision": "accept"}, follow=True)
    assert "The new plan is accepted" in answer.content.decode()
    visit.refresh_from_db()
    assert visit.state == "cancelled"
    assert client.get("/upsets/new/nonsense/").status_code == 404


def test_a_day_of_twenty_stops_and_four_technicians_is_replanned_while_one_waits(office):
    """Correct at the size that the benchmark times."""
    people = [factories.TechnicianFactory(username=f"t{n}") for n in range(4)]
    monday = monday_ahead()
    for n, visit in enumerate(make_visits(20, service_min=45)):
        assign(visit=visit, technician=people[n % 4], planned_on=monday, by=office)

    replan = upsets.propose_absence(
        technician=people[0], first_day=monday, last_day=monday, now=at("06:00"), by=office
    )
    upsets.accept(replan=replan, now=at("06:01"), by=office)

    assert Visit.objects.filter(state="planned").count() == 20
    assert not Visit.objects.filter(technician=people[0], planned_on=monday).exists()


def late(visit: Visit, technician, day: dt.date) -> Visit:
    """Planned and promised for that day, a week past its deadline."""
    return planned(
        visit,
        technician,
        day,
        opens_on=day - dt.timedelta(days=30),
        due_on=day - dt.timedelta(days=7),
        promised=True,
        promised_time=dt.time(8),
        promised_until=dt.time(10),
        arrives_at=dt.time(8, 30),
        leaves_at=dt.time(9, 30),
    )


def test_a_late_visit_of_an_ill_technician_goes_to_a_later_day_when_that_one_is_full(
    technician, other_technician, office
):
    """Its deadline has passed, so that no day of those looked at is too late for it."""
    monday = monday_ahead()
    stranded, *others = make_visits(8, service_min=65)
    late(stranded, technician, monday)
    for visit in others:
        assign(visit=visit, technician=other_technician, planned_on=monday, by=office)
        pin(visit=visit, promised=True, promised_time=None, promised_until=None, by=office)

    replan = upsets.propose_absence(
        technician=technician,
        first_day=monday,
        last_day=monday + dt.timedelta(days=1),
        now=at("07:00"),
        by=office,
    )

    (line,) = (line for line in replan.proposal["moves"] if line["visit"] == stranded.pk)
    assert (line["after"] != "", line["reason"]) == (True, "")
    upsets.accept(replan=replan, now=at("07:05"), by=office)
    stranded.refresh_from_db()
    assert stranded.state == "planned"
    # As soon as there is room, not at the far end of the days looked at.
    assert monday < stranded.planned_on <= monday + dt.timedelta(days=3)


def test_days_looked_at_reach_five_working_days_past_an_absence(technician, other_technician, office):
    friday = monday_ahead() + dt.timedelta(days=4)
    ClosedDays.objects.create(
        starts_on=friday + dt.timedelta(days=3), ends_on=friday + dt.timedelta(days=7), reason="holidays"
    )
    planned(make_visits(1)[0], technician, friday)
    replan = upsets.propose_absence(
        technician=technician, first_day=friday, last_day=friday, now=at("07:00", friday), by=office
    )
    assert replan.last_day == friday + dt.timedelta(days=14)


@pytest.fixture
def monday(technician, other_technician):
    """Three visits of the Monday, two for one technician and one for the other."""
    day = monday_ahead()
    for n, visit in enumerate(make_visits(3)):
        at_hour = dt.time(9 + n)
        planned(visit, (technician, other_technician)[n % 2], day, arrives_at=at_hour, leaves_at=dt.time(10 + n))
    return day


def page_of(client, replan: Replan) -> str:
    return " ".join(unescape(client.get(f"/upsets/{replan.pk}/").content.decode()).split())


def call_out(monday: dt.date, office, *, now: str = "07:00", begin_by: str | None = None, **site) -> Replan:
    return upsets.propose_call_out(
        site=factories.SiteFactory(name="Rook Meadow", latitude=47.63, longitude=-122.31, **site),
        service_min=60,
        begin_by=dt.time.fromisoformat(begin_by) if begin_by else None,
        instructions="Burst pipe\nin the road",
        now=at(now, monday),
        by=office,
    )


def test_page_and_list_say_what_came_up(client, monday, technician, office):
    client.force_login(office)
    visit = Visit.objects.order_by("arrives_at").first()
    Visit.objects.update(kind="winterisation")
    due = monday + dt.timedelta(days=4)
    told = {
        f"{technician} is away, {writing.weekday_date(monday)}": upsets.propose_absence(
            technician=technician, first_day=monday, last_day=monday, reason="flu & fever", now=at("07:00"), by=office
        ),
        f"Every winterization of {visit.season_year} by {writing.weekday_date(due)}": upsets.propose_frost(
            season_year=visit.season_year, due_on=due, now=at("07:00"), by=office
        ),
        f"Rook Meadow: 60 min on site, begin by 13:00, {writing.weekday_date(monday)}": call_out(
            monday, office, begin_by="13:00"
        ),
        f"{visit.site}, winterization, {writing.weekday_day(monday)} 09:00, {technician} is cancelled": (
            upsets.propose_cancellation(visit=visit, reason="sold the house", now=at("07:00"), by=office)
        ),
    }
    lines = " ".join(unescape(client.get("/upsets/").content.decode()).split())
    for words, replan in told.items():
        assert words in page_of(client, replan)
        assert words in lines
    for words, replan in zip(("flu & fever", "", "Burst pipe", "sold the house"), told.values(), strict=True):
        assert words in page_of(client, replan)
        assert words in lines


def test_the_list_asks_as_often_for_three_proposals_as_for_one(client, monday, office, django_assert_num_queries):
    client.force_login(office)
    call_out(monday, office)
    with CaptureQueriesContext(connection) as one:
        client.get("/upsets/")
    for _ in range(2):
        call_out(monday, office)
    with django_assert_num_queries(len(one)):
        client.get("/upsets/")


def test_days_looked_at_show_both_years_when_they_differ():
    new_year = dt.date(2027, 1, 4)
    assert days_words(dt.date(2026, 12, 28), new_year) == "Mon, 28 Dec 2026 – Mon, 4 Jan 2027"
    assert days_words(new_year, dt.date(2027, 1, 5)) == "Mon 4 Jan – Tue, 5 Jan 2027"
    assert days_words(new_year, new_year) == "Mon, 4 Jan 2027"


def test_an_early_frost_leaves_the_days_before_the_season_alone(week, office):
    monday = monday_ahead()
    replan = upsets.propose_frost(
        season_year=monday.year,
        due_on=monday + dt.timedelta(days=4),
        now=at("07:00", monday - dt.timedelta(days=12)),
        by=office,
    )
    assert replan.first_day == monday


def test_changes_are_sorted_by_the_new_day_and_time_after_what_has_no_place(week, office):
    ill, day = busiest_day()
    who = Visit.objects.filter(technician_id=ill).first().technician
    # Nobody else can go there, and the deadline is that day.
    lost = Visit.objects.filter(technician_id=ill, planned_on=day, promised=False).first()
    lost.skills.add(Skill.objects.create(name="Wells", kinds=[]))
    Visit.objects.filter(pk=lost.pk).update(due_on=day)
    replan = upsets.propose_absence(technician=who, first_day=day, last_day=day, now=at("07:00", day), by=office)

    first, *rest = replan.proposal["moves"]
    assert (first["visit"], first["after"]) == (lost.pk, "")
    assert "nobody" in first["reason"]
    assert f"it is due by {writing.day_month(day)}" in first["reason"]
    place = {
        key: (on, replan.proposal["starts"][str(key)]) for _, on, keys in replan.proposal["orders"] for key in keys
    }
    order = [place[line["visit"]] for line in rest]
    assert len(order) > 2
    assert order == sorted(order)


def test_an_urgent_call_says_when_the_wish_is_kept(client, monday, office):
    client.force_login(office)
    replan = call_out(monday, office, begin_by="13:00")
    (line,) = (line for line in replan.proposal["moves"] if line["visit"] == "new")
    begins = f"{upsets.time_at(replan.proposal['starts']['new']):%H:%M}"
    assert begins <= "13:00"
    assert begins in line["after"]
    page = page_of(client, replan)
    assert f"Begin by 13:00 on {writing.weekday_day(monday)}: kept, {begins}" in page
    assert "Nobody can be there" not in page


def test_an_urgent_call_that_nobody_may_serve_that_day_says_so_loudly(
    client, monday, technician, other_technician, office
):
    """The only one with the skill is away until Wednesday."""
    client.force_login(office)
    skill = Skill.objects.create(name="Pumps", kinds=["repair"])
    technician.technician_profile.skills.add(skill)
    tuesday, wednesday = monday + dt.timedelta(days=1), monday + dt.timedelta(days=2)
    Absence.objects.create(technician=technician, starts_on=monday, ends_on=tuesday)

    page = page_of(client, call_out(monday, office, begin_by="13:00"))
    assert (
        f'role="alert">Nobody can be there by 13:00 on {writing.weekday_day(monday)}: nobody at work has the skill '
        "Pumps. "
        f"The first place found: {writing.weekday_day(wednesday)} "
    ) in page
    assert "kept," not in page

    other_technician.technician_profile.skills.clear()
    technician.technician_profile.skills.clear()
    with pytest.raises(ValidationError, match="No technician can come by .* has the skill Pumps"):
        call_out(monday, office)


def test_an_urgent_call_that_is_too_early_is_served_as_soon_after_as_can_be(client, monday, office):
    client.force_login(office)
    replan = call_out(monday, office, now="10:58", begin_by="11:00")
    page = page_of(client, replan)
    assert f"Nobody can be there by 11:00 on {writing.weekday_day(monday)}: nobody can drive there in time" in page
    assert replan.proposal["starts"]["new"] <= (11 * 60 + 30) * 60


def test_a_time_to_begin_by_that_is_past_is_refused_beside_the_field(client, monday, office, monkeypatch):
    monkeypatch.setattr("jobs.views.upsets.timezone.now", lambda: at("13:10", monday))
    client.force_login(office)  # a session lasts two weeks: made today, it may be over on the Monday ahead
    site = factories.SiteFactory()
    typed = {"site": site.pk, "service_min": 45, "begin_by": "13:00", "instructions": "burst"}
    answer = client.post("/upsets/new/call_out/", typed)
    assert answer.status_code == 422
    assert answer.context["form"].errors == {"begin_by": ["That time is past: it is 13:10 already."]}
    assert 'value="13:00"' in answer.content.decode()
    assert not Replan.objects.exists()


def test_the_client_of_an_urgent_call_waits_for_word(client, monday, office):
    client.force_login(office)
    replan = call_out(monday, office, client__name="Rook Trust", client__phone="+1 206 555 0199")
    assert difference_of(replan).clients == 1
    (line,) = (line for line in replan.proposal["moves"] if line["visit"] == "new")
    page = page_of(client, replan)
    told = page[page.index("Clients to tell</h2>") :]
    assert 'Rook Trust, Rook Meadow: <a href="tel:+1 206 555 0199">+1 206 555 0199</a>' in told
    assert f"Waits for word when somebody comes: <strong>{line['after']}</strong>" in told
    assert replan.proposal["tell_clients"] == []


def test_a_stacked_cell_holds_one_piece(client, monday, office):
    """On a phone the pieces of a cell are pushed apart."""
    client.force_login(office)
    page = page_of(client, call_out(monday, office, now="09:30"))
    cells = re.findall(r'<td data-label="(?:Site|New)">(.*?)</td>', page)
    assert len(cells) >= 2
    assert all(cell.startswith("<span>") and cell.endswith("</span>") for cell in cells)
    assert re.search(r"Driving on these days</dt><dd>.*?\d\.\d h", page)


def test_planned_visits_are_chosen_by_month_with_time_and_technician(client, monday, technician, office):
    client.force_login(office)
    visit, _, last = Visit.objects.order_by("arrives_at")
    later = monday + dt.timedelta(days=40)
    Visit.objects.filter(pk=last.pk).update(planned_on=later)
    page = unescape(client.get("/upsets/new/cancelled/").content.decode())
    assert f"{writing.weekday_date(monday)} 09:00, {visit.site}, {visit.get_kind_display()}, {technician}" in page
    assert re.findall('<optgroup label="(.*?)"', page) == [
        f"{writing.month_year(monday)}",
        f"{writing.month_year(later)}",
    ]
    assert f"/upsets/new/cancelled/?visit={visit.pk}" in client.get(f"/visits/{visit.pk}/plan/").content.decode()


def test_an_urgent_call_among_promises_names_the_overtime_that_would_make_room(client, technician, office):
    client.force_login(office)
    monday = monday_ahead()
    for visit in make_visits(7, service_min=65):
        assign(visit=visit, technician=technician, planned_on=monday, by=office)
        pin(visit=visit, promised=True, promised_time=None, promised_until=None, by=office)
    page = page_of(client, call_out(monday, office))
    full = rf"Nobody can be there on {writing.weekday_day(monday)}: the day of everybody who could come is full"
    assert re.search(
        rf"{full} \(\d+ min overtime of {technician} on {writing.day_month(monday)} would make room\)\.", page
    )


def test_what_frost_brings_forward_goes_near_the_new_deadline_not_to_the_first_day(office, technician):
    monday = monday_ahead()
    window = {"opens_on": monday, "due_on": monday + dt.timedelta(days=40)}
    SeasonWindow.objects.create(season_year=monday.year, kind="winterisation", **window)
    late = make_visits(2, kind="winterisation", **window)
    for visit in late:
        planned(visit, technician, monday + dt.timedelta(days=35))
    due = monday + dt.timedelta(days=25)
    replan = upsets.propose_frost(season_year=monday.year, due_on=due, now=at("12:00", monday), by=office)
    upsets.accept(replan=replan, now=at("12:05", monday), by=office)
    days = {visit.planned_on for visit in Visit.objects.all()}
    assert due - dt.timedelta(days=4) <= min(days) <= max(days) <= due
