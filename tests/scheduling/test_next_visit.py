"""A draft for controllers that are set by hand: on the next visit's sheet, set there, and published by that."""

import datetime as dt

import pytest
from django.urls import reverse

from jobs.actions.field import _record_schedule_set
from jobs.queries.field import schedule_to_set
from reports.queries.service_sheet import service_sheet_data
from scheduling.actions.schedules import (
    ScheduleError,
    compute_draft,
    compute_many,
    publish,
    put_on_next_visit,
    record_applied,
)
from scheduling.models import SeasonSchedule
from sites.models import Controller
from tests import factories

JULY = dt.date(2015, 7, 15)


@pytest.fixture
def drafts(seattle, site):
    """The published schedule of July and a draft of April beside it."""
    published = publish(schedule=compute_draft(site=site, today=JULY, by=None, month=7), by=None)
    site.refresh_from_db()
    return published, compute_draft(site=site, today=JULY, by=None, month=4)


@pytest.fixture
def visit(site, technician):
    return factories.VisitFactory(site=site, kind="mid_season", technician=technician)


def minutes(sheet):
    return [zone.minutes for program in sheet.programs for zone in program.zones]


def test_the_sheet_and_the_visit_show_the_draft_in_place_of_what_is_published(drafts, visit):
    published, draft = drafts
    before = minutes(service_sheet_data(visit, completed=False))
    assert schedule_to_set(visit).schedule == published
    put_on_next_visit(schedule=draft, by=None)
    assert schedule_to_set(visit).schedule == draft
    after = minutes(service_sheet_data(visit, completed=False))
    assert after != before
    assert after == [f"{step.run_time_min:g} min" for step in draft.programs.get().steps.all()]


def test_noting_that_it_was_set_publishes_it(drafts, visit, technician, site):
    published, draft = drafts
    put_on_next_visit(schedule=draft, by=None)
    visit.finished_at = dt.datetime(2030, 7, 20, 18, tzinfo=dt.UTC)
    _record_schedule_set(visit, site.controllers.all(), technician)
    draft.refresh_from_db()
    published.refresh_from_db()
    assert (draft.state, draft.published_by, published.state) == ("published", technician, "superseded")
    assert draft.applied.get().applied_on == dt.date(2030, 7, 20)


def test_the_nightly_run_leaves_it_and_an_unmarked_draft_is_still_no_schedule_to_set(drafts, site):
    _, draft = drafts
    with pytest.raises(ScheduleError, match="Publish it first"):
        record_applied(schedule=draft, controller=site.controllers.get(), applied_on=JULY, by=None)
    put_on_next_visit(schedule=draft, by=None)
    assert compute_many(sites=[site], today=JULY, by=None) == []
    assert SeasonSchedule.objects.filter(pk=draft.pk).exists()


def test_a_site_whose_controllers_are_set_from_afar_is_told_to_publish(drafts, site):
    Controller.objects.filter(site=site).update(set_by_hand=False)
    with pytest.raises(ScheduleError, match="publish it instead"):
        put_on_next_visit(schedule=drafts[1], by=None)


def test_the_week_page_puts_the_chosen_on_the_sheet_and_the_draft_page_takes_it_off(drafts, client, office):
    _, draft = drafts
    client.force_login(office)
    answer = client.post(reverse("scheduling:week"), {"act": "visit", "draft": [draft.pk]}, follow=True)
    assert "1 schedule put on the sheet of the next visit." in answer.content.decode()
    assert "Take it off" in client.get(reverse("scheduling:schedule", args=[draft.pk])).content.decode()
    client.post(reverse("scheduling:schedule_next_visit", args=[draft.pk]))
    draft.refresh_from_db()
    assert draft.for_next_visit_at is None


def test_a_technician_reads_a_draft_only_while_it_stands_on_the_sheet(drafts, client, visit, technician, client_user):
    _, draft = drafts
    url = reverse("scheduling:schedule", args=[draft.pk])
    client.force_login(technician)
    assert client.get(url).status_code == 404
    put_on_next_visit(schedule=draft, by=None)
    page = client.get(url).content.decode()
    assert "Draft schedule" in page
    assert ">Publish<" not in page
    client.force_login(client_user)
    assert client.get(url).status_code == 404


def test_a_note_about_a_stranger_s_controller_leaves_the_draft_a_draft(drafts, other_site):
    _, draft = drafts
    draft = put_on_next_visit(schedule=draft, by=None)
    with pytest.raises(ScheduleError, match="is not at the site"):
        record_applied(schedule=draft, controller=other_site.controllers.get(), applied_on=JULY, by=None)
    draft.refresh_from_db()
    assert (draft.state, draft.published_at) == ("draft", None)


WANTED = [
    ("mid_season", "on", True),
    ("repair", "winter", False),
    ("startup", "winter", True),
    ("winterisation", "on", False),
]


@pytest.mark.parametrize(("kind", "state", "asked"), WANTED)
def test_nothing_is_set_where_the_system_is_emptied_or_stays_off(drafts, kind, state, asked):
    published, _ = drafts
    factories.StateChangeFactory(site=published.site, state=state, changed_on=JULY)
    visit = factories.VisitFactory(site=published.site, kind=kind)
    assert (schedule_to_set(visit) is not None) == asked
