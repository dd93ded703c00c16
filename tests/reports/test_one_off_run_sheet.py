"""The sheet of a one-off run says what the plan says, command by command."""

import datetime as dt
import re
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from scheduling.core.sequence.timeline import Action
from scheduling.forms.one_off_run import OneOffRunForm
from scheduling.queries.one_off_run import one_off_run
from sites.models import Controller, Pump, Valve, WaterSupply
from tests import factories
from tests.reports.documents.page_boxes import text_of

ZONE = ZoneInfo("America/Los_Angeles")
ASKED = {"what": "all", "minutes": "2", "day": "2026-07-06", "time": "10:00"}


@pytest.fixture
def as_technician(client, office):
    client.force_login(office)
    return client


@pytest.fixture
def controller(site):
    return Controller.objects.get(site=site)


def sheet(client, controller, **asked):
    answer = client.get(reverse("reports:one_off_run_sheet", args=[controller.pk]), ASKED | asked)
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    return text_of(b"".join(answer.streaming_content) if answer.streaming else answer.content)


def planned(controller, **asked):
    now = dt.datetime(2026, 7, 6, 9, tzinfo=ZONE)
    form = OneOffRunForm(ASKED | asked, controller=controller, now=now)
    assert form.is_valid()
    (week,) = one_off_run(controller, form.steps(), form.starts_at(), form.title()).controllers
    return week


def test_every_command_of_the_plan_stands_on_the_sheet_in_order(as_technician, controller):
    WaterSupply.objects.update(kind="pump")
    Pump.objects.create(supply=controller.supply)
    Controller.objects.update(one_valve_at_a_time=False)
    Valve.objects.update(closes_from_s=2)
    controller.refresh_from_db()
    week = planned(controller)
    assert week.ok
    text = sheet(as_technician, controller)
    for words in ("Test of all zones at 2 min", "6 July 2026", "A guide for a person", "Start pump", "Stop pump"):
        assert words in text
    assert "Proved for every delay" not in text  # nobody switches by hand to the second
    assert "the pump off before the last valve shuts" in " ".join(text.split())
    clocks = re.findall(r"\b1\d:\d\d:\d\d\b", text)
    wanted = [f"{week.timeline.at(command.at_s, ZONE):%H:%M:%S}" for command in week.timeline.commands]
    assert clocks[: len(wanted)] == wanted
    opens = sum(command.action is Action.OPEN_VALVE for command in week.timeline.commands)
    assert len(re.findall(r"Open Valve \d \(zone \d", text)) == opens == 2
    assert "the command to stop the pump is lost" in text


def test_one_zone_and_its_minutes(as_technician, controller):
    valve = controller.valves.get(terminal=2)
    text = sheet(as_technician, controller, what=f"valve-{valve.pk}", minutes="5")
    assert "Valve 2 for 5 min" in text
    assert "Open Valve 1" not in text
    (run,) = planned(controller, what=f"valve-{valve.pk}", minutes="5").timeline.runs
    minutes, seconds = divmod(round(run.close_s - run.open_s), 60)
    assert f"{minutes}:{seconds:02d}" in text  # how long it is on, strokes taken off
    assert abs(minutes * 60 + seconds - 300) < 30


def test_an_unsafe_run_is_not_to_be_followed(as_technician, controller):
    WaterSupply.objects.update(kind="pump")
    Pump.objects.create(supply=controller.supply)
    text = sheet(as_technician, controller)
    assert "Do not run this" in text
    assert "Command by command" not in text


def test_the_page_links_to_it_and_a_wrong_question_has_no_sheet(as_technician, controller):
    page = as_technician.get(reverse("scheduling:one_off_run", args=[controller.pk]), ASKED).content.decode()
    url = reverse("reports:one_off_run_sheet", args=[controller.pk])
    assert f'href="{url}?what=all&amp;minutes=2&amp;day=2026-07-06' in page
    assert as_technician.get(url, ASKED | {"minutes": "-1"}).status_code == 404


def test_more_zones_ask_the_database_no_more(as_technician, controller):
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            sheet(as_technician, controller)
        return len(queries)

    few = asked()
    for number in (3, 4, 5):
        valve = factories.ValveFactory(controller=controller, terminal=number)
        factories.ZoneFactory(site=controller.site, valve=valve, number=number, flow_l_min=20)
    assert asked() == few
