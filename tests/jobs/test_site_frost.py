"""Each site's own dates: made, followed, set by hand, given back; what the pages say of them."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.actions.planning import add_visit, change_visit, follow_window, plan_season
from jobs.actions.visits import generate_visits, save_service_plan, save_window
from jobs.core.routing.season_terms import Remedy
from jobs.models import PlanRun, SeasonWindow, ServicePlan, Skill, Visit, VisitTerms
from jobs.queries.planning import firm_today
from jobs.queries.remedies import RemedyWords
from jobs.queries.windows import outer_windows, suggested_windows
from sites.core.told import told
from sites.core.writing import written_for
from sites.models import AuditEntry
from tests import factories
from tests.jobs.frost_rows import make_station, site_above
from tests.jobs.planning_rows import make_visits, monday_ahead

pytestmark = pytest.mark.django_db
ROUND = {"opens_on": dt.date(2031, 9, 1), "due_on": dt.date(2031, 11, 10), "reason": "by hand"}


def winterise(site, **changes) -> Visit:
    fields = {"season_year": 2031, "kind": "winterisation", "opens_on": ROUND["opens_on"], "due_on": ROUND["due_on"]}
    return factories.VisitFactory(site=site, **{**fields, **changes})


def autumn(office, **changes) -> int:
    words = {"season_year": 2031, "kind": "winterisation", "chance": 0.1, **ROUND, **changes}
    return save_window(window=SeasonWindow(**words), by=office)


def dates_of(visit) -> tuple[dt.date, dt.date]:
    visit.refresh_from_db()
    return visit.opens_on, visit.due_on


@pytest.fixture
def station(firm):
    return make_station()


def reason(visit: Visit) -> str:
    """Why the visit's dates are as they are, as a metric firm reads it."""
    return told(visit.window_reason, "metric")


def test_each_visit_is_made_with_its_sites_own_date_and_the_reason(office, station):
    low, high, hollow = site_above(station, 0), site_above(station, 100), site_above(station, 100)
    VisitTerms.objects.create(site=hollow, frost_days=7, frost_note="cold hollow")
    for site in (low, high, hollow):
        ServicePlan.objects.create(site=site, mid_season_visits=0)
    autumn(office)
    spring = {"opens_on": dt.date(2031, 3, 1), "due_on": dt.date(2031, 5, 15), "reason": ""}
    save_window(window=SeasonWindow(season_year=2031, kind="startup", chance=0.2, **spring), by=office)

    assert generate_visits(season_year=2031, by=office) == 6

    rows = {(v.site_id, v.kind): v for v in Visit.objects.all()}
    # 100 m are 0.65 K: 6.5 days of 0.1 K, so the first or last day at or below it is 6 days away.
    due = {site.pk: rows[site.pk, "winterisation"].due_on for site in (low, high, hollow)}
    assert due == {low.pk: dt.date(2031, 10, 27), high.pk: dt.date(2031, 10, 21), hollow.pk: dt.date(2031, 10, 14)}
    opens = {site.pk: rows[site.pk, "startup"].opens_on for site in (low, high, hollow)}
    assert opens == {low.pk: dt.date(2031, 3, 21), high.pk: dt.date(2031, 3, 27), hollow.pk: dt.date(2031, 4, 3)}
    assert {v.opens_on for v in rows.values() if v.kind == "winterisation"} == {ROUND["opens_on"]}
    assert reason(rows[low.pk, "winterisation"]) == "10 % chance of −2.2 °C by 27 Oct, Harbour"
    higher = "Harbour, site 100 m higher than the station"
    cold = reason(rows[hollow.pk, "winterisation"])
    assert cold == f"10 % chance of −2.2 °C by 21 Oct, {higher}, 7 days earlier: cold hollow"
    cold = reason(rows[hollow.pk, "startup"])
    assert cold == f"20 % chance of −2.2 °C after 27 Mar, {higher}, 7 days later: cold hollow"
    with written_for("en-US"):
        assert told(rows[hollow.pk, "winterisation"].window_reason, "us").startswith(
            "10 % chance of 28 °F by Oct 21, Harbour, site 328 ft higher than the station"
        )


def test_sites_without_a_usable_record_keep_the_window_and_say_why(office, firm):
    short = make_station(name="Young", years=range(2020, 2026))
    visits = [winterise(site_above(short, 0)), winterise(site_above(None, 0))]
    autumn(office)
    assert [dates_of(visit)[1] for visit in visits] == [ROUND["due_on"]] * 2
    assert [reason(visit) for visit in visits] == [
        "10 % chance of −2.2 °C by 27 Oct, Young (insufficient: 6 seasons of at least 20)"
        ": the season's window counts",
        "no weather station at this site: the season's window counts",
    ]


def test_without_a_chance_all_have_the_windows_dates_but_for_their_frost_days(office, station):
    plain, hollow = winterise(site_above(station, 300)), winterise(site_above(station, 0))
    VisitTerms.objects.create(site=hollow.site, frost_days=7)
    autumn(office, chance=None)
    assert dates_of(plain) == (ROUND["opens_on"], ROUND["due_on"])
    assert dates_of(hollow) == (ROUND["opens_on"], dt.date(2031, 11, 3))
    assert (plain.window_reason, hollow.window_reason) == ("by hand", "by hand, 7 days earlier")


def test_a_late_site_is_still_made_although_its_own_date_has_passed(office, station):
    ServicePlan.objects.create(site=site_above(station, 0), mid_season_visits=0, startup=False)
    autumn(office)
    assert generate_visits(season_year=2031, by=office, today=dt.date(2031, 10, 30)) == 1
    assert generate_visits(season_year=2031, by=office, today=dt.date(2031, 11, 11)) == 0
    assert Visit.objects.get().due_on == dt.date(2031, 10, 27)


def test_followers_are_those_not_set_by_hand_and_not_promised(office, station):
    follows = winterise(site_above(station, 0), due_on=dt.date(2031, 10, 3))  # its dates need not equal any window
    by_hand, promised = (winterise(site_above(station, 0), **{how: True}) for how in ("own_dates", "promised"))
    assert autumn(office) == 1
    assert dates_of(follows)[1] == dt.date(2031, 10, 27)
    assert autumn(office, chance=None) == 1
    assert dates_of(follows)[1] == ROUND["due_on"]
    assert dates_of(by_hand)[1] == dates_of(promised)[1] == ROUND["due_on"]
    assert (by_hand.window_reason, promised.window_reason) == ("", "")
    assert autumn(office, chance=None) == 0


def test_dates_typed_by_the_office_stay_until_they_are_given_back(office, station):
    visit = winterise(site_above(station, 0))
    autumn(office)
    change_visit(visit=visit, changes={"service_min": 70}, by=office)
    visit.refresh_from_db()
    assert not visit.own_dates
    change_visit(visit=visit, changes={"due_on": dt.date(2031, 10, 5)}, by=office)
    visit.refresh_from_db()
    assert (visit.own_dates, visit.window_reason) == (True, "set by hand")
    autumn(office, due_on=dt.date(2031, 11, 1))
    assert dates_of(visit)[1] == dt.date(2031, 10, 5)
    follow_window(visit=visit, by=office)
    assert dates_of(visit)[1] == dt.date(2031, 10, 27)
    assert (visit.own_dates, reason(visit)) == (False, "10 % chance of −2.2 °C by 27 Oct, Harbour")
    entry = AuditEntry.objects.filter(verb="visit follows the season's window again").get()
    assert (entry.by, entry.subject_id) == (office, str(visit.pk))


def test_a_visit_on_request_has_its_own_dates_and_cannot_follow_what_is_not_there(office, site):
    today = firm_today()
    visit = add_visit(visit=Visit(site=site, opens_on=today, due_on=today, service_min=40), by=office)
    assert visit.own_dates
    with pytest.raises(ValidationError, match="has no window for: repair"):
        follow_window(visit=visit, by=office)


def test_more_checks_ordered_share_the_window_again(office, site):
    plan = ServicePlan.objects.create(site=site, mid_season_visits=1)
    SeasonWindow.objects.create(
        season_year=2031, kind="mid_season", opens_on=dt.date(2031, 6, 1), due_on=dt.date(2031, 6, 30)
    )
    visit = factories.VisitFactory(
        site=site, kind="mid_season", season_year=2031, opens_on=dt.date(2031, 6, 1), due_on=dt.date(2031, 6, 30)
    )
    plan.mid_season_visits = 2
    assert save_service_plan(plan=plan, terms=VisitTerms(site=site), skills=[], by=office) == 1
    assert dates_of(visit) == (dt.date(2031, 6, 1), dt.date(2031, 6, 15))


def test_the_window_for_all_is_careful_and_the_one_around_own_dates_wide(office, station):
    low, high = site_above(station, -100, name="Low"), site_above(station, 100, name="High")
    careful = {row.kind: row for row in suggested_windows(2031, 0.1)}
    outer = {row.kind: row for row in outer_windows(2031, 0.1)}
    # The highest site freezes on 21 October; the lowest, 6.5 days of 0.1 K later, on 3 November.
    assert careful["winterisation"].due_on == dt.date(2031, 10, 21)
    assert outer["winterisation"].due_on == dt.date(2031, 11, 3)
    assert outer["winterisation"].opens_on == dt.date(2031, 10, 21) - dt.timedelta(days=60)
    assert told(outer["winterisation"].reason, "metric").startswith(
        "Low, the last to freeze: 10 % chance of −2.2 °C by 3 Nov, Harbour"
    )
    assert outer["startup"].opens_on == dt.date(2031, 3, 14)
    assert outer["startup"].due_on == dt.date(2031, 3, 27) + dt.timedelta(days=60)
    VisitTerms.objects.create(site=high, frost_days=-20, frost_note="walled")
    assert {row.kind: row for row in outer_windows(2031, 0.1)}["winterisation"].due_on == dt.date(2031, 11, 10)
    assert low.elevation_m == 0


# What a later deadline would risk


def test_a_later_deadline_names_the_chance_of_a_hard_freeze_at_that_site(office, firm):
    # First hard freezes of twenty years on days 290 to 309: mean 299.5, deviation 5.916, no other year.
    station = make_station(years=range(2001, 2021), spread=lambda year: year - 2001 - 10)
    visit, hollow = winterise(site_above(station, 0)), winterise(site_above(station, 0))
    VisitTerms.objects.create(site=hollow.site, frost_days=7)
    later = Remedy("deadline", "a deadline 5 days later", on=dt.date(2031, 10, 26))  # day 299
    words = RemedyWords([visit, hollow])
    assert words.of(visit, later) == "a deadline 5 days later, 47 % chance of a hard freeze by then"  # Phi(-0.0845)
    assert words.of(hollow, later) == "a deadline 5 days later, 86 % chance of a hard freeze by then"  # Phi(1.0987)
    never = Remedy("deadline", "later", on=dt.date(2031, 12, 24))
    assert words.of(visit, never) == "later, more than 99 % chance of a hard freeze by then"
    soon = Remedy("deadline", "later", on=dt.date(2031, 9, 24))
    assert words.of(visit, soon) == "later, less than 1 % chance of a hard freeze by then"


def test_only_a_later_winterisation_has_a_risk_to_tell(office, firm):
    short = make_station(name="Young", years=range(2020, 2026))
    later = Remedy("deadline", "later", on=dt.date(2031, 12, 24))
    unknown, young = winterise(site_above(None, 0)), winterise(site_above(short, 0))
    startup = winterise(site_above(short, 0), kind="startup")
    words = RemedyWords([unknown, young, startup])
    assert words.of(unknown, later) == "later; no freeze record tells the risk"
    assert words.of(young, later).endswith("chance of a hard freeze by then (by too short a record)")
    assert words.of(startup, later) == "later"
    assert words.of(young, Remedy("day", "an extra day", on=dt.date(2031, 12, 24))) == "an extra day"


def test_the_plan_of_a_season_tells_the_risk_of_waiting(office, technician, station):
    monday = monday_ahead()
    make_visits(8, kind="winterisation", service_min=240, due_on=monday + dt.timedelta(days=1))
    factories.sites.Site.objects.update(weather_station=station, elevation_m=100)
    summary = plan_season(
        run=PlanRun(
            season_year=monday.year,
            kinds=["winterisation"],
            first_day=monday,
            last_day=monday + dt.timedelta(days=4),
            rounds=3,
            asked_by=office,
        )
    )
    remedies = [text for row in summary.unplaced for text in row.remedies]
    later = [text for text in remedies if "days later (" in text]
    assert later and all("chance of a hard freeze by then" in text for text in later)
    assert not any("chance" in text for text in remedies if text not in later)


# Pages


def url(kind="winterisation", query="") -> str:
    return reverse("jobs:season_window", args=[2031, kind]) + query


def text_of(answer) -> str:
    return " ".join(answer.content.decode().split())


def test_the_window_page_shows_the_stations_dates_and_what_they_mean_for_sites(as_office, station):
    site_above(station, 100, name="High"), site_above(station, -100, name="Low"), site_above(None, 0, name="None")
    SeasonWindow.objects.create(season_year=2031, kind="winterisation", **ROUND)
    page = text_of(as_office.get(url()))
    assert "21 Oct 2031" in page  # careful: for the highest site
    assert "Harbour, 100.0 m" in page and "22 with one of 22" in page and "sufficient" in page
    # The same day every year: one date for 10, 50 and 90 %.
    assert page.count(">21 Mar</td>") == page.count(">27 Oct</td>") == 3
    page = text_of(as_office.get(url(query="?chance=0.1&own=on")))
    assert "3 Nov 2031" in page and "Low, the last to freeze" in page
    assert "{temperature" not in page and "{day" not in page
    assert "2 of 3 sites" in page
    assert "1 site cannot have an own date" in page
    page = text_of(as_office.get(url(query="?use=1&chance=0.2&own=on")))
    assert '<option value="0.2" selected>yes' in page and 'value="2031-11-03"' in page


def test_a_window_is_saved_with_its_chance_and_visits_get_their_own_dates(as_office, station):
    visit = winterise(site_above(station, 100))
    data = {"opens_on": "2031-09-01", "due_on": "2031-11-10", "reason": "by frost", "chance": "0.1"}
    wrong = as_office.post(url(), {**data, "chance": "0.7", "reason": "typed reason"})
    assert wrong.status_code == 422 and "typed reason" in text_of(wrong)
    page = text_of(as_office.post(url(), data, follow=True))
    assert "Window saved. 1 visit has other dates now." in page and "each site its own date" in page
    assert SeasonWindow.objects.get().chance == 0.1
    assert dates_of(visit)[1] == dt.date(2031, 10, 21)
    assert '<option value="0.1" selected>' in text_of(as_office.get(url()))
    as_office.post(url(), {**data, "chance": ""})
    assert SeasonWindow.objects.get().chance is None
    assert dates_of(visit)[1] == dt.date(2031, 11, 10)


def test_checks_have_no_frost_to_choose(as_office, station):
    site_above(station, 0)
    page = text_of(as_office.get(url("mid_season")))
    assert 'id="id_chance"' not in page and 'id="sites"' not in page


def test_a_visits_page_shows_the_reason_and_gives_hand_set_dates_back(as_office, station):
    visit = winterise(site_above(station, 100))
    data = {"opens_on": "2031-09-01", "due_on": "2031-11-10", "reason": "", "chance": "0.1"}
    as_office.post(url(), data)
    page_url = reverse("jobs:visit_plan", args=[visit.pk])
    page = text_of(as_office.get(page_url))
    assert "10 % chance of −2.2 °C by 21 Oct, Harbour, site 100 m higher than the station" in page
    assert "Follow the season" not in page
    as_office.post(page_url, {"opens_on": "2031-09-01", "due_on": "2031-10-01", "service_min": 45})
    page = text_of(as_office.get(page_url))
    assert "These dates were set by hand." in page and "Follow the season" in page
    follow = reverse("jobs:visit_follow", args=[visit.pk])
    assert as_office.get(follow).status_code == 405
    page = text_of(as_office.post(follow, follow=True))
    assert "again: 1 Sept 2031 to 21 Oct 2031" in page
    Visit.objects.update(state="finished")
    assert "This visit is finished." in text_of(as_office.post(follow, follow=True))


@pytest.mark.parametrize("who", ["technician", "client_user"])
def test_nobody_else_gives_dates_back(client, request, station, who):
    client.force_login(request.getfixturevalue(who))
    visit = winterise(site_above(station, 100), own_dates=True)
    assert client.post(reverse("jobs:visit_follow", args=[visit.pk])).status_code == 403
    visit.refresh_from_db()
    assert visit.own_dates


def terms_data(**changes) -> dict:
    return {"startup": "on", "mid_season_visits": "1", "winterisation": "on", "frost_days": "0", **changes}


def test_plan_wishes_and_frost_of_a_site_are_saved_together(as_office, office, technician, station):
    site = site_above(station, 100, name="Creek End")
    visit, licence = winterise(site), Skill.objects.create(name="Backflow licence")
    autumn(office)
    page_url = reverse("jobs:service_plan", args=[site.pk])
    data = terms_data(
        frost_days="7",
        frost_note="cold hollow",
        preferred_technician=technician.pk,
        preferred_weekdays=["1", "3"],
        skills=[licence.pk],
    )
    page = text_of(as_office.post(page_url, data, follow=True))
    assert "1 visit has other dates now." in page
    terms = VisitTerms.objects.get(site=site)
    assert (terms.frost_days, terms.frost_note, terms.preferred_weekdays) == (7, "cold hollow", [1, 3])
    assert terms.preferred_technician == technician and list(terms.skills.all()) == [licence]
    assert ServicePlan.objects.get(site=site).mid_season_visits == 1
    assert dates_of(visit)[1] == dt.date(2031, 10, 14)
    verbs = list(AuditEntry.objects.filter(by=office).values_list("verb", "subject_type"))
    assert ("created", "jobs.visitterms") in verbs and ("created", "jobs.serviceplan") in verbs
    skills = AuditEntry.objects.get(verb="skills changed", subject_type="jobs.visitterms")
    assert skills.detail == {"skills": ["Backflow licence"]}
    before = AuditEntry.objects.count()
    as_office.post(page_url, data)
    assert AuditEntry.objects.count() == before  # nothing changed, nothing to tell


def test_one_wrong_field_saves_neither_form_and_keeps_what_was_typed(as_office, station):
    site = site_above(station, 0)
    answer = as_office.post(
        reverse("jobs:service_plan", args=[site.pk]),
        terms_data(mid_season_visits="40", frost_days="90", frost_note="by the creek", preferred_technician="77"),
    )
    page = text_of(answer)
    assert answer.status_code == 422
    assert "3 fields need a look" in page
    assert "Must be at most 12." in page and "Must be at most 60 days." in page
    assert all(f'value="{typed}"' in page for typed in ("40", "90", "by the creek"))
    assert not ServicePlan.objects.exists() and not VisitTerms.objects.exists()


def test_the_page_of_a_site_shows_this_seasons_and_the_next_ones_dates(as_office, office, station):
    site = site_above(station, 0)
    page_url = reverse("jobs:service_plan", args=[site.pk])
    assert "Neither this season nor the next" in text_of(as_office.get(page_url))
    year = firm_today().year
    for season, chance in ((year, 0.1), (year + 1, None)):
        bounds = {"opens_on": dt.date(season, 9, 1), "due_on": dt.date(season, 11, 10)}
        SeasonWindow.objects.create(season_year=season, kind="winterisation", chance=chance, **bounds)
    page = text_of(as_office.get(page_url))
    own = dt.date(year, 1, 1) + dt.timedelta(days=299)  # day 300
    assert f"no later than {own.day} Oct {year}" in page and "Harbour" in page
    assert f"no later than 10 Nov {year + 1}" in page and "gives one date to all" in page


def test_a_technician_who_left_stays_chosen_until_the_office_says_otherwise(as_office, technician, site):
    VisitTerms.objects.create(site=site, preferred_technician=technician)
    technician.is_active = False
    technician.save()
    page_url = reverse("jobs:service_plan", args=[site.pk])
    assert f'<option value="{technician.pk}" selected>' in text_of(as_office.get(page_url))
    assert as_office.post(page_url, terms_data(preferred_technician=technician.pk)).status_code == 302
    as_office.post(page_url, terms_data(preferred_technician=""))
    assert VisitTerms.objects.get().preferred_technician is None


# Work for the database


def queries(run) -> int:
    with CaptureQueriesContext(
        connection,
    ) as seen:
        run()
    return len(seen)


def test_queries_do_not_grow_with_the_sites(as_office, office, station):
    second = make_station(name="Hill", elevation_m=300)
    counts = []
    for year in (2031, 2032):
        for n in range(3):
            site = site_above((station, second)[n % 2], 20 * n)
            ServicePlan.objects.create(site=site, mid_season_visits=0, startup=False)
            VisitTerms.objects.create(site=site, frost_days=n)
        bounds = {"opens_on": dt.date(year, 9, 1), "due_on": dt.date(year, 11, 10), "reason": ""}
        saved = {"season_year": year, "kind": "winterisation", **bounds}
        page = reverse("jobs:season_window", args=[year, "winterisation"])
        as_office.get(page)  # content types and the like are read once
        counts.append(
            (
                queries(lambda saved=saved: save_window(window=SeasonWindow(chance=0.1, **saved), by=office)),
                queries(lambda year=year: generate_visits(season_year=year, by=office)),
                queries(lambda saved=saved: save_window(window=SeasonWindow(chance=0.2, **saved), by=office)),
                queries(lambda page=page: as_office.get(page)),
            )
        )
        assert Visit.objects.filter(season_year=year).count() == ServicePlan.objects.count()
    assert counts[0] == counts[1]
