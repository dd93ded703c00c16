"""A site that is off gets nothing: no draft, no place in the office's list; publishing for it asks first.

So does publishing a draft that is longer than its night.
"""

import datetime as dt
import html
import re

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jobs.queries.planning import firm_today
from scheduling.actions.errors import SiteIsOff
from scheduling.actions.schedules import compute_draft, compute_many, publish
from scheduling.models import ForecastDay, SeasonSchedule
from scheduling.queries.week import office_week
from sites.core import writing
from sites.models import Controller, Site
from tests import factories

JULY = dt.date(2015, 7, 15)
STATES = ["off", "filling", "winter"]


def shut(site, state="winter", on=dt.date(2015, 7, 1)):
    return factories.StateChangeFactory(site=site, state=state, changed_on=on)


@pytest.mark.parametrize("state", STATES)
def test_the_nightly_run_leaves_out_a_site_that_is_off_and_takes_its_draft_away(seattle, site, other_site, state):
    compute_many(sites=Site.objects.all(), today=JULY, by=None)
    shut(site, state)

    made = compute_many(sites=Site.objects.all(), today=JULY, by=None)

    assert [draft.site_id for draft in made] == [other_site.pk]
    assert not SeasonSchedule.objects.filter(site=site).exists()


def test_a_draft_that_a_person_edited_is_not_lost_when_the_site_is_shut_off(seattle, site):
    draft = compute_draft(site=site, today=JULY, by=None)
    SeasonSchedule.objects.update(edited_at=timezone.now())
    shut(site)

    compute_many(sites=Site.objects.all(), today=JULY, by=None)

    assert SeasonSchedule.objects.filter(pk=draft.pk).exists()


def test_this_week_s_advice_is_refused_with_the_reason_but_a_month_can_be_made_ready(seattle, site, as_office):
    shut(site)

    with pytest.raises(SiteIsOff, match="shut off for winter since 1 Jul 2015"):
        compute_draft(site=site, today=JULY, by=None)
    assert compute_draft(site=site, today=JULY, by=None, month=8).programs.exists()

    shut(site, "off", firm_today())
    page = as_office.post(f"/sites/{site.pk}/watering/compute/", {"month": "week"}, follow=True).content.decode()
    assert "it gets no advice for this week" in page
    answer = as_office.post("/api/schedules/", {"site": site.pk}, content_type="application/json")
    assert answer.status_code == 409


def test_the_list_is_empty_where_all_sites_are_off_and_says_why(seattle, site, other_site, as_office):
    for one in (site, other_site):
        publish(schedule=compute_draft(site=one, today=JULY, by=None, month=7), by=None, on=dt.date(2015, 7, 2))
        compute_draft(site=one, today=JULY, by=None, month=7)
    assert office_week(today=JULY, threshold_percent=0).compared == 2
    shut(site)
    shut(other_site, "off")

    week = office_week(today=JULY, threshold_percent=0)

    assert (week.rows, week.compared, sorted(week.off)) == ((), 0, [("off", 1), ("shut off for winter", 1)])
    text = as_office.get("/watering/").content.decode()
    assert "No site is watered now" in text
    assert ">too little</span>" not in text


def test_publishing_for_a_site_that_is_off_asks_first_and_says_why(seattle, site, as_office):
    draft = compute_draft(site=site, today=JULY, by=None, month=7)
    shut(site)
    address = f"/schedules/{draft.pk}/publish/"

    asked = as_office.post(address, {"site": site.pk}).content.decode()

    assert "is shut off for winter since 1 Jul 2015" in asked
    draft.refresh_from_db()
    assert draft.state == "draft"
    as_office.post(address, {"site": site.pk, "all_the_same": "yes"})
    draft.refresh_from_db()
    assert draft.state == "published"


def test_publishing_many_from_the_list_names_the_site_that_is_off(seattle, site, as_office):
    draft = compute_draft(site=site, today=JULY, by=None, month=7)
    shut(site)

    page = as_office.post("/watering/", {"act": "publish", "draft": [draft.pk]}, follow=True).content.decode()

    assert "shut off for winter" in page
    draft.refresh_from_db()
    assert draft.state == "draft"


def test_the_command_leaves_a_site_that_is_off_alone(seattle, site, capsys):
    shut(site)

    call_command("compute_schedules", "--publish", "--date", "2015-07-15")

    assert "0 schedules published" in capsys.readouterr().out
    assert not SeasonSchedule.objects.exists()


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    changes=st.lists(
        st.tuples(st.dates(dt.date(2015, 1, 1), dt.date(2015, 12, 31)), st.sampled_from([*STATES, "on"])), max_size=4
    ),
    today=st.dates(dt.date(2015, 2, 1), dt.date(2015, 12, 30)),
)
def test_a_site_that_is_off_never_gets_any(seattle, site, changes, today):
    site.state_changes.all().delete()
    SeasonSchedule.objects.all().delete()
    for on, state in changes:
        factories.StateChangeFactory(site=site, state=state, changed_on=on)
    ordered = sorted(changes, key=lambda change: change[0])
    so_far = [state for on, state in ordered if on <= today]
    first, begun = ordered[0] if ordered else (today, "off")

    made = compute_many(sites=Site.objects.all(), today=today, by=None)

    if so_far:
        assert bool(made) == (so_far[-1] == "on")
    elif begun in ("on", "filling") and (first - today).days <= 183:
        assert not made
    else:
        assert made


# Frost and pauses


@pytest.fixture
def frost(site):
    """Minus 2.7 degrees forecast for the night to tomorrow."""
    today = firm_today()
    return ForecastDay.objects.create(
        station=site.weather_station, date=today + dt.timedelta(days=1), temp_max_c=6.0, temp_min_c=-2.7
    )


def test_a_night_of_frost_is_told_with_the_sites_that_are_on_and_what_to_do(frost, site, as_office):
    for address in ("/watering/", f"/sites/{site.pk}/watering/"):
        text = as_office.get(address).content.decode()
        assert "Frost in the night to" in text
        assert "-2.7" in text or "−2.7" in text
        assert "backflow assemblies" in text

    shut(site, on=firm_today())

    assert "Frost in the night" not in as_office.get("/watering/").content.decode()
    assert "Frost in the night" not in as_office.get(f"/sites/{site.pk}/watering/").content.decode()


def test_a_mild_forecast_tells_no_frost(frost, as_office):
    ForecastDay.objects.update(temp_min_c=0.5)

    assert "Frost in the night" not in as_office.get("/watering/").content.decode()


def test_a_pause_names_the_controllers_it_does_not_reach_and_whom_to_send(site, other_site, technician, as_office):
    site.controllers.update(set_by_hand=True, location="in the garage", name="Box A")
    other_site.controllers.update(set_by_hand=False, name="Box B")
    tomorrow = firm_today() + dt.timedelta(days=1)
    factories.VisitFactory(site=site, technician=technician, state="planned", planned_on=tomorrow)
    day = writing.day(tomorrow)
    one_site = f"Hazel Court: Box A, in the garage: send {technician}, who is there on {day}"
    by_person = f"<li>Send {technician}: Hazel Court: Box A, in the garage (is there on {day})</li>"

    form = as_office.get(f"/sites/{site.pk}/watering/pause/").content.decode()
    typed = {"act": "pause_all", "starts_on": tomorrow, "ends_on": tomorrow, "reason": "rain"}
    told = as_office.post("/watering/", typed, follow=True).content.decode()

    assert one_site in form
    assert by_person in told
    assert "Box B" not in told
    assert "Box" not in as_office.get(f"/sites/{other_site.pk}/watering/pause/").content.decode()


def test_many_hand_set_controllers_are_told_by_person_and_no_more_than_ten_of_each(technician, as_office):
    sites = [factories.make_small_site(f"Garden {number:02}") for number in range(12)]
    Controller.objects.filter(site__in=sites).update(set_by_hand=True, name="<b>Box</b>")
    tomorrow = firm_today() + dt.timedelta(days=1)
    factories.VisitFactory(site=sites[11], technician=technician, state="planned", planned_on=tomorrow)

    typed = {"act": "pause_all", "starts_on": tomorrow, "ends_on": tomorrow, "reason": "rain"}
    told = as_office.post("/watering/", typed, follow=True).content.decode()

    lines = re.findall("<li>(Send .*?)</li>", told)
    assert [line.partition(":")[0] for line in lines] == [f"Send {technician}", "Send somebody"]
    assert lines[1].count("Garden") == 10
    assert "Garden 09" in lines[1]
    assert lines[1].endswith("; and 1 more, see the sites’ watering pages")
    assert "<b>Box" not in told


def test_a_firm_without_sites_is_not_offered_to_pause_them_all(db, as_office):
    assert "pause_all" not in as_office.get("/watering/").content.decode()


@pytest.fixture
def too_long(seattle, site):
    """A draft whose nights are longer than the site's window."""
    site.watering_window_start, site.watering_window_end = dt.time(2), dt.time(2, 30)
    site.save()
    draft = compute_draft(site=site, today=JULY, by=None, month=7)
    assert any("do not fit into the window" in words for words in draft.warnings)
    return draft


def test_publishing_a_draft_longer_than_its_night_asks_first_and_says_why(too_long, as_office):
    address = f"/schedules/{too_long.pk}/publish/"

    asked = as_office.post(address, {"site": too_long.site_id}).content.decode()

    assert re.search(r"the watering window closes \d+ min before it is done", asked)
    too_long.refresh_from_db()
    assert too_long.state == "draft"
    as_office.post(address, {"site": too_long.site_id, "all_the_same": "yes"})
    too_long.refresh_from_db()
    assert too_long.state == "published"


def test_many_at_once_the_command_and_the_api_leave_out_a_draft_longer_than_its_night(too_long, as_office, capsys):
    order = {"act": "publish", "draft": [too_long.pk]}
    page = as_office.post("/watering/", order, follow=True).content.decode()
    assert f"Not published, look at it: {too_long.site}." in html.unescape(page)
    assert as_office.post(f"/api/schedules/{too_long.pk}/publish/").status_code == 409
    with pytest.raises(CommandError, match="1 schedules were not published"):
        call_command("compute_schedules", "--publish", "--date", "2015-07-15", "--month", "7")
    assert f"Not published: {too_long.site}" in capsys.readouterr().err
    assert not SeasonSchedule.objects.published().exists()


def test_a_draft_that_is_off_and_too_long_is_asked_about_once_for_both(too_long, site, as_office):
    shut(site)
    asked = as_office.post(f"/schedules/{too_long.pk}/publish/").content.decode()
    assert "shut off for winter" in asked and "the watering window closes" in asked
