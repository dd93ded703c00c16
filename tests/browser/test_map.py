"""The maps that can be moved, drawn over the drawings; without script the drawings stay."""

import datetime as dt

import pytest

from jobs.actions.planning import assign
from jobs.queries.planning import firm_today
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def day(technician, office):
    date = firm_today() + dt.timedelta(days=7)
    date += dt.timedelta(days=max(0, 7 - date.weekday()) if date.weekday() > 4 else 0)
    for n in range(3):
        site = factories.SiteFactory(name=f"Place {n} <b>", latitude=47.62 + n / 50, longitude=-122.3 - n / 90)
        visit = factories.VisitFactory(site=site, opens_on=date, due_on=date, season_year=date.year)
        assign(visit=visit, technician=technician, planned_on=date, by=office)
    return date


@pytest.mark.parametrize("phone", [False, True])
def test_the_day_board_shows_numbered_stops_and_the_route_on_a_plain_ground(open_as, office, day, phone):
    page = open_as(office, phone=phone)
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(f"/days/?date={day}")

    page.wait_for_selector(".ground .sign")
    assert sorted(page.locator(".ground .sign").all_inner_texts()) == ["1", "2", "3", "S"]
    assert page.locator(".ground path.leaflet-interactive").count() >= 1
    assert not page.locator("img[data-places]").is_visible()
    page.locator(".ground .sign", has_text="2").click()
    assert "Place" in page.locator(".leaflet-popup").inner_text()
    assert all("localhost" in url for url in asked)
    assert page.evaluate("document.documentElement.scrollWidth") <= (390 if phone else 1280)


def test_the_season_board_shows_each_site_once(open_as, office, day):
    page = open_as(office)
    page.goto(f"/season/?year={day.year}")
    page.wait_for_selector(".ground path.leaflet-interactive")
    assert page.locator(".ground path.leaflet-interactive").count() == 3


def test_without_places_the_drawing_stays(open_as, office, day):
    page = open_as(office)
    page.route("**/*.geojson", lambda route: route.fulfill(json={"type": "FeatureCollection", "features": []}))
    page.goto(f"/days/?date={day}")
    page.wait_for_load_state("networkidle")
    assert page.locator("img[data-places]").is_visible()
