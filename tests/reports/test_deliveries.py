"""Deliveries against a real SMTP server that refuses, drops and comes back."""

import datetime as dt
import io

import pypdf
import pytest

from jobs.queries.planning import firm_today
from reports.actions import deliveries, documents
from reports.models import Delivery
from tests.reports.mail_server import DROP

NOW = dt.datetime(2026, 12, 1, 9, 0, tzinfo=dt.UTC)


@pytest.fixture
def report(site, office):
    return documents.make_season_report(site=site, season_year=2026, by=office)


def order(report, by, address="hazel@example.com") -> Delivery:
    return deliveries.queue_delivery(document=report, recipients=[address], by=by)[0]


def pdf_of(document) -> bytes:
    with document.pdf.open("rb") as file:
        return file.read()


def later(minutes: float) -> dt.datetime:
    return NOW + dt.timedelta(minutes=minutes)


def test_a_report_reaches_the_client_once_with_the_pdf_as_kept(report, office, mail_server):
    delivery = order(report, office)

    assert deliveries.send_due(now=NOW) == 1
    assert deliveries.send_due(now=later(60)) == 0

    [mail] = mail_server.accepted
    assert mail["To"] == "hazel@example.com"
    assert mail["Subject"] == "Season report 2026 for Hazel Court"
    assert mail["Message-ID"] == delivery.message_id
    [attachment] = mail.iter_attachments()
    assert attachment.get_content() == pdf_of(report)
    assert "Hazel Court" in pypdf.PdfReader(io.BytesIO(attachment.get_content())).pages[0].extract_text()
    delivery.refresh_from_db()
    assert (delivery.state, delivery.sent_at, delivery.attempts) == (Delivery.State.SENT, NOW, 1)


def test_a_report_whose_file_is_gone_holds_up_no_other_mail(report, other_site, office, mail_server, client):
    broken = order(report, office)
    report.pdf.storage.delete(report.pdf.name)
    order(documents.make_season_report(site=other_site, season_year=2026, by=office), office)

    assert deliveries.send_due(now=NOW) == 1

    broken.refresh_from_db()
    assert broken.state == Delivery.State.FAILED
    assert broken.last_error.startswith("Not sent: the mail could not be written")
    client.force_login(office)
    assert client.get(f"/reports/{report.pk}.pdf").status_code == 404


def test_ordering_twice_sends_once(report, office, mail_server):
    assert order(report, office).pk == order(report, office).pk

    deliveries.send_due(now=NOW)

    assert len(mail_server.accepted) == 1


def test_sending_publishes_the_report_to_the_client(report, office):
    assert report.published_at is None

    order(report, office)

    report.refresh_from_db()
    assert report.published_at is not None


def test_a_busy_server_is_tried_again_after_a_while(report, office, mail_server):
    delivery = order(report, office)
    mail_server.answers = ["451 busy, try later"]

    assert deliveries.send_due(now=NOW) == 0
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.WAITING
    assert "try later" in delivery.last_error

    assert deliveries.send_due(now=later(0.5)) == 0
    assert mail_server.accepted == []
    assert deliveries.send_due(now=later(2)) == 1
    assert len(mail_server.accepted) == 1


def test_a_refused_message_fails_and_is_not_tried_again_by_itself(report, office, mail_server):
    delivery = order(report, office)
    mail_server.answers = ["550 no such person"]

    deliveries.send_due(now=NOW)
    deliveries.send_due(now=later(600))

    delivery.refresh_from_db()
    assert (delivery.state, delivery.attempts) == (Delivery.State.FAILED, 1)
    assert "no such person" in delivery.last_error


def test_a_connection_that_breaks_after_the_message_is_unknown_and_waits_for_a_person(report, office, mail_server):
    delivery = order(report, office)
    mail_server.answers = [DROP]

    deliveries.send_due(now=NOW)
    deliveries.send_due(now=later(600))

    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.UNKNOWN
    assert mail_server.accepted == []

    deliveries.send_again(delivery=delivery, by=office)
    assert deliveries.send_due(now=later(601)) == 1
    assert len(mail_server.accepted) == 1


def test_a_server_that_is_down_leaves_the_delivery_waiting_and_gives_up_after_five_tries(report, office, mail_server):
    delivery = order(report, office)
    mail_server.stop()

    deliveries.send_due(now=NOW)
    delivery.refresh_from_db()
    assert (delivery.state, delivery.attempts) == (Delivery.State.WAITING, 1)

    for tries in range(4):
        deliveries.send_due(now=later(200 * (tries + 1)))
    delivery.refresh_from_db()
    assert (delivery.state, delivery.attempts) == (Delivery.State.FAILED, 5)
    assert "could not be reached" in delivery.last_error


def test_a_sender_that_died_while_sending_leaves_an_unknown_outcome_not_a_second_mail(report, office, mail_server):
    delivery = order(report, office)
    Delivery.objects.filter(pk=delivery.pk).update(state=Delivery.State.SENDING, claimed_at=NOW)

    deliveries.send_due(now=later(5))
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.SENDING

    deliveries.send_due(now=later(20))
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.UNKNOWN
    assert mail_server.accepted == []

    deliveries.count_as_sent(delivery=delivery, by=office)
    delivery.refresh_from_db()
    assert delivery.state == Delivery.State.SENT


def test_a_sent_delivery_cannot_be_sent_again_by_mistake(report, office, mail_server):
    delivery = order(report, office)
    deliveries.send_due(now=NOW)

    with pytest.raises(deliveries.NotSendable):
        deliveries.send_again(delivery=delivery, by=office)


def test_names_cannot_break_the_mail_headers(site, office, mail_server):
    site.name = "Hazel\r\nBcc: everyone@example.com"
    site.save()
    report = documents.make_season_report(site=site, season_year=2026, by=office)
    order(report, office)

    deliveries.send_due(now=NOW)

    [mail] = mail_server.accepted
    assert mail["Bcc"] is None
    assert mail["Subject"] == "Season report 2026 for Hazel Bcc: everyone@example.com"


def test_a_report_is_a_new_version_only_when_something_changed(report, site, office):
    assert documents.make_season_report(site=site, season_year=2026, by=office).pk == report.pk

    site.address = "2 Other Lane"
    site.save()
    changed = documents.make_season_report(site=site, season_year=2026, by=office)

    assert (report.version, changed.version) == (1, 2)
    assert pdf_of(report) != pdf_of(changed)


def test_the_office_sends_from_the_page_and_sees_it_recorded(
    client, report, office, mail_server, django_capture_on_commit_callbacks
):
    client.force_login(office)
    address = f"/reports/{report.pk}/send/"
    assert "client" in client.get(address).content.decode()

    with django_capture_on_commit_callbacks(execute=True):
        answer = client.post(address, {"recipients": "hazel@example.com\nsecond@example.com"})

    assert answer.status_code == 302
    assert sorted(mail["To"] for mail in mail_server.accepted) == ["hazel@example.com", "second@example.com"]
    page = client.get(address).content.decode()
    assert page.count(">sent<") == 2


def test_a_wrong_address_is_named_beside_the_field_and_what_was_typed_stays(client, report, office):
    client.force_login(office)

    answer = client.post(f"/reports/{report.pk}/send/", {"recipients": "hazel@example.com\nnot an address"})

    assert answer.status_code == 422
    page = answer.content.decode()
    assert "Not an email address: not an address" in page
    assert "hazel@example.com\nnot an address" in page
    assert Delivery.objects.count() == 0


def test_season_reports_command_sends_each_report_once(
    site, other_site, mail_server, django_capture_on_commit_callbacks
):
    from django.core.management import call_command

    for _ in range(2):
        with django_capture_on_commit_callbacks(execute=True):
            call_command("season_reports", str(firm_today().year), "--send", verbosity=0)

    assert len(mail_server.accepted) == 2


@pytest.mark.parametrize("text", ["²", "x", "9" * 5000, "1850"])
def test_a_year_that_is_none_shows_this_season(client, office, text):
    client.force_login(office)
    assert client.get(f"/reports/?year={text}").status_code == 200
