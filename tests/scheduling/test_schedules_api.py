"""Schedules as endpoints: what a client reads of one, a refused publication, a figure with its derivation."""

import datetime as dt

import pytest

from scheduling.actions.schedules import compute_draft, publish

JULY = dt.date(2015, 7, 15)


@pytest.fixture
def published(seattle, site):
    return publish(schedule=compute_draft(site=site, today=JULY, by=None, month=7), by=None)


def test_a_client_reads_programs_and_months_but_not_what_the_office_works_with(published, client, client_user):
    client.force_login(client_user)
    shown = client.get(f"/api/schedules/{published.pk}/").json()
    assert len(shown["zone_months"]) == 24
    assert not {"basis", "warnings", "not_computed", "edited_at", "computed_by", "published_by"} & set(shown)


def test_the_office_reads_the_basis(published, client, office):
    client.force_login(office)
    assert client.get(f"/api/schedules/{published.pk}/").json()["basis"]["station"] == "Test station"


def test_publishing_what_somebody_else_published_answers_409_and_says_who(published, client, office):
    client.force_login(office)
    answer = client.post(f"/api/schedules/{published.pk}/publish/")
    assert answer.status_code == 409
    assert "already published by the scheduled run" in answer.json()["detail"]


def test_a_figure_comes_with_its_inputs_their_origin_formula_and_source(published, client, client_user):
    client.force_login(client_user)
    zone = published.site.zones.get(number=1)
    shown = client.get(f"/api/schedules/{published.pk}/zones/{zone.pk}/months/7/").json()
    figures = {figure["key"]: figure["derivation"] for figure in shown["figures"]}
    week = figures["exact_run_time_min_per_week"]
    need, multiplier, rate = (each["value"] for each in week["inputs"])
    assert week["value"] == pytest.approx(60 * need * multiplier / rate)
    assert rate == 12.0
    assert {each["origin"] for each in figures["raw_mm"]["inputs"]} == {"register", "default"}


@pytest.mark.parametrize("month", [0, 13])
def test_a_month_that_is_none_has_no_figures(published, client, office, month):
    client.force_login(office)
    zone = published.site.zones.first()
    assert client.get(f"/api/schedules/{published.pk}/zones/{zone.pk}/months/{month}/").status_code == 404
