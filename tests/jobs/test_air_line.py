"""A winterization is not finished while the air line is on, whatever the reason."""

from zoneinfo import ZoneInfo

import pytest
from django.core.exceptions import ValidationError
from django.utils import timezone

from jobs.actions.field import VisitEnd, finish_visit, start_visit
from jobs.core.checklists import AIR_CONNECTED, AIR_RELEASED
from jobs.models import ChecklistAnswer, Visit
from tests import factories


@pytest.fixture
def visit(site, technician):
    visit = factories.VisitFactory(site=site, kind="winterisation", technician=technician)
    return start_visit(visit=visit, by=technician)


def tick(visit, key):
    item = visit.checklist.items.get(key=key)
    ChecklistAnswer.objects.create(visit=visit, item=item, done=True, answered_at=timezone.now())


def test_air_that_was_connected_must_be_bled_before_the_visit_ends(visit, technician):
    tick(visit, AIR_CONNECTED)

    with pytest.raises(ValidationError, match="Bleed it to zero"):
        finish_visit(visit=visit, by=technician, end=VisitEnd(accept_reason="Ran out of light"))

    visit.refresh_from_db()
    assert visit.state == Visit.State.STARTED
    tick(visit, AIR_RELEASED)
    assert (
        finish_visit(visit=visit, by=technician, end=VisitEnd(accept_reason="Ran out of light")).state
        == Visit.State.FINISHED
    )


def test_a_visit_broken_off_before_air_was_connected_can_end(visit, technician):
    assert finish_visit(visit=visit, by=technician, end=VisitEnd(accept_reason="Storm")).state == Visit.State.FINISHED


def test_the_page_says_it_and_keeps_what_was_typed(visit, technician, client):
    tick(visit, AIR_CONNECTED)
    client.force_login(technician)

    began = timezone.localtime(visit.started_at, ZoneInfo(visit.site.time_zone))
    typed = {"started_at": f"{began:%Y-%m-%dT%H:%M}", "accept_reason": "Ran out of light", "notes": "Gate stuck"}
    answer = client.post(f"/visits/{visit.pk}/finish/", typed)

    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Bleed it to zero" in page
    assert "Gate stuck" in page
