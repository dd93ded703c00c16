"""Measurements and faults through the API are held to the phone's own rules."""

import datetime as dt
import uuid

import pytest
from django.utils import timezone

from jobs.actions.field import start_visit
from jobs.models import Fault, ValveMeasurement
from tests import factories


@pytest.fixture
def measured(client, technician, site):
    """What a technician sends for a valve of a visit under way."""
    visit = factories.VisitFactory(site=site, technician=technician)
    start_visit(visit=visit, by=technician)
    client.force_login(technician)
    valve = site.controllers.get().valves.first()
    return {
        "uuid": str(uuid.uuid4()),
        "visit": visit.pk,
        "valve": valve.pk,
        "measured_at": timezone.now().isoformat(),
    }


def post(client, address, values):
    return client.post(address, values, content_type="application/json")


def test_a_figure_of_zero_is_a_figure(client, measured):
    assert post(client, "/api/measurements/", measured | {"flow_l_min": 0}).status_code == 201


@pytest.mark.parametrize(
    ("values", "beside"),
    [
        ({}, "coil_resistance_ohm"),
        ({"opens": "", "open_circuit": False, "note": ""}, "coil_resistance_ohm"),
        ({"coil_resistance_ohm": 30.0, "open_circuit": True}, "open_circuit"),
        ({"opens": "yes", "measured_at": "2999-01-01T00:00:00Z"}, "measured_at"),
    ],
)
def test_what_says_nothing_contradicts_itself_or_has_not_happened_is_refused(client, measured, values, beside):
    answer = post(client, "/api/measurements/", measured | values)

    assert (answer.status_code, list(answer.json())) == (400, [beside])
    assert not ValveMeasurement.objects.exists()


def test_a_fault_cannot_be_found_tomorrow(client, measured, site):
    fault = {"uuid": str(uuid.uuid4()), "site": site.pk, "kind": "pipe_leak", "severity": "water_loss"}
    tomorrow = timezone.now() + dt.timedelta(days=1)

    answer = post(client, "/api/faults/", fault | {"found_at": tomorrow.isoformat()})

    assert (answer.status_code, list(answer.json())) == (400, ["found_at"])
    assert not Fault.objects.exists()
    assert post(client, "/api/faults/", fault | {"found_at": timezone.now().isoformat()}).status_code == 201
