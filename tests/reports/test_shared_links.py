"""Links that open one report without signing in: what they open, for how long, and what they never give away."""

import datetime as dt

import pytest
from django.test import Client as Browser
from django.utils import timezone

from reports.actions import deliveries, documents, links
from reports.models import ShareLink
from sites.models import AuditEntry


@pytest.fixture
def report(site, office):
    return documents.make_season_report(site=site, season_year=2026, by=office)


@pytest.fixture
def link_and_token(report, office):
    return links.make_link(document=report, label="Hazel", now=timezone.now(), by=office)


@pytest.fixture
def opened(link_and_token):
    """A stranger's browser that has handed in the token."""
    link, token = link_and_token
    browser = Browser()
    answer = browser.get(f"/r/{token}/")
    assert answer.status_code == 302
    return browser, link, answer


def test_a_stranger_reads_the_report_and_its_pdf_behind_a_clean_address(opened, report):
    browser, link, answer = opened

    assert answer.url == f"/shared/{link.uuid}/"
    page = browser.get(answer.url)
    assert page.status_code == 200
    assert "Hazel Court" in page.content.decode()
    pdf = browser.get(f"{answer.url}report.pdf")
    with report.pdf.open("rb") as kept:
        assert b"".join(pdf.streaming_content) == kept.read()
    pdf.close()


def test_the_page_says_what_the_pdf_says_even_after_the_data_changed(opened, report, site):
    browser, link, answer = opened
    site.name = "Renamed since"
    site.save()

    page = browser.get(answer.url).content.decode()

    assert "Renamed since" not in page
    told = [report.content["summary"], *[line["what"] for line in report.content["assumptions"]]]
    assert [text for text in told if text not in page.replace("&#x27;", "'")] == []


def test_every_answer_keeps_quiet(opened, link_and_token):
    browser, link, _ = opened
    answers = [
        Browser().get(f"/r/{link_and_token[1]}/"),
        Browser().get("/r/not-a-token/"),
        browser.get(f"/shared/{link.uuid}/"),
        browser.get(f"/shared/{link.uuid}/report.pdf"),
        Browser().get(f"/shared/{link.uuid}/"),
    ]
    for answer in answers:
        assert answer["Referrer-Policy"] == "no-referrer"
        assert "noindex" in answer["X-Robots-Tag"]
        assert "no-store" in answer["Cache-Control"]
    answers[3].close()
    page = answers[2].content.decode()
    assert link_and_token[1] not in page
    assert "//" not in page.replace("<!doctype html>", "").replace("http://www.w3.org", "").split("<main")[1]


def test_only_the_hash_of_the_token_is_kept_and_the_cookie_is_for_this_report_alone(opened, link_and_token):
    browser, link, _ = opened
    token = link_and_token[1]

    assert len(token) >= 43  # 256 bits in base64
    assert token not in str(ShareLink.objects.values().get()) + str(list(AuditEntry.objects.values()))
    cookie = browser.cookies[f"shared-{link.uuid.hex}"]
    assert (cookie["path"], cookie["httponly"], cookie["samesite"]) == (f"/shared/{link.uuid}/", True, "Lax")
    assert token not in cookie.value


def test_a_link_opens_its_own_report_only(opened, other_site, office):
    browser, link, _ = opened
    other = documents.make_season_report(site=other_site, season_year=2026, by=office)
    theirs, _ = links.make_link(document=other, label="", now=timezone.now(), by=office)
    browser.cookies[f"shared-{theirs.uuid.hex}"] = browser.cookies[f"shared-{link.uuid.hex}"].value

    assert browser.get(f"/shared/{theirs.uuid}/").status_code == 404
    assert browser.get(f"/reports/{other.pk}.pdf").status_code == 302
    assert browser.get("/sites/").status_code == 302


def test_a_revoked_link_is_closed_at_the_next_request(opened, link_and_token, client, office):
    browser, link, answer = opened
    assert browser.get(answer.url).status_code == 200
    client.force_login(office)

    assert client.post(f"/links/{link.pk}/revoke/").status_code == 302

    assert browser.get(answer.url).status_code == 404
    assert browser.get(f"{answer.url}report.pdf").status_code == 404
    assert Browser().get(f"/r/{link_and_token[1]}/").status_code == 404


def test_a_link_runs_out(opened, link_and_token):
    browser, link, answer = opened
    ShareLink.objects.update(expires_at=timezone.now() - dt.timedelta(seconds=1))

    assert browser.get(answer.url).status_code == 404
    assert Browser().get(f"/r/{link_and_token[1]}/").status_code == 404


def test_opening_the_token_counts_nothing_and_each_reading_counts_once(opened, link_and_token):
    browser, link, answer = opened
    for _ in range(3):
        Browser().get(f"/r/{link_and_token[1]}/")  # a mail scanner
    link.refresh_from_db()
    assert link.views == 0

    browser.get(answer.url)
    browser.head(answer.url)
    browser.get(answer.url)

    link.refresh_from_db()
    assert link.views == 2
    assert link.last_viewed_at is not None


def test_guesses_are_throttled_by_address(link_and_token):
    guesser, reader = Browser(REMOTE_ADDR="10.0.0.1"), Browser(REMOTE_ADDR="10.0.0.2")

    codes = [guesser.get(f"/r/guess-{number}/").status_code for number in range(12)]

    assert codes == [404] * 10 + [429] * 2
    assert guesser.get(f"/r/{link_and_token[1]}/").status_code == 429
    assert reader.get(f"/r/{link_and_token[1]}/").status_code == 302


def test_the_token_stands_in_no_log_line(link_and_token, capfd, caplog):
    Browser().get(f"/r/{link_and_token[1]}/")

    assert link_and_token[1] not in caplog.text + "".join(capfd.readouterr())


def test_a_client_who_wants_a_link_gets_one_that_works_and_no_attachment(report, site, office, mail_server):
    site.client.report_as = "link"
    site.client.save()
    [delivery] = deliveries.queue_delivery(document=report, recipients=["hazel@example.com"], by=office)
    mail_server.answers = ["451 later"]
    now = timezone.now()

    deliveries.send_due(now=now)
    deliveries.send_due(now=now + dt.timedelta(hours=1))

    [mail] = mail_server.accepted
    assert list(mail.iter_attachments()) == []
    [address] = [line for line in mail.get_content().splitlines() if line.startswith("http")]
    path = address.split("localhost:8000")[1]
    browser = Browser()
    assert "Hazel Court" in browser.get(path, follow=True).content.decode()
    assert ShareLink.objects.get().delivery == delivery


def test_the_preview_is_what_goes_out(report, site, office, mail_server):
    for choice in ("attachment", "link"):
        site.client.report_as = choice
        site.client.save()
        report = documents.Document.objects.get(pk=report.pk)
        shown = deliveries.preview(report, now=timezone.now())
        deliveries.queue_delivery(document=report, recipients=[f"{choice}@example.com"], by=office)
        deliveries.send_due(now=timezone.now())
        mail = mail_server.accepted[-1]
        body = mail.get_body().get_content().replace("\r\n", "\n")
        if choice == "link":
            [address] = [line for line in body.splitlines() if line.startswith("http")]
            body = body.replace(address, deliveries.shared_url("…"))
        assert body.strip() == shown.body.strip()
        assert mail["Subject"] == shown.subject


def test_a_test_goes_to_oneself_and_not_into_the_ledger(client, report, office, mail_server):
    office.email = "otto@example.com"
    office.save()
    client.force_login(office)

    client.post(f"/reports/{report.pk}/test/")

    [mail] = mail_server.accepted
    assert mail["To"] == "otto@example.com"
    assert report.deliveries.count() == 0
    report.refresh_from_db()
    assert report.published_at is None


def test_the_office_makes_a_link_and_sees_its_address_once(client, report, office):
    client.force_login(office)

    made = client.post(f"/reports/{report.pk}/links/make/", {"label": "the gardener"}).content.decode()

    token = made.split("/r/")[1].split("/")[0]
    page = client.get(f"/reports/{report.pk}/send/").content.decode()
    assert "the gardener" in page
    assert token not in page
    assert Browser().get(f"/r/{token}/").status_code == 302


def test_a_german_client_gets_report_page_and_mail_in_german(site, office, mail_server):
    site.client.language = "de"
    site.client.save()
    report = documents.make_season_report(site=site, season_year=2026, by=office)
    deliveries.queue_delivery(document=report, recipients=["hazel@example.com"], by=office)
    deliveries.send_due(now=timezone.now())
    link, token = links.make_link(document=report, label="", now=timezone.now(), by=office)

    page = Browser().get(f"/r/{token}/", follow=True).content.decode()

    assert mail_server.accepted[0]["Subject"] == "Saisonbericht 2026 für Hazel Court"
    assert '<html lang="de">' in page
    assert "Was wir getan haben" in page
    assert "What we did" not in page
