"""Whoever counts on a day that an accepted new plan took away, and has no mail, stands on the list of calls."""

import datetime as dt
import importlib
import zoneinfo

import pytest
from django.apps import apps
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from jobs.actions.planning import assign, pin, upsets
from jobs.models import ClientTold, Replan, Visit
from jobs.queries.planning import firm_today
from reports.actions import appointments
from reports.models import AppointmentMail
from reports.queries.calls import CALL_DAYS, calls_due
from sites.actions.audit import record
from sites.models import AuditEntry
from tests.jobs.planning_rows import make_visits, monday_ahead

pytestmark = pytest.mark.django_db
LIST = "/appointments/"


def at(clock: str) -> dt.datetime:
    zone = zoneinfo.ZoneInfo("America/Los_Angeles")
    return dt.datetime.combine(monday_ahead(), dt.time.fromisoformat(clock), tzinfo=zone)


def promised(count: int, technician, by) -> list[Visit]:
    """Visits promised by phone for the same Monday, at ten o'clock, at eleven and so on."""
    rows = make_visits(count)
    for n, row in enumerate(rows):
        client = row.site.client
        client.phone, client.email = f"555 01{n:02d}", ""
        client.save()
        assign(visit=row, technician=technician, planned_on=monday_ahead(), by=by)
        hours = {"promised_time": dt.time(8 + n), "promised_until": dt.time(10 + n)}
        pin(visit=row, promised=True, **hours, by=by)
    return rows


def fall_ill(technician, by) -> Replan:
    """The technician is away that Monday and nobody else is there: each visit goes to another day, or loses its."""
    monday = monday_ahead()
    replan = upsets.propose_absence(
        technician=technician, first_day=monday, last_day=monday, reason="ill", now=at("06:00"), by=by
    )
    upsets.accept(replan=replan, now=at("06:05"), by=by)
    return replan


def sweep() -> None:
    appointments.find_changes(today=firm_today())


def called(desk, visit, **changes):
    [call] = [call for call in calls_due(now=timezone.now()) if call.visit == visit]
    data = {"told": call.now, **changes}
    return desk.post(reverse("reports:client_called", args=[visit.pk]), data, follow=True)


@pytest.fixture
def broken(technician, office):
    """Two visits promised by phone and moved by an accepted plan."""
    rows = promised(2, technician, office)
    fall_ill(technician, office)
    for row in rows:
        row.refresh_from_db()
    assert all(row.planned_on != monday_ahead() for row in rows)
    return rows


def test_the_page_says_whom_to_call_what_they_were_told_and_what_is_new(as_office, broken):
    page = as_office.get(LIST).content.decode()
    assert "To be called" in page
    for n, row in enumerate(broken):
        assert f"555 01{n:02d}" in page
        assert f"{monday_ahead():%A}" in page and f"between {8 + n:02d}:00 and {10 + n:02d}:00" in page
        assert row.planned_on is None or f"{row.planned_on:%A}" in page


def test_a_call_is_noted_and_leaves_the_list(as_office, office, broken):
    first, second = broken
    span = {"first_day": "2031-05-01", "last_day": "2031-05-09"}
    answer = called(as_office, first, **span)
    assert "first_day=2031-05-01" in answer.redirect_chain[-1][0]
    assert f"Noted: {first.site.client} was called." in answer.content.decode()
    assert [call.visit for call in calls_due(now=timezone.now())] == [second]
    [said] = ClientTold.objects.exclude(words="")
    assert (said.by, said.visit) == (office, first)
    again = as_office.post(reverse("reports:client_called", args=[first.pk]), {"told": said.words}, follow=True)
    assert "Nothing is left to be told by phone" in again.content.decode()
    assert ClientTold.objects.exclude(words="").count() == 1


def test_what_changed_since_the_page_was_shown_is_not_noted_as_told(as_office, broken):
    answer = called(as_office, broken[0], told="Monday, between 08:00 and 10:00")
    assert "changed since the page was shown" in answer.content.decode()
    assert not ClientTold.objects.exclude(words="").exists()


def test_a_second_plan_calls_again_and_names_what_was_said_on_the_phone(as_office, office, broken):
    first = broken[0]
    [said] = [call.now for call in calls_due(now=timezone.now()) if call.visit == first]
    called(as_office, first)
    Replan.objects.create(
        upset="away", detail={}, first_day=monday_ahead(), last_day=monday_ahead(), fingerprint="", state="accepted",
        decided_at=timezone.now(), proposal={"tell_clients": [first.pk], "moves": []},
    )  # fmt: skip
    Visit.objects.filter(pk=first.pk).update(
        state="open", planned_on=None, technician=None, promised=False, promised_time=None, promised_until=None
    )
    [call] = [call for call in calls_due(now=timezone.now()) if call.visit == first]
    assert (call.told, call.now) == (said, "no day yet")


def test_whom_a_mail_tells_is_not_called_until_the_mail_comes_back(technician, office):
    mailed, phoned = promised(2, technician, office)
    mailed.site.client.email = "hazel@example.com"
    mailed.site.client.save()
    appointments.tell(visits=[mailed], today=firm_today(), by=office)
    fall_ill(technician, office)
    assert [call.visit for call in calls_due(now=timezone.now())] == [phoned]  # the sweep is about to tell
    sweep()
    assert [call.visit for call in calls_due(now=timezone.now())] == [phoned]
    assert mailed.appointment_mails.count() == 2
    AppointmentMail.objects.filter(sequence=1).update(state="bounced")
    calls = {call.visit: call for call in calls_due(now=timezone.now())}
    assert calls.keys() == {mailed, phoned}
    assert calls[mailed].told.endswith("between 08:00 and 10:00")


def test_an_address_alone_tells_nobody_but_a_mail_from_the_page_does(technician, office):
    (row,) = promised(1, technician, office)
    row.site.client.email = "hazel@example.com"
    row.site.client.save()
    fall_ill(technician, office)
    sweep()
    assert [call.visit for call in calls_due(now=timezone.now())] == [row]
    appointments.tell(visits=[row], today=firm_today(), by=office)
    assert calls_due(now=timezone.now()) == []


def test_a_new_promise_settles_it_and_old_plans_are_forgotten(broken, office):
    first, second = broken
    pin(visit=first, promised=True, by=office)
    assert [call.visit for call in calls_due(now=timezone.now())] == [second]
    assert calls_due(now=timezone.now() + dt.timedelta(days=CALL_DAYS, minutes=1)) == []


def test_nobody_is_called_about_a_plan_that_was_not_accepted_or_that_they_asked_for(technician, office):
    one, _ = promised(2, technician, office)
    one.refresh_from_db()
    upsets.propose_absence(
        technician=technician, first_day=monday_ahead(), last_day=monday_ahead(), now=at("06:00"), by=office
    )
    asked = upsets.propose_cancellation(visit=one, reason="sold", now=at("06:00"), by=office)
    upsets.accept(replan=asked, now=at("06:05"), by=office)
    assert asked.proposal["tell_clients"] in ([], [one.pk])
    assert calls_due(now=timezone.now()) == []


def test_the_list_costs_the_same_queries_for_one_and_for_four(technician, office):
    one, *_ = promised(4, technician, office)
    fall_ill(technician, office)
    counts = []
    for asked, length in ((None, 4), (one, 1)):
        with CaptureQueriesContext(connection) as queries:
            assert len(calls_due(now=timezone.now(), visit=asked)) == length
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_the_call_button_is_the_offices(client, technician, broken):
    client.force_login(technician)
    url = reverse("reports:client_called", args=[broken[0].pk])
    assert client.post(url, {"told": "anything"}).status_code == 403
    assert client.get(LIST).status_code == 403


def test_the_list_of_calls_does_not_read_the_audit_log(as_office, broken):
    called(as_office, broken[0])
    before = calls_due(now=timezone.now())
    AuditEntry.objects.all()._raw_delete(using="default")
    assert calls_due(now=timezone.now()) == before and len(before) == 1


def test_promises_and_calls_of_the_audit_log_become_what_clients_were_told(broken, office):
    told = importlib.import_module("jobs.migrations.0017_take_what_was_told_from_the_audit")
    record(by=office, verb="client called", subject=broken[0], told="no day yet")
    columns = ["visit_id", "by_id", "on_date", "from_time", "until_time"]
    promised = list(ClientTold.objects.values_list(*columns))
    ClientTold.objects.all().delete()
    told.fill(apps, None)
    rows = ClientTold.objects.exclude(words="no day yet")
    assert list(rows.values_list(*columns)) == promised and len(promised) == 2
    [said] = ClientTold.objects.filter(words="no day yet")
    assert (said.visit, said.by, said.on_date) == (broken[0], office, None)
    assert AuditEntry.objects.filter(at=said.at, verb="client called").exists()
