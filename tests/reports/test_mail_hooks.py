"""Mail that came back, from a mail service or a mailbox, and the way out of reminders."""

import datetime as dt
import json
import time

import pytest
from django.core.management import CommandError, call_command
from django.test import Client as Browser
from django.utils import timezone

from reports.actions import appointments, deliveries, documents
from reports.models import AppointmentMail, Delivery
from reports.queries.unsubscribe import unsubscribe_headers, unsubscribe_url
from reports.views.mail_hooks import signature
from tests import factories

SECRET = "a shared secret"


@pytest.fixture
def sent(site, office, mail_server):
    """A delivery that the server accepted."""
    report = documents.make_season_report(site=site, season_year=2026, by=office)
    [delivery] = deliveries.queue_delivery(document=report, recipients=["hazel@example.com"], by=office)
    deliveries.send_due(now=timezone.now())
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.SENT
    return delivery


def post(rows, secret=SECRET, moment=None, body=None):
    body = json.dumps(rows).encode() if body is None else body
    moment = str(int(time.time())) if moment is None else moment
    headers = {"X-Bounce-Time": moment, "X-Bounce-Signature": signature(secret, moment, body)}
    return Browser(enforce_csrf_checks=True).post(
        "/hooks/bounces/", body, content_type="application/json", headers=headers
    )


def bounce_of(delivery, recipient="hazel@example.com"):
    return {"message_id": delivery.message_id, "recipient": recipient, "reason": "550 no such\nperson"}


def test_a_signed_report_marks_the_mail_as_come_back_once(sent, settings, client, office):
    settings.BOUNCE_SECRET = SECRET

    first, second = post([bounce_of(sent)]), post([bounce_of(sent)])

    assert (first.json(), second.json()) == ({"read": 1, "marked": 1}, {"read": 1, "marked": 0})
    sent.refresh_from_db()
    assert sent.state == Delivery.State.BOUNCED
    assert sent.last_error == "It came back: 550 no such person"
    client.force_login(office)
    assert "came back: not delivered" in client.get("/reports/").content.decode()


def test_the_door_is_closed_without_a_secret_a_signature_or_in_time(sent, settings):
    assert post([bounce_of(sent)]).status_code == 404

    settings.BOUNCE_SECRET = SECRET
    assert post([bounce_of(sent)], secret="another").status_code == 403
    assert post([bounce_of(sent)], moment=str(int(time.time()) - 3600)).status_code == 403
    assert post([bounce_of(sent)], moment="now").status_code == 403
    assert Browser().post("/hooks/bounces/", b"[]", content_type="application/json").status_code == 403
    sent.refresh_from_db()
    assert sent.state == Delivery.State.SENT


@pytest.mark.parametrize("body", [b"{}x", b"[1]", b'[{"message_id": 5}]', b'[{"recipient": "a"}]', b"\xff", b"3"])
def test_nonsense_is_refused(db, settings, body):
    settings.BOUNCE_SECRET = SECRET

    assert post(None, body=body).status_code == 400


def test_another_address_or_an_unknown_message_marks_nothing(sent, settings):
    settings.BOUNCE_SECRET = SECRET
    strange = {"message_id": "<x@example.com>", "recipient": "", "reason": ""}

    answer = post([bounce_of(sent, recipient="other@example.com"), strange])

    assert answer.json() == {"read": 2, "marked": 0}


NOTICE = """From MAILER-DAEMON Wed Nov 25 10:00:00 2026
From: mailer-daemon@example.com
To: office@example.com
Subject: Undelivered
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="b"

--b
Content-Type: text/plain

It could not be delivered.
--b
Content-Type: message/delivery-status

Reporting-MTA: dns; mail.example.com

Final-Recipient: rfc822; {recipient}
Action: {action}
Status: 5.1.1
Diagnostic-Code: smtp; 550 5.1.1 no such mailbox

--b
Content-Type: text/rfc822-headers

Message-ID: {message_id}
Subject: Season report

--b--

"""


def test_a_mailbox_with_notices_marks_the_failures_only(sent, tmp_path, capsys):
    path = tmp_path / "bounces"
    delayed = NOTICE.format(recipient=sent.recipient, action="delayed", message_id=sent.message_id)
    path.write_text(delayed)
    call_command("read_bounces", str(path))
    sent.refresh_from_db()
    assert sent.state == Delivery.State.SENT

    path.write_text(
        delayed
        + "From a@example.com Wed Nov 25 10:00:00 2026\nSubject: hello\n\nnot a notice\n\n"
        + NOTICE.format(recipient=sent.recipient, action="failed", message_id=sent.message_id)
    )
    call_command("read_bounces", str(path))
    call_command("read_bounces", str(path))

    sent.refresh_from_db()
    assert sent.state == Delivery.State.BOUNCED
    assert "no such mailbox" in sent.last_error
    assert "1 notices of failure read, 0 mails marked" in capsys.readouterr().out


def test_a_mailbox_that_is_not_there_is_said_so(db, tmp_path):
    with pytest.raises(CommandError, match="no mailbox"):
        call_command("read_bounces", str(tmp_path / "none"))


def test_a_mail_that_came_back_may_be_sent_again_by_a_person(sent, settings, office, mail_server):
    settings.BOUNCE_SECRET = SECRET
    post([bounce_of(sent)])
    sent.refresh_from_db()

    deliveries.send_again(delivery=sent, by=office)
    deliveries.send_due(now=timezone.now())

    assert len(mail_server.accepted) == 2


def test_only_a_post_stops_reminders_and_without_cookies_too(site):
    path = unsubscribe_url(site.client).removeprefix("http://localhost:8000")
    browser = Browser(enforce_csrf_checks=True)

    page = browser.get(path)
    site.client.refresh_from_db()
    assert "Stop the reminders" in page.content.decode()
    assert site.client.wants_reminders

    for _ in range(2):
        assert browser.post(path, {"List-Unsubscribe": "One-Click"}).status_code == 200
    site.client.refresh_from_db()
    assert not site.client.wants_reminders
    assert browser.get(f"{path[:-2]}x/").status_code == 404


def test_one_click_is_offered_over_https_only(site, settings):
    assert set(unsubscribe_headers(site.client)) == {"List-Unsubscribe"}

    settings.PUBLIC_URL = "https://rillbook.example"
    headers = unsubscribe_headers(site.client)
    assert headers["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert headers["List-Unsubscribe"].startswith("<https://rillbook.example/reminders/stop/")


def test_reminders_carry_the_way_out_and_documents_do_not(sent, site, technician, mail_server):
    assert mail_server.accepted[0]["List-Unsubscribe"] is None
    visit = factories.VisitFactory(
        site=site,
        technician=technician,
        state="planned",
        planned_on=dt.date(2026, 4, 2),
        promised=True,
    )
    assert appointments.order_reminders(today=dt.date(2026, 4, 1)) == 1

    appointments.send_due(now=timezone.now())

    reminder = mail_server.accepted[-1]
    assert AppointmentMail.objects.get().visit == visit
    assert unsubscribe_url(site.client).rpartition("/stop/")[0] in reminder["List-Unsubscribe"]
    assert "No more reminders: http" in reminder.get_body().get_content()
