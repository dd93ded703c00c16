"""Who may see which row in which state: one table. `tests/test_access.py` asks every route, this every condition.

Columns: W owner, O office, T technician with a visit at the site, X technician whose only visit there was cancelled,
U technician without any, C the site's client, S another client, N a client's account that belongs to no client.
Letters: `+` the row is there, `-` it is not. A model with `visible_to` but without a line fails.
"""

import datetime as dt
import uuid
from types import SimpleNamespace

import pytest
from django.apps import apps
from django.urls import reverse

from jobs.models import (
    ClientTold,
    ClosedDays,
    InboxRecord,
    PlanRun,
    ServicePlan,
    Skill,
    ValveMeasurement,
    Visit,
    VisitTerms,
    WorkRecord,
)
from reports.models import AppointmentMail, BulkJob, Delivery, Document, ShareLink
from scheduling.models import (
    CatchCanTest,
    DailyWeather,
    ForecastDay,
    SeasonSchedule,
    WateringPause,
    WeatherImport,
)
from sites.models import Photo, Site, Tariff
from tests import factories

NOON = dt.datetime(2026, 6, 1, 12, tzinfo=dt.UTC)
TODAY = NOON.date()

COLUMNS = "WOTXUCSN"
OFFICE = "++------"
STAFF = "+++++---"
OF_SITE = "+++--+--"
OF_SITE_STAFF = "+++-----"
SEEN = {
    # The firm's own rows, and rows that belong to no site.
    "station": STAFF, "tariff": STAFF, "weather day": STAFF, "forecast day": STAFF, "weather import": STAFF,
    "skill": OFFICE, "closed days": OFFICE, "service plan": OFFICE, "visit terms": OFFICE, "season window": OFFICE,
    "inbox record": OFFICE, "plan run": OFFICE, "price item": OFFICE, "proposal": OFFICE, "told": OFFICE,
    "delivery": OFFICE, "appointment mail": OFFICE, "share link": OFFICE, "bulk job": OFFICE,
    # People: the office sees all, everybody else only the own account.
    "office account": "++------", "technician account": "+++-----", "client account": "++---+--",
    # Clients and sites. An archived site is the firm's alone; an archived client still reads the own name.
    "client": "++---+--", "archived client": "++------", "stranger client": "++----+-",
    "site": OF_SITE, "archived site": "++------", "archived site with a visit": "+++-----",
    # Plant, by whatever way it reaches its site.
    "supply": OF_SITE, "pump": OF_SITE, "controller": OF_SITE, "valve": OF_SITE, "zone": OF_SITE,
    "backflow": OF_SITE, "meter": OF_SITE, "reading": OF_SITE, "state change": OF_SITE, "catch-can test": OF_SITE,
    "pause": OF_SITE, "photo": OF_SITE_STAFF,
    # Schedules: a draft is the office's; a technician reads the one that is to be set on the next visit.
    "draft": OFFICE, "draft for the visit": "+++-----", "published schedule": OF_SITE, "superseded schedule": OF_SITE,
    # Visits: a technician's own and never cancelled ones; a client's finished ones.
    "open visit": "++------", "planned visit": "+++-----", "started visit": "+++-----", "finished visit": "+++--+--",
    "cancelled visit": "++------", "finished visit elsewhere": "++----+-", "finished visit of another": "++---+--",
    # What was found: the firm's own.
    "measurement": OF_SITE_STAFF, "open fault": OF_SITE_STAFF, "repaired fault": OF_SITE_STAFF,
    "dismissed fault": OF_SITE_STAFF, "work record": "+++-----", "work record of another": "++------",
    # Documents: a client reads published season reports, a technician the sheets of own visits.
    "report": OFFICE, "published report": "++---+--", "published sheet": "+++-----", "sheet": "+++-----",
    "sheet of another": "++------", "published proposal document": OFFICE,
    "published report of an archived site": OFFICE,
    "published report of a visit": "++---+--",
}  # fmt: skip


def visits(site, column) -> dict:
    """A visit in each state, and who has it: T all of them, X a cancelled one only."""
    planned = {"technician": column["T"], "planned_on": TODAY}
    done = {"started_at": NOON, "finished_at": NOON, "state": "finished"}
    made = factories.VisitFactory
    made(site=site, kind="repair", state="cancelled", technician=column["X"], planned_on=TODAY)
    return {
        "open visit": made(site=site, kind="repair", state="open"),
        "planned visit": made(site=site, kind="repair", sequence=2, state="planned", **planned),
        "started visit": made(site=site, kind="repair", sequence=3, **planned, state="started", started_at=NOON),
        "finished visit": made(site=site, kind="repair", sequence=4, **planned, **done),
        "cancelled visit": made(site=site, kind="repair", sequence=5, state="cancelled", **planned),
        "finished visit of another": made(site=site, kind="repair", sequence=6, **done),
    }


def schedules(site, draft_site) -> dict:
    made = SeasonSchedule.objects.create
    common = {"season_year": 2026, "month": 6, "week_starts_on": TODAY}
    return {
        "superseded schedule": made(
            site=site, revision=1, state="superseded", published_at=NOON, superseded_at=NOON, **common
        ),
        "published schedule": made(site=site, revision=2, state="published", published_at=NOON, **common),
        "draft": made(site=site, revision=3, **common),
        "draft for the visit": made(site=draft_site, revision=1, for_next_visit_at=NOON, **common),
    }


def documents(site, archived, visit, of_another) -> dict:
    def made(kind: str, version: int = 1, **changes) -> Document:
        row = {"site": site, "season_year": 2026, "title": kind, **changes}
        return Document.objects.create(kind=kind, version=version, **row)

    return {
        "report": made("season_report"),
        "published report": made("season_report", 2, published_at=NOON),
        "published report of a visit": made("season_report", 3, published_at=NOON, visit=visit),
        "published report of an archived site": made("season_report", site=archived, published_at=NOON),
        "sheet": made("service_sheet", visit=visit),
        "published sheet": made("service_sheet", 2, visit=visit, published_at=NOON),
        "sheet of another": made("service_sheet", 3, visit=of_another, published_at=NOON),
        "published proposal document": made("proposal", published_at=NOON),
    }


def found(site, visit) -> dict:
    valve = site.controllers.get().valves.first()
    fault = factories.FaultFactory
    return {
        "measurement": ValveMeasurement.objects.create(visit=visit, valve=valve, measured_at=NOON),
        "open fault": fault(site=site),
        "repaired fault": fault(site=site, state="repaired", repaired_at=NOON),
        "dismissed fault": fault(site=site, state="dismissed"),
        "photo": Photo.objects.create(site=site, taken_at=NOON),
    }


def plant(site) -> dict:
    controller = site.controllers.get()
    meter = factories.MeterFactory(site=site)
    return {
        "station": site.weather_station,
        "supply": site.supplies.get(),
        "pump": factories.PumpFactory(supply=factories.WaterSupplyFactory(site=site, kind="pump", name="Well")),
        "controller": controller,
        "valve": controller.valves.first(),
        "zone": site.zones.first(),
        "backflow": factories.BackflowAssemblyFactory(site=site),
        "meter": meter,
        "reading": factories.MeterReadingFactory(meter=meter),
        "state change": factories.StateChangeFactory(site=site),
        "catch-can test": CatchCanTest.objects.create(
            zone=site.zones.first(), tested_on=TODAY, minutes=10, mouth_cm2=85, catches_ml=[20, 18, 22, 20]
        ),
        "pause": WateringPause.objects.create(site=site, starts_on=TODAY, ends_on=TODAY, reason="rain"),
    }


def of_the_firm(site, visit, report) -> dict:
    station = site.weather_station
    delivery = Delivery.objects.create(document=report, recipient="h@example.com", message_id="<1@example.com>")
    return {
        "tariff": Tariff.objects.create(name="Town"),
        "weather day": DailyWeather.objects.create(station=station, date=TODAY),
        "forecast day": ForecastDay.objects.create(station=station, date=TODAY, eto_mm=3),
        "weather import": WeatherImport.objects.create(
            station=station, file_name="days.csv", file_format="rillbook", rows_read=1, rows_stored=1
        ),
        "skill": Skill.objects.create(name="Backflow tester"),
        "closed days": ClosedDays.objects.create(starts_on=TODAY, ends_on=TODAY, reason="holiday"),
        "service plan": ServicePlan.objects.create(site=site),
        "visit terms": VisitTerms.objects.create(site=site),
        "season window": factories.SeasonWindowFactory(),
        "inbox record": InboxRecord.objects.create(
            uuid=uuid.uuid4(), digest="0", body="{}", received_at=NOON, sender=visit.technician, state="for_person"
        ),
        "plan run": PlanRun.objects.create(season_year=2026, kinds=["startup"], first_day=TODAY, last_day=TODAY),
        "price item": factories.PriceItemFactory(),
        "proposal": factories.ProposalFactory(site=site, number=1),
        "told": ClientTold.objects.create(visit=visit, words="no day yet"),
        "delivery": delivery,
        "appointment mail": AppointmentMail.objects.create(
            visit=visit, kind="appointment", on_date=TODAY, recipient="h@example.com", message_id="<2@example.com>"
        ),
        "share link": ShareLink.objects.create(document=report, token_sha256="0" * 64, expires_at=NOON),
        "bulk job": BulkJob.objects.create(
            kind="sheets", shape="zip", title="Hazel", season_year=2026, prepared_on=TODAY, total=1
        ),
    }


@pytest.fixture
def world(owner, office, technician, other_technician, site, other_site, client_user, stranger):
    """The people of the columns and one row of every line."""
    away, nobody = factories.TechnicianFactory(username="xena"), factories.UserFactory(role="client", username="nina")
    cast = [owner, office, technician, away, other_technician, client_user, stranger, nobody]
    column = dict(zip(COLUMNS, cast, strict=True))
    archived, visited, for_visit = (
        factories.SiteFactory(client=site.client, weather_station=site.weather_station, name=name)
        for name in ("Archived", "Archived, visited", "For the visit")
    )
    Site.objects.filter(pk__in=[archived.pk, visited.pk]).update(archived_at=NOON)
    for place in (visited, for_visit):
        factories.VisitFactory(site=place, kind="repair", state="planned", technician=technician, planned_on=TODAY)
    rows = visits(site, column)
    visit, of_another = rows["started visit"], rows["finished visit of another"]
    rows |= {
        "finished visit elsewhere": factories.VisitFactory(
            site=other_site, kind="repair", state="finished", started_at=NOON, finished_at=NOON
        ),
        "office account": office, "technician account": technician, "client account": client_user,
        "client": site.client, "stranger client": other_site.client,
        "archived client": factories.ClientFactory(archived_at=NOON),
        "site": site, "archived site": archived, "archived site with a visit": visited,
        "work record": WorkRecord.objects.create(visit=visit, currency="USD"),
        "work record of another": WorkRecord.objects.create(visit=of_another, currency="USD"),
    }  # fmt: skip
    rows |= plant(site) | found(site, visit) | schedules(site, for_visit)
    rows |= documents(site, archived, visit, of_another)
    rows |= of_the_firm(site, visit, rows["published report"])
    return SimpleNamespace(people=column, rows=rows)


def wrong_lines(world) -> dict[str, str]:
    """The lines whose rows others see than the table says, with what was found."""
    wrong = {}
    for name, expected in SEEN.items():
        row = world.rows[name]
        manager = type(row)._default_manager
        seen = [manager.all().visible_to(person).filter(pk=row.pk).exists() for person in world.people.values()]
        if (letters := "".join("-+"[letter] for letter in seen)) != expected:
            wrong[name] = f"{letters}, the table says {expected}"
    return wrong


def test_each_row_is_there_for_just_whom_the_table_names(world):
    assert wrong_lines(world) == {}


@pytest.mark.parametrize(
    ("route", "row", "column", "status"),
    [
        ("reports:document", "report", "C", 404),
        ("reports:document", "published report of an archived site", "C", 404),
        ("sites:site_page", "site", "C", 200),
        ("sites:site_page", "archived site", "C", 404),
        ("sites:site_page", "site", "T", 200),
        ("sites:site_page", "site", "X", 404),
        ("scheduling:schedule", "published schedule", "T", 200),
        ("scheduling:schedule", "draft for the visit", "T", 200),
        ("scheduling:schedule", "draft", "T", 404),
        ("scheduling:schedule", "draft for the visit", "C", 404),
        ("jobs:visit", "planned visit", "T", 200),
        ("jobs:visit", "cancelled visit", "T", 404),
        ("jobs:visit", "cancelled visit", "X", 404),
        ("api-visits-detail", "finished visit", "C", 200),
        ("api-visits-detail", "planned visit", "C", 404),
    ],
)
def test_the_pages_follow_the_table(world, client, route, row, column, status):
    client.force_login(world.people[column])
    assert client.get(reverse(route, args=[world.rows[row].pk])).status_code == status


def test_every_model_that_is_shown_by_person_stands_in_the_table(world):
    models = {model for model in apps.get_models() if hasattr(model._default_manager.all(), "visible_to")}
    assert {type(world.rows[name]) for name in SEEN} == models
    assert SEEN.keys() == world.rows.keys()


def test_every_visit_state_stands_in_the_table(world):
    assert {row.state for row in world.rows.values() if isinstance(row, Visit)} == set(Visit.State.values)


@pytest.mark.parametrize(
    ("state", "is_open"),
    [
        ({}, True),
        ({"revoked_at": NOON}, False),
        ({"expires_at": NOON}, False),
        ({"expires_at": NOON - dt.timedelta(seconds=1)}, False),
        ({"expires_at": NOON + dt.timedelta(seconds=1)}, True),
    ],
    ids=["open", "revoked", "at its end", "expired", "not yet expired"],
)
def test_a_link_opens_until_it_ends_or_is_revoked(world, state, is_open):
    link = world.rows["share link"]
    ShareLink.objects.filter(pk=link.pk).update(**{"expires_at": NOON + dt.timedelta(days=1), **state})
    assert ShareLink.objects.open_at(NOON).filter(pk=link.pk).exists() is is_open


def test_an_archived_client_loses_the_sites_but_not_the_own_account(world):
    hazel = world.people["C"]
    Site.objects.filter(client=hazel.client).update(archived_at=NOON)
    assert not Site.objects.visible_to(hazel).exists()
    assert not Document.objects.visible_to(hazel).exists()
    assert not SeasonSchedule.objects.visible_to(hazel).exists()


def test_who_was_a_technician_and_became_a_client_keeps_no_rows_of_the_work(world):
    former = world.people["T"]
    former.role = "client"
    former.save()
    for name in ("work record", "planned visit", "finished visit", "measurement", "photo", "published sheet", "site"):
        row = world.rows[name]
        assert not type(row).objects.all().visible_to(former).exists(), name
