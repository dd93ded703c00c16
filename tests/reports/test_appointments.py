"""Clients are told of their appointments against a real SMTP server that counts the messages."""

import datetime as dt
import io
import re
import zoneinfo

import icalendar
import pytest
from django.core.management import call_command

from jobs.actions.planning import assign, cancel_visit, pin
from jobs.models import Visit
from jobs.queries.planning import firm_today
from reports.actions import appointments
from reports.models import AppointmentMail
from reports.queries.appointments import to_tell
from sites.models import Firm
from tests import factories
from tests.reports.mail_server import DROP

NOW = dt.datetime(2030, 1, 1, 9, 0, tzinfo=dt.UTC)


def workday(ahead: int) -> dt.date:
    """The working day so many days ahead, or the Monday after it."""
    day = firm_today() + dt.timedelta(days=ahead)
    return day + dt.timedelta(days=max(0, 7 - day.weekday()) if day.weekday() > 4 else 0)


@pytest.fixture
def visit(site, technician, office):
    site.client.email, site.client.contact_name = "hazel@example.com", "Hazel Brook"
    site.client.save()
    firm = site.client._meta.apps.get_model("sites", "Firm").objects.get()
    firm.email, firm.phone = "office@example.com", "555 0100"
    firm.save()
    today = firm_today()
    row = factories.VisitFactory(
        site=site, opens_on=today, due_on=today + dt.timedelta(days=60), season_year=today.year
    )
    return assign(visit=row, technician=technician, planned_on=workday(7), by=office)


def tell(visit, by):
    return appointments.tell(visits=[visit], today=firm_today(), by=by)


def sweep() -> None:
    """What the timetable does every minute, several times over."""
    for _ in range(3):
        appointments.find_changes(today=firm_today())
        appointments.send_due(now=NOW)


def event_of(mail) -> tuple[str, icalendar.Event]:
    """(method, event) of a mail's calendar file, read back."""
    [part] = mail.iter_attachments()
    assert part.get_content_type() == "text/calendar"
    calendar = icalendar.Calendar.from_ical(part.get_payload(decode=True))
    [event] = calendar.walk("VEVENT")
    assert part["Content-Type"].params["method"] == calendar["METHOD"]
    return str(calendar["METHOD"]), event


def test_a_client_is_told_once_after_the_plan_after_a_move_and_after_a_cancel(visit, office, technician, mail_server):
    tell(visit, office)
    tell(visit, office)
    sweep()
    assert len(mail_server.accepted) == 1

    visit.refresh_from_db()
    first_day = visit.planned_on
    pin(visit=visit, promised=False, by=office)
    sweep()  # a promise only withdrawn is not settled yet: nobody is told
    visit.refresh_from_db()
    moved = assign(visit=visit, technician=technician, planned_on=workday(14), by=office)
    tell(moved, office)
    sweep()
    assert len(mail_server.accepted) == 2

    moved.refresh_from_db()
    cancel_visit(visit=moved, reason="client wishes", by=office)
    sweep()
    assert len(mail_server.accepted) == 3

    events = [event_of(mail) for mail in mail_server.accepted]
    assert [method for method, _ in events] == ["REQUEST", "REQUEST", "CANCEL"]
    assert len({str(event["UID"]) for _, event in events}) == 1
    assert [int(event["SEQUENCE"]) for _, event in events] == [0, 1, 2]
    assert [str(event["STATUS"]) for _, event in events] == ["CONFIRMED", "CONFIRMED", "CANCELLED"]
    firm = zoneinfo.ZoneInfo(Firm.current().time_zone)  # by its clock: summer time may begin between the two days
    local = [event["DTSTART"].dt.astimezone(firm).replace(tzinfo=None) for _, event in events]
    assert local[1] - local[0] == dt.timedelta(days=(moved.planned_on - first_day).days)
    assert [mail["To"] for mail in mail_server.accepted] == ["hazel@example.com"] * 3
    body = mail_server.accepted[1].get_body(preferencelist=("plain",)).get_content()
    assert "has been moved" in body
    assert "Before, it was" in body


def test_telling_promises_two_hours_around_the_planned_arrival(visit, office, mail_server):
    tell(visit, office)

    visit.refresh_from_db()
    assert visit.promised
    assert visit.promised_time <= visit.arrives_at <= visit.promised_until
    appointments.send_due(now=NOW)
    [mail] = mail_server.accepted
    words = f"between {visit.promised_time:%H:%M} and {visit.promised_until:%H:%M}"
    assert words in mail.get_body(preferencelist=("plain",)).get_content()
    _, event = event_of(mail)
    assert event["ORGANIZER"] == "mailto:office@example.com"
    assert event["ATTENDEE"] == "mailto:hazel@example.com"
    assert (event["DTEND"].dt - event["DTSTART"].dt) == dt.timedelta(hours=2)


def test_the_planner_keeps_the_hours_that_were_told(visit, office, technician):
    from jobs.actions.planning import plan_day

    tell(visit, office)
    visit.refresh_from_db()
    for _ in range(3):
        other = factories.VisitFactory(opens_on=visit.opens_on, due_on=visit.due_on, season_year=visit.season_year)
        assign(visit=other, technician=technician, planned_on=visit.planned_on, by=office)

    plan_day(date=visit.planned_on, technician=technician, by=office)

    visit.refresh_from_db()
    assert visit.promised_time <= visit.arrives_at <= visit.promised_until


def test_a_visit_that_loses_its_day_is_called_off_without_being_cancelled(visit, office, mail_server):
    tell(visit, office)
    sweep()
    Visit.objects.filter(pk=visit.pk).update(
        state="open", planned_on=None, technician=None, promised=False, promised_time=None, promised_until=None
    )

    sweep()

    assert len(mail_server.accepted) == 2
    body = mail_server.accepted[1].get_body(preferencelist=("plain",)).get_content()
    assert "We will send you a new date" in body
    assert event_of(mail_server.accepted[1])[0] == "CANCEL"


def test_a_visit_promised_by_phone_only_is_told_by_nobody_but_a_person(visit, office, mail_server):
    pin(visit=visit, promised=True, by=office)
    sweep()
    assert mail_server.accepted == []


def test_a_promise_of_the_day_only_is_an_all_day_entry(visit, office, mail_server):
    pin(visit=visit, promised=True, by=office)
    visit.refresh_from_db()
    tell(visit, office)
    sweep()

    _, event = event_of(mail_server.accepted[0])
    assert event["DTSTART"].dt == visit.planned_on


def test_reminders_go_once_the_day_before_and_only_to_those_who_want_them(
    visit, other_site, office, technician, mail_server
):
    tomorrow = firm_today() + dt.timedelta(days=1)
    unwilling = factories.VisitFactory(
        site=other_site, opens_on=firm_today(), due_on=visit.due_on, season_year=visit.season_year
    )
    other_site.client.wants_reminders = False
    other_site.client.save()
    fields = {"state": "planned", "technician": technician, "planned_on": tomorrow, "promised": True}
    Visit.objects.filter(pk__in=[visit.pk, unwilling.pk]).update(**fields, promised_time=dt.time(9))

    for _ in range(3):
        call_command("send_reminders", stdout=io.StringIO())

    [mail] = mail_server.accepted
    assert mail["To"] == "hazel@example.com"
    assert mail["Subject"].startswith("Tomorrow:")
    assert list(mail.iter_attachments()) == []


def test_a_mail_whose_fate_is_unknown_is_not_sent_again_by_itself(client, visit, office, mail_server):
    tell(visit, office)
    mail_server.answers = [DROP]
    sweep()
    assert mail_server.accepted == []
    row = AppointmentMail.objects.get()
    assert row.state == AppointmentMail.State.UNKNOWN

    client.force_login(office)
    assert "need a decision" in client.get("/appointments/").content.decode()
    client.post(f"/appointments/mails/{row.pk}/", {"decision": "again"})
    sweep()
    assert len(mail_server.accepted) == 1


def test_a_client_without_an_address_is_named_and_stays_unpromised(visit, office):
    visit.site.client.email = ""
    visit.site.client.save()

    told = tell(visit, office)

    assert told.queued == ()
    assert told.refused == (f"{visit.site}: The client has no email address.",)
    visit.refresh_from_db()
    assert not visit.promised


def test_names_cannot_break_the_mail_or_the_calendar(visit, office, mail_server):
    visit.site.name = 'Hazel\r\nBcc: all@example.com\r\nATTENDEE:x";CN="'
    visit.site.save()
    visit.site.client.contact_name = 'Haz"el\nBEGIN:VALARM'
    visit.site.client.save()
    tell(visit, office)
    sweep()

    [mail] = mail_server.accepted
    assert mail["Bcc"] is None
    _, event = event_of(mail)
    assert event.subcomponents == []
    assert "BEGIN:VALARM" in event["ATTENDEE"].params["CN"]


def fields_of(page: str) -> dict[str, list[str]]:
    """The page's form as a browser sends it: every ticked visit and the hours beside it."""
    shown = re.findall(r'name="(shown_\d+)" value="([^"]+)"', page)
    ticked = re.findall(r'name="visit" value="(\d+)" checked', page)
    span = re.findall(r'name="((?:first|last)_day)" value="([^"]+)"', page)
    return {**dict(span), **dict(shown), "visit": ticked}


def words_shown(page: str) -> list[str]:
    return re.findall(r'data-label="Client is told">([^<]+)<', page)


@pytest.fixture
def day(visit, technician, office):
    """Four visits of one day, timed by an accepted plan two hours later than their order alone would."""
    for n in range(3):
        site = factories.SiteFactory(latitude=47.60 + n / 100, client__email=f"{n}@example.com")
        row = factories.VisitFactory(
            site=site, opens_on=visit.opens_on, due_on=visit.due_on, season_year=visit.season_year
        )
        assign(visit=row, technician=technician, planned_on=visit.planned_on, by=office)
    rows = list(Visit.objects.order_by("position"))
    for row in rows:
        row.arrives_at = row.arrives_at.replace(hour=row.arrives_at.hour + 2)
        row.save()
    return rows


def test_every_client_of_a_day_is_told_what_the_page_showed(
    client, day, office, mail_server, django_capture_on_commit_callbacks
):
    client.force_login(office)
    page = client.get("/appointments/").content.decode()
    assert len(words_shown(page)) == 4

    with django_capture_on_commit_callbacks(execute=True):
        client.post("/appointments/tell/", fields_of(page))

    sent = [mail.get_body(preferencelist=("plain",)).get_content() for mail in mail_server.accepted]
    assert len(sent) == 4
    for words, body in zip(words_shown(page), sent, strict=True):
        assert words in body
    for row in Visit.objects.all():
        assert row.promised_time <= row.arrives_at <= row.promised_until


def test_hours_that_changed_since_the_page_was_shown_are_told_nobody(
    client, day, office, mail_server, django_capture_on_commit_callbacks
):
    client.force_login(office)
    fields = fields_of(client.get("/appointments/").content.decode())
    moved = day[-1]
    moved.arrives_at = moved.arrives_at.replace(hour=moved.arrives_at.hour - 1)
    moved.save()
    del fields[f"shown_{day[0].pk}"]

    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post("/appointments/tell/", fields, follow=True)

    assert answer.content.decode().count("have changed since the page was shown") == 2
    assert len(mail_server.accepted) == 2
    assert set(Visit.objects.filter(promised=False)) == {moved, day[0]}


def test_the_hours_told_lie_within_opening_hours_and_working_day(visit, office, technician):
    visit.site.opens_at, visit.site.closes_at = dt.time(8), dt.time(16)
    visit.site.save()
    Visit.objects.filter(pk=visit.pk).update(arrives_at=dt.time(8), service_min=60)
    visit.refresh_from_db()
    assert to_tell(visit).key.endswith("08:00:00 10:00:00")
    Visit.objects.filter(pk=visit.pk).update(arrives_at=dt.time(14, 50))
    tell(visit, office)
    visit.refresh_from_db()
    assert (visit.promised_time, visit.promised_until) == (dt.time(13), dt.time(15))
    profile = technician.technician_profile
    profile.day_starts_at, profile.day_ends_at = dt.time(9), dt.time(12)
    profile.save()
    early = Visit.objects.get(pk=visit.pk)
    early.promised, early.arrives_at = False, dt.time(9, 20)
    assert to_tell(early).key.endswith("09:00:00 11:00:00")


def test_todays_hours_that_are_past_are_shown_and_told_nobody(
    client, visit, other_site, office, technician, mail_server, monkeypatch
):
    other_site.client.email = "other@example.com"
    other_site.client.save()
    later = factories.VisitFactory(
        site=other_site, opens_on=visit.opens_on, due_on=visit.due_on, season_year=visit.season_year
    )
    today = {"state": "planned", "technician": technician, "planned_on": visit.planned_on}
    Visit.objects.filter(pk=visit.pk).update(arrives_at=dt.time(7, 30))
    Visit.objects.filter(pk=later.pk).update(arrives_at=dt.time(14), **today)
    zone = zoneinfo.ZoneInfo("America/Los_Angeles")
    now = dt.datetime.combine(visit.planned_on, dt.time(10, 31), tzinfo=zone)
    monkeypatch.setattr("django.utils.timezone.now", lambda: now)
    client.force_login(office)

    page = client.get("/appointments/").content.decode()

    assert "hours are past" in page and "between 07:30 and 09:30" in page
    assert fields_of(page)["visit"] == [str(later.pk)]
    Visit.objects.filter(pk=later.pk).update(arrives_at=dt.time(10))
    page = client.get("/appointments/").content.decode()
    assert fields_of(page)["visit"] == []  # should be there by now: told only if somebody ticks it
    assert f'value="{later.pk}" aria-label' in page
    answer = client.post("/appointments/tell/", {**fields_of(page), "visit": [visit.pk]}, follow=True)
    assert "The hours are past" in answer.content.decode()
    assert not AppointmentMail.objects.exists()
    # Nor by itself: a client who knew other hours of this morning is not told of new ones that are over.
    AppointmentMail.objects.create(
        visit=visit, kind="appointment", on_date=visit.planned_on, from_time=dt.time(13), until_time=dt.time(15),
        recipient="hazel@example.com", message_id="<1@example.com>", state="sent",
    )  # fmt: skip
    Visit.objects.filter(pk=visit.pk).update(
        promised=True, promised_time=dt.time(7, 30), promised_until=dt.time(9, 30)
    )
    assert appointments.find_changes(today=now.date(), clock=now.time()) == 0
    assert appointments.find_changes(today=now.date(), clock=dt.time(9)) == 1


def test_a_cancellation_says_so_in_plain_words(visit, office, mail_server):
    tell(visit, office)
    visit.refresh_from_db()
    cancel_visit(visit=visit, reason="client wishes", by=office)
    sweep()
    first, last = (mail.get_body(preferencelist=("plain",)).get_content() for mail in mail_server.accepted)
    assert "We will come for the" in first
    assert "This appointment is cancelled:" in last and "is off" not in last


def test_the_office_tells_from_the_page_and_sees_it(
    client, visit, office, mail_server, django_capture_on_commit_callbacks
):
    client.force_login(office)
    page = client.get("/appointments/").content.decode()
    assert "not told" in page

    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(
            "/appointments/tell/",
            {
                "visit": [visit.pk, "9" * 30, "²"],
                f"shown_{visit.pk}": to_tell(visit).key,
                "first_day": firm_today(),
                "last_day": firm_today() + dt.timedelta(days=14),
            },
        )

    assert answer.status_code == 302
    assert len(mail_server.accepted) == 1
    page = client.get(answer.url).content.decode()
    assert ">sent<" in page
    answer = client.get("/appointments/?first_day=2026-05-02&last_day=2026-05-01")
    assert answer.status_code == 422
    assert 'value="2026-05-02"' in answer.content.decode()


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("winterisation", "compressed air. Until we tell you that we are done, please keep people and animals"),
        ("startup", "keep people and animals off the lawn"),
        ("mid_season", "keep people and animals off the lawn"),
        ("repair", "tell us of cables and pipes of your own in the ground before we dig"),
    ],
)
def test_a_client_is_told_what_to_keep_clear_of(visit, office, mail_server, kind, words):
    Visit.objects.filter(pk=visit.pk).update(kind=kind)
    tell(Visit.objects.get(pk=visit.pk), office)
    sweep()
    [mail] = mail_server.accepted
    assert words in " ".join(mail.get_body(["plain"]).get_content().split())
