"""The private calendar feed, and a day's route as GPX and GeoJSON, each read back by other eyes than ours."""

import datetime as dt
import json
import xml.etree.ElementTree as ET
import zoneinfo

import icalendar
import pytest

from jobs.actions.feeds import make_feed
from jobs.actions.planning import assign
from jobs.models import CalendarFeed
from jobs.queries.planning import firm_today
from tests import factories

GPX = "{http://www.topografix.com/GPX/1/1}"
# Order of the elements in the public schema, GPX 1.1, as far as this file uses them.
WAY_POINT = ["ele", "time", "magvar", "geoidheight", "name", "cmt", "desc", "src", "link", "sym", "type"]
CHILDREN = {
    "gpx": ["metadata", "wpt", "rte", "trk", "extensions"],
    "metadata": ["name", "desc", "author", "copyright", "link", "time", "keywords", "bounds"],
    "wpt": WAY_POINT,
    "rtept": WAY_POINT,
    "trkpt": WAY_POINT,
    "rte": ["name", "cmt", "desc", "src", "link", "number", "type", "rtept"],
    "trk": ["name", "cmt", "desc", "src", "link", "number", "type", "trkseg"],
    "trkseg": ["trkpt"],
}


@pytest.fixture
def day(technician, site, office):
    """A working day with two stops, one of them at a site whose name is a trap."""
    date = firm_today() + dt.timedelta(days=7)
    date += dt.timedelta(days=max(0, 7 - date.weekday()) if date.weekday() > 4 else 0)
    trap = factories.SiteFactory(name="Rose & <Crown>, \N{SNOWMAN};\x07", latitude=47.66, longitude=-122.36)
    for where in (site, trap):
        visit = factories.VisitFactory(site=where, opens_on=date, due_on=date, season_year=date.year)
        assign(visit=visit, technician=technician, planned_on=date, by=office)
    return date


def address_of(technician, office) -> str:
    return f"/calendar/{make_feed(technician=technician, by=office)}.ics"


def test_the_feed_is_valid_and_says_what_the_plan_says(client, day, technician, office):
    answer = client.get(address_of(technician, office))

    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/calendar; charset=utf-8"
    assert all(len(line) <= 75 for line in answer.content.split(b"\r\n"))
    calendar = icalendar.Calendar.from_ical(answer.content)
    assert (str(calendar["VERSION"]), str(calendar["METHOD"])) == ("2.0", "PUBLISH")
    assert calendar["PRODID"]
    events = calendar.walk("VEVENT")
    visits = list(technician.visits.order_by("position"))
    assert len(events) == len(visits) == 2
    for event, visit in zip(events, visits, strict=True):
        assert event.errors == []
        assert str(event["UID"]).startswith(f"visit-{visit.uuid}@")
        assert event["DTSTART"].dt.tzinfo is not None
        begins = event["DTSTART"].dt.astimezone(zoneinfo.ZoneInfo("America/Los_Angeles"))
        assert (begins.date(), begins.time()) == (visit.planned_on, visit.arrives_at)
        assert event["DTEND"].dt - event["DTSTART"].dt == dt.timedelta(minutes=visit.service_min)
        assert visit.site.name.replace("\x07", "")[:6] in str(event["SUMMARY"])
        assert event["GEO"].to_ical() == f"{visit.site.latitude};{visit.site.longitude}"


def test_the_feed_keeps_secrets_of_the_site_to_itself(client, day, technician, office, site):
    site.access_notes, site.client.phone = "gate code 4711", "555 0199"
    site.save()
    site.client.save()

    text = client.get(address_of(technician, office)).content

    assert b"4711" not in text
    assert b"0199" not in text


def test_an_address_opens_without_sign_in_until_it_is_revoked_or_replaced(client, day, technician, office):
    first = address_of(technician, office)
    assert client.get(first).status_code == 200
    assert client.post(first).status_code == 405

    second = address_of(technician, office)
    assert client.get(first).status_code == 404
    assert client.get(second).status_code == 200

    client.force_login(office)
    client.post(f"/team/{technician.pk}/calendar/", {"do": "revoke"})
    client.logout()
    assert client.get(second).status_code == 404
    assert client.get("/calendar/anything.ics").status_code == 404


def test_only_a_hash_of_the_address_is_kept_and_it_is_shown_once(client, technician):
    client.force_login(technician)
    page = client.post(f"/team/{technician.pk}/calendar/", {"do": "make"})
    address = page.context["address"]
    token = address.rpartition("/")[2].removesuffix(".ics")

    assert address in page.content.decode()
    assert token not in client.get(f"/team/{technician.pk}/calendar/").content.decode()
    assert CalendarFeed.objects.get().token_sha256 != token
    assert len(token) >= 40


def test_the_address_does_not_reach_the_log(client, technician, office, caplog):
    address = address_of(technician, office)
    with caplog.at_level("INFO", logger="rillbook"):
        client.get(address)

    assert "(token)" in caplog.text
    assert address.rpartition("/")[2].removesuffix(".ics") not in caplog.text


def test_a_technician_who_left_has_no_feed(client, technician, office):
    address = address_of(technician, office)
    technician.is_active = False
    technician.save()

    assert client.get(address).status_code == 404


def test_the_gpx_file_follows_the_schema_and_the_plan(client, day, technician, office):
    client.force_login(office)
    answer = client.get(f"/days/{day}/{technician.pk}/route.gpx")

    assert answer["Content-Type"] == "application/gpx+xml"
    root = ET.fromstring(answer.content)
    assert root.tag == f"{GPX}gpx"
    assert root.attrib == {"version": "1.1", "creator": "Rillbook"}
    for element in root.iter():
        assert element.tag.startswith(GPX)
        name = element.tag.removeprefix(GPX)
        order = CHILDREN.get(name, [])
        places = [order.index(child.tag.removeprefix(GPX)) for child in element]
        assert places == sorted(places), f"{name}: elements out of the schema's order"
        if name in ("wpt", "rtept", "trkpt"):
            assert set(element.attrib) == {"lat", "lon"}
            assert -90 <= float(element.get("lat")) <= 90
            assert -180 <= float(element.get("lon")) < 180
        if name == "time":
            assert dt.datetime.fromisoformat(element.text).utcoffset() == dt.timedelta()  # xsd:dateTime in UTC
    visits = list(technician.visits.order_by("position"))
    names = [p.find(f"{GPX}name").text for p in root.findall(f"{GPX}rte/{GPX}rtept")]
    assert names == ["Start", *(v.site.name.replace("\x07", "") for v in visits), "End"]


def test_the_geojson_file_is_longitude_first_and_complete(client, day, technician, office):
    client.force_login(technician)
    answer = client.get(f"/days/{day}/{technician.pk}/route.geojson")

    assert answer["Content-Type"] == "application/geo+json"
    found = json.loads(answer.content)
    assert found["type"] == "FeatureCollection"
    assert all(set(f) == {"type", "geometry", "properties"} for f in found["features"])
    line, *points = found["features"]
    assert line["geometry"]["type"] == "LineString"
    assert len(line["geometry"]["coordinates"]) >= 2
    visits = list(technician.visits.order_by("position"))
    assert [p["geometry"]["coordinates"] for p in points[1:-1]] == [
        [v.site.longitude, v.site.latitude] for v in visits
    ]
