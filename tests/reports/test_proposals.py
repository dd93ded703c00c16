"""A repair proposal from the fault to the repair visit: drafted, sent by mail, answered once by the link."""

import datetime as dt
import io
import os
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import closing
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pypdf
import pytest
from django.core import mail as outbox
from django.db import connection
from django.test import Client as Browser
from django.utils import timezone

from jobs.actions.proposals import Answer, NotAnswerable, answer
from jobs.models import Fault, PriceItem, Proposal, Visit
from jobs.queries.planning import firm_today
from reports.actions.links import make_link
from reports.models import Delivery, Document, ShareLink
from sites.models import AuditEntry
from tests import factories
from tests.reports.documents.page_boxes import into_the_foot, outside, overlapping, squeezed, text_of

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def fault(site):
    return factories.FaultFactory(
        site=site, kind="valve_weeps", valve=site.controllers.get().valves.first(), description="Drips for minutes."
    )


@pytest.fixture
def labour(firm):
    return factories.PriceItemFactory(name="Labour", unit="hour", price=Decimal("64.50"))


@pytest.fixture
def diaphragm(firm):
    return factories.PriceItemFactory(name="Diaphragm", price=Decimal("18.35"))


def typed(lines, *, valid_until=None, note="", stored=0, **more) -> dict[str, str]:
    """The form as a browser posts it."""
    valid_until = valid_until or firm_today() + dt.timedelta(days=14)
    data = {"lines-TOTAL_FORMS": str(len(lines)), "lines-INITIAL_FORMS": str(stored), "note": note, **more}
    data["valid_until"] = valid_until.isoformat() if isinstance(valid_until, dt.date) else valid_until
    for number, line in enumerate(lines):
        line = {"quantity": "1", "unit": "piece", "text": "", "unit_price": "", "item": "", "fault": ""} | line
        data |= {f"lines-{number}-{name}": str(value) for name, value in line.items()}
    return data


@pytest.fixture
def draft(client, office, site, fault, labour, diaphragm):
    """1.5 h of labour, 2 diaphragms and a free line of 0.335 rounded up: 96.75 + 36.70 + 1.01."""
    client.force_login(office)
    lines = [
        {"item": labour.pk, "quantity": "1,5", "fault": fault.pk},
        {"item": diaphragm.pk, "quantity": "2", "fault": fault.pk},
        {"text": "Grease", "quantity": "0.75", "unit_price": "1.34"},
        {},
    ]
    reply = client.post(f"/sites/{site.pk}/proposals/new/", typed(lines, note="Tax is included."))
    assert reply.status_code == 302, reply.content.decode()
    return Proposal.objects.get()


def send(client, draft, address="hazel@example.com"):
    reply = client.post(f"/proposals/{draft.pk}/send/", {"recipients": address})
    assert reply.status_code == 302, reply.content.decode()
    draft.refresh_from_db()
    return Document.objects.get(proposal=draft)


def link_of(message) -> str:
    [address] = [line for line in message.body.splitlines() if line.startswith("http")]
    return address.split("localhost:8000")[1]


@pytest.fixture
def reader(client, draft, django_capture_on_commit_callbacks):
    """The client's browser with the proposal open, from the link in the mail that was sent."""
    with django_capture_on_commit_callbacks(execute=True):
        send(client, draft)
    browser = Browser()
    browser.page = browser.get(link_of(outbox.outbox[-1])).url
    return browser


YES = {"choice": "accept", "name": "Hazel Court", "confirm": "on", "note": ""}


def test_items_fill_the_line_and_the_total_is_exact_to_the_cent(draft, labour):
    assert [(line.text, line.quantity, line.unit, line.unit_price, line.amount) for line in draft.lines.all()] == [
        ("Labour", Decimal("1.50"), "hour", Decimal("64.50"), Decimal("96.75")),
        ("Diaphragm", Decimal("2.00"), "piece", Decimal("18.35"), Decimal("36.70")),
        ("Grease", Decimal("0.75"), "piece", Decimal("1.34"), Decimal("1.01")),  # 1.005 rounds up
    ]
    assert draft.total == Decimal("134.46")
    assert (draft.number, draft.currency, draft.state) == (1, "USD", "draft")


def test_a_later_price_changes_nothing_that_was_written(client, draft, labour):
    client.post(f"/prices/{labour.pk}/", {"name": "Labour", "unit": "hour", "price": "99", "active": "on"})

    assert PriceItem.objects.get(pk=labour.pk).price == 99
    assert Proposal.objects.get().total == Decimal("134.46")


def test_the_price_list_refuses_beside_the_field_and_keeps_a_used_item(client, draft, labour):
    reply = client.post("/prices/new/", {"name": "Labour", "unit": "hour", "price": "minus"})
    page = reply.content.decode()
    assert reply.status_code == 422
    assert 'id="id_price_error"' in page
    assert 'id="id_name_error"' in page
    assert 'value="minus"' in page
    assert client.post("/prices/new/", {"name": "X", "unit": "piece", "price": "-1"}).status_code == 422
    assert client.post(f"/prices/{labour.pk}/delete/").status_code == 409
    assert client.delete(f"/api/price-items/{labour.pk}/").status_code == 409
    made = client.post("/api/price-items/", {"name": "Pipe", "unit": "metre", "price": "3.10"})
    assert (made.status_code, made.json()["price"]) == (201, "3.10")


def test_an_item_out_of_use_is_not_offered(client, site, office, fault, labour):
    client.force_login(office)
    PriceItem.objects.update(active=False)

    assert "Labour" not in client.get(f"/sites/{site.pk}/proposals/new/").content.decode()
    reply = client.post(f"/sites/{site.pk}/proposals/new/", typed([{"item": labour.pk}]))
    assert reply.status_code == 422


def test_a_new_proposal_starts_with_the_open_faults_of_the_site(client, office, site, fault, other_site):
    foreign = factories.FaultFactory(site=other_site, part_needed="their pump")
    closed = factories.FaultFactory(site=site, state="dismissed", part_needed="nothing")
    Fault.objects.filter(pk=fault.pk).update(part_needed="1 diaphragm")
    client.force_login(office)

    page = client.get(f"/sites/{site.pk}/proposals/new/?fault={fault.pk}&fault={foreign.pk}").content.decode()

    assert 'value="1 diaphragm"' in page
    assert "their pump" not in page + client.get(f"/sites/{site.pk}/proposals/new/").content.decode()
    for wrong in (foreign, closed):
        reply = client.post(f"/sites/{site.pk}/proposals/new/", typed([{"text": "x", "fault": wrong.pk}]))
        assert reply.status_code == 422
    assert not Proposal.objects.exists()


def test_wrong_lines_come_back_as_typed_with_the_error_beside_the_field(client, office, site, fault):
    client.force_login(office)
    lines = [
        {"text": "Elbow", "quantity": "many", "fault": fault.pk},
        {"text": "", "quantity": "2", "fault": fault.pk},
        {"text": "Pipe", "quantity": "0", "unit_price": "1,000"},
    ]

    reply = client.post(f"/sites/{site.pk}/proposals/new/", typed(lines, note="Ring twice", valid_until="yesterday"))

    page = reply.content.decode()
    assert reply.status_code == 422
    for beside in ("lines-0-quantity", "lines-1-text", "lines-2-quantity", "lines-2-unit_price", "valid_until"):
        assert f'id="id_{beside}_error"' in page, beside
    for kept in ('value="many"', "Ring twice", 'value="Elbow"', 'value="1,000"', 'value="yesterday"'):
        assert kept in page, kept
    assert not Proposal.objects.exists()
    past = firm_today() - dt.timedelta(days=1)
    assert client.post(f"/sites/{site.pk}/proposals/new/", typed([], valid_until=past)).status_code == 422


def test_a_draft_is_edited_line_by_line(client, draft, fault):
    first, second, third = draft.lines.all()
    lines = [
        {"id": first.pk, "text": "Labour of two", "quantity": "3", "unit_price": "60", "fault": fault.pk},
        {"id": second.pk, "text": "Diaphragm", "quantity": "2", "unit_price": "18.35", "DELETE": "on"},
        {"id": third.pk, "text": "Grease", "quantity": "0.75", "unit_price": "1.34"},
        {"text": "Pipe", "quantity": "2.5", "unit": "metre", "unit_price": "4"},
    ]
    lines[0]["item"] = first.item_id

    reply = client.post(f"/proposals/{draft.pk}/", typed(lines, stored=3))

    assert reply.status_code == 302, reply.content.decode()
    rows = [(line.text, line.amount) for line in Proposal.objects.get().lines.all()]
    assert rows == [("Labour of two", Decimal("180.00")), ("Grease", Decimal("1.01")), ("Pipe", Decimal("10.00"))]


def test_the_list_of_a_draft_asks_the_database_the_same_for_one_line_and_for_many(client, draft, fault):
    def asked() -> int:
        from django.test.utils import CaptureQueriesContext

        with CaptureQueriesContext(connection) as queries:
            client.get(f"/proposals/{draft.pk}/")
        return len(queries)

    before = asked()
    for position in range(6):
        draft.lines.create(text="More", position=9 + position, unit_price=1, fault=fault)
    assert asked() == before


def test_what_is_missing_keeps_a_draft_from_going_out(client, office, site, fault, mail_server):
    client.force_login(office)
    client.post(f"/sites/{site.pk}/proposals/new/", typed([{"text": "Grease"}]))
    draft = Proposal.objects.get()

    reply = client.post(f"/proposals/{draft.pk}/send/", {"recipients": "hazel@example.com"})

    page = reply.content.decode()
    assert reply.status_code == 422
    assert "Line 1, Grease: the price is missing." in page
    assert "No line repairs a fault" in page
    assert "hazel@example.com</textarea>" in page
    draft.refresh_from_db()
    assert (draft.state, Document.objects.count(), Delivery.objects.count()) == ("draft", 0, 0)
    wrong = client.post(f"/proposals/{draft.pk}/send/", {"recipients": "not an address"})
    assert "Not an email address: not an address" in wrong.content.decode()


def test_the_mail_carries_the_pdf_as_kept_and_a_link_that_opens_the_page(
    client, draft, mail_server, django_capture_on_commit_callbacks
):
    shown = client.get(f"/proposals/{draft.pk}/send/").content.decode()
    with django_capture_on_commit_callbacks(execute=True):
        document = send(client, draft)

    [mail] = mail_server.accepted
    assert (mail["To"], mail["Subject"]) == ("hazel@example.com", "Repair proposal 1 for Hazel Court")
    assert mail["Subject"] in shown
    [attachment] = mail.iter_attachments()
    with document.pdf.open("rb") as kept:
        assert attachment.get_content() == kept.read()
    text = mail.get_body().get_content()
    assert "134.46 USD" in text
    [address] = [line for line in text.splitlines() if line.startswith("http")]
    browser = Browser()
    page = browser.get(address.split("localhost:8000")[1], follow=True).content.decode()
    assert "134.46 USD" in page
    assert "is an order for the work listed" in page
    token = address.rstrip("/").rpartition("/")[2]
    assert token not in page + str(list(ShareLink.objects.values()))
    assert Delivery.objects.get().state == "sent"


def test_the_pdf_prints_the_figures_of_the_rows_and_is_laid_out_well(client, draft, site):
    document = send(client, draft)
    with document.pdf.open("rb") as file:
        pdf = file.read()

    text = squeezed(text_of(pdf))
    for line in draft.lines.all():
        for figure in (line.text, f"{line.unit_price:.2f}", f"{line.amount:.2f}"):
            assert squeezed(figure) in text
    for said in ("134.46", "Hazel Court", "Tax is included.", "Valve weeps", "Drips for minutes.", "1.5 h"):
        assert squeezed(said) in text
    assert squeezed("Accepting this proposal is an order for the work listed above") in text
    assert [found for check in (outside, overlapping, into_the_foot) for found in check(pdf)] == []
    assert "Draft" not in text_of(pdf)


def test_a_draft_s_pdf_says_that_it_is_no_offer(client, draft):
    pdf = client.get(f"/proposals/{draft.pk}/draft.pdf").content

    assert "not an offer" in text_of(pdf)


def test_mains_backflow_and_danger_bring_their_wording(client, office, site, firm):
    client.force_login(office)
    for kind, severity in (("controller", "unsafe"), ("backflow", "water_loss")):
        factories.FaultFactory(site=site, kind=kind, severity=severity)
    lines = [{"text": "Look", "unit_price": "9", "fault": fault.pk} for fault in Fault.objects.all()]
    client.post(f"/sites/{site.pk}/proposals/new/", typed(lines))

    text = squeezed(text_of(client.get(f"/proposals/{Proposal.objects.get().pk}/draft.pdf").content))

    for said in ("licensed electrician", "do not bypass it", "keep people away"):
        assert squeezed(said) in text


def test_a_german_client_reads_german(client, draft, site, django_capture_on_commit_callbacks):
    site.client.language = "de"
    site.client.save()
    with django_capture_on_commit_callbacks(execute=True):
        document = send(client, draft)

    [mail] = outbox.outbox
    assert mail.subject == "Reparaturangebot 1 für Hazel Court"
    browser = Browser()
    page = browser.get(link_of(mail), follow=True).content.decode()
    assert '<html lang="de">' in page
    assert "134,46 USD" in page
    assert "Ich nehme an" in page
    link = ShareLink.objects.get()
    wrong = browser.post(f"/shared/{link.uuid}/answer/", {"note": "Bitte anrufen"})
    assert wrong.status_code == 422
    for said in ("Bitte geben Sie Ihren Namen ein.", "Bitte wählen Sie", "Bitte ankreuzen", "Bitte anrufen"):
        assert said in wrong.content.decode()
    with document.pdf.open("rb") as file:
        assert squeezed("134,46") in squeezed(text_of(file.read()))


def test_sent_it_never_changes(client, reader, draft, labour):
    before = [str(line.amount) for line in draft.lines.all()]

    reply = client.post(f"/proposals/{draft.pk}/", typed([{"text": "More", "unit_price": "500"}]))

    assert reply.status_code == 409
    assert "it stays as it is" in reply.content.decode()
    assert [str(line.amount) for line in Proposal.objects.get().lines.all()] == before
    assert client.post(f"/proposals/{draft.pk}/discard/").status_code == 302
    assert Proposal.objects.filter(pk=draft.pk).exists()
    assert client.post(f"/proposals/{draft.pk}/send/", {"recipients": "x@example.com"}).status_code == 302
    assert Document.objects.count() == 1


def test_accepting_makes_one_repair_visit_that_lists_the_faults_without_prices(client, reader, draft, fault, site):
    reply = reader.post(f"{reader.page}answer/", YES | {"note": "Dog in the garden"})

    assert (reply.status_code, reply.url) == (302, reader.page)
    assert "Accepted on" in reader.get(reader.page).content.decode()
    draft.refresh_from_db()
    visit = Visit.objects.get(kind="repair")
    assert draft.visit == visit
    assert (draft.state, draft.answered_by, visit.state, visit.site) == ("accepted", "Hazel Court", "open", site)
    assert (visit.opens_on, visit.service_min) == (firm_today(), 90)
    for said in ("valve weeps", "1.5 hour: Labour", "2 piece: Diaphragm", "Dog in the garden", "Also:", "Grease"):
        assert said in visit.instructions
    assert "96.75" not in visit.instructions
    assert "64.50" not in visit.instructions
    again = reader.post(f"{reader.page}answer/", YES | {"choice": "decline"})
    assert again.status_code == 409
    assert "Accepted on" in again.content.decode()
    assert Visit.objects.filter(kind="repair").count() == 1
    told = client.get("/proposals/").content.decode()
    assert "Hazel Court, " in told
    assert "accepted" in client.get(f"/proposals/{draft.pk}/").content.decode()
    assert AuditEntry.objects.get(verb="proposal accepted").detail["link"] == ShareLink.objects.get().pk


def test_declining_leaves_the_faults_open_with_the_note(client, reader, draft, fault):
    reply = reader.post(f"{reader.page}answer/", YES | {"choice": "decline", "note": "Too dear this year"})

    assert reply.status_code == 302
    fault.refresh_from_db()
    draft.refresh_from_db()
    assert (draft.state, fault.state, Visit.objects.count()) == ("declined", "open", 0)
    assert "Too dear this year" in client.get(f"/faults/{fault.pk}/").content.decode()
    assert "Declined on" in reader.get(reader.page).content.decode()


@pytest.mark.parametrize("lacking", ["name", "choice", "confirm"])
def test_a_lacking_answer_is_told_beside_the_field_and_keeps_what_was_typed(reader, draft, lacking):
    reply = reader.post(f"{reader.page}answer/", YES | {lacking: "", "note": "Mind the roses"})

    assert reply.status_code == 422
    page = reply.content.decode()
    assert {"name": "Enter your name.", "choice": "Choose whether", "confirm": "Tick this"}[lacking] in page
    assert "Mind the roses" in page
    assert Proposal.objects.get().state == "sent"


def test_only_a_post_with_the_form_s_own_token_answers(reader, draft):
    strict = Browser(enforce_csrf_checks=True)
    strict.cookies = reader.cookies

    assert reader.get(f"{reader.page}answer/", YES).status_code == 405
    assert strict.post(f"{reader.page}answer/", YES).status_code == 403
    assert Browser().post(f"{reader.page}answer/", YES).status_code == 404
    assert Proposal.objects.get().state == "sent"
    page = strict.get(reader.page)
    token = page.content.decode().split('name="csrfmiddlewaretoken" value="')[1].split('"')[0]
    assert page["Referrer-Policy"] == "same-origin"
    assert strict.post(f"{reader.page}answer/", YES | {"csrfmiddlewaretoken": token}).status_code == 302


def test_past_its_last_day_it_is_told_so_and_cannot_be_answered(reader, draft, client):
    Proposal.objects.update(valid_until=firm_today() - dt.timedelta(days=1))

    assert "can no longer be answered" in reader.get(reader.page).content.decode()
    reply = reader.post(f"{reader.page}answer/", YES)

    assert reply.status_code == 409
    assert "Your answer was not saved." in reply.content.decode()
    assert (Proposal.objects.get().state, Visit.objects.count()) == ("sent", 0)
    assert "expired" in client.get("/proposals/?standing=expired").content.decode()
    assert "No proposal has this status" in client.get("/proposals/?standing=sent").content.decode()


def test_the_link_outlives_the_last_day_so_that_the_late_are_told(reader, draft):
    assert ShareLink.objects.get().expires_at.date() >= draft.valid_until + dt.timedelta(days=89)


def test_a_new_one_supersedes_the_old_only_when_it_is_sent(client, reader, draft):
    made = client.post(f"/proposals/{draft.pk}/revise/")
    newer = Proposal.objects.exclude(pk=draft.pk).get()
    assert made.url == f"/proposals/{newer.pk}/"
    assert client.post(f"/proposals/{draft.pk}/revise/").url == made.url  # asked twice, begun once
    assert (newer.number, newer.total) == (2, draft.total)
    assert "Send the answer" in reader.get(reader.page).content.decode()

    send(client, newer)

    assert "A newer proposal has replaced this one" in reader.get(reader.page).content.decode()
    assert reader.post(f"{reader.page}answer/", YES).status_code == 409
    draft.refresh_from_db()
    assert (draft.state, Visit.objects.count()) == ("superseded", 0)


def test_what_was_accepted_since_is_not_superseded(client, reader, draft):
    client.post(f"/proposals/{draft.pk}/revise/")
    newer = Proposal.objects.exclude(pk=draft.pk).get()
    reader.post(f"{reader.page}answer/", YES)

    reply = client.post(f"/proposals/{newer.pk}/send/", {"recipients": "hazel@example.com"})

    assert reply.status_code == 422
    assert "The client has accepted Proposal 1 since" in reply.content.decode()
    assert Proposal.objects.get(pk=draft.pk).state == "accepted"


def test_the_same_fault_is_not_ordered_twice(client, reader, draft, site, fault):
    client.post(f"/sites/{site.pk}/proposals/new/", typed([{"text": "Again", "unit_price": "5", "fault": fault.pk}]))
    second = Proposal.objects.get(number=2)

    reply = client.post(f"/proposals/{second.pk}/send/", {"recipients": "hazel@example.com"})

    assert reply.status_code == 422
    assert "Proposal 1 is waiting for the client for the same fault" in reply.content.decode()


def test_taken_back_it_cannot_be_answered(client, reader, draft):
    assert client.post(f"/proposals/{draft.pk}/withdraw/").status_code == 302

    assert "We have withdrawn this proposal" in reader.get(reader.page).content.decode()
    assert reader.post(f"{reader.page}answer/", YES).status_code == 409
    assert Visit.objects.count() == 0


def test_a_revoked_link_answers_nothing(client, reader, draft):
    client.post(f"/links/{ShareLink.objects.get().pk}/revoke/")

    assert reader.post(f"{reader.page}answer/", YES).status_code == 404
    assert Proposal.objects.get().state == "sent"


def test_a_link_answers_its_own_proposal_only(client, reader, draft, other_site, office):
    theirs = factories.FaultFactory(site=other_site)
    lines = [{"text": "Theirs", "unit_price": "5", "fault": theirs.pk}]
    client.post(f"/sites/{other_site.pk}/proposals/new/", typed(lines))
    other = send(client, Proposal.objects.get(number=2), "sven@example.com")
    client.post(f"/reports/{other.pk}/links/make/", {"label": "sven"})
    link = ShareLink.objects.get(document=other)
    reader.cookies[f"shared-{link.uuid.hex}"] = next(iter(reader.cookies.values())).value

    assert reader.post(f"/shared/{link.uuid}/answer/", YES).status_code == 404
    assert Proposal.objects.get(number=2).state == "sent"


def test_an_archived_site_takes_no_order_and_the_client_is_told(reader, draft, site):
    site.archived_at = timezone.now()
    site.save()

    reply = reader.post(f"{reader.page}answer/", YES)

    assert reply.status_code == 409
    assert "Nothing was ordered" in reply.content.decode()
    assert (Proposal.objects.get().state, Visit.objects.count()) == ("sent", 0)


def test_the_office_writes_down_an_answer_by_telephone_once(client, reader, draft):
    words = {"name": "Hazel", "choice": "accept", "note": "By telephone"}

    assert client.post(f"/proposals/{draft.pk}/answer/", {"name": "Hazel"}).status_code == 422
    assert client.post(f"/proposals/{draft.pk}/answer/", words).status_code == 302
    again = client.post(f"/proposals/{draft.pk}/answer/", words)

    assert again.status_code == 422
    assert "It cannot be answered: it is accepted." in again.content.decode()
    assert Visit.objects.filter(kind="repair").count() == 1


def test_technicians_and_clients_see_no_proposal(client, draft, technician, client_user, site, fault):
    factories.VisitFactory(site=site, technician=technician)
    for person in (technician, client_user):
        client.force_login(person)
        for address in (f"/proposals/{draft.pk}/", "/proposals/", "/prices/", "/api/proposals/", "/api/price-items/"):
            assert client.get(address).status_code in (403, 404)
    client.force_login(technician)
    page = client.get(f"/faults/{fault.pk}/").content.decode()
    assert "Proposal 1" not in page


def test_two_who_saw_it_waiting_cannot_both_answer(draft, client):
    send(client, draft)
    first, second = Proposal.objects.get(), Proposal.objects.get()  # both read before either writes
    said = Answer(True, "Hazel", "", timezone.now(), firm_today())

    answer(proposal=first, said=said)
    with pytest.raises(NotAnswerable) as refused:
        answer(proposal=second, said=said)

    assert refused.value.standing == "accepted"
    assert Visit.objects.filter(kind="repair").count() == 1


def answer_at_once(environment: dict[str, str], path: str) -> list[int]:
    """Two processes of three browsers each press the button at the same moment."""
    script = Path(__file__).with_name("answer_at_once.py")
    moment = str(time.time() + 2.0)
    running = [
        subprocess.Popen(
            [sys.executable, str(script), path, moment, "3"],
            cwd=ROOT,
            env=environment | {"PYTHONPATH": str(ROOT)},
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    return [int(status) for process in running for status in process.communicate(timeout=60)[0].split()]


@pytest.mark.slow
@pytest.mark.sqlite_only
@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "sqlite", reason="copies the tests' SQLite; PostgreSQL has its own test")
def test_six_answers_at_once_count_once(client, draft, office, tmp_path):
    """On a copy of the database in a file, with the settings of a real installation."""
    document = send(client, draft)
    link, token = make_link(document=document, label="", now=timezone.now(), by=office)
    with closing(sqlite3.connect(tmp_path / "rillbook.sqlite3")) as copy:
        connection.connection.backup(copy)
    kept = {name: os.environ[name] for name in ("PATH", "HOME", "LANG") if name in os.environ}
    environment = kept | {
        "RILLBOOK_DATA_DIR": str(tmp_path),
        "SECRET_KEY": "k" * 50,
        "RILLBOOK_LOG_LEVEL": "CRITICAL",
        "RILLBOOK_DEBUG": "1",  # no hashed static files here
    }

    statuses = answer_at_once(environment, f"/r/{token}/")

    assert sorted(statuses) == [302] + [409] * 5
    with closing(sqlite3.connect(tmp_path / "rillbook.sqlite3")) as copy:
        assert copy.execute("select count(*) from jobs_visit where kind = 'repair'").fetchone() == (1,)
        assert copy.execute("select state from jobs_proposal").fetchall() == [("accepted",)]


@pytest.mark.services
@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "postgresql", reason="row locks need PostgreSQL")
def test_on_postgresql_of_two_answers_at_once_one_counts(client, draft):
    send(client, draft)
    said, start = [], threading.Barrier(2)

    def press(accepted: bool) -> None:
        start.wait()
        try:
            words = Answer(accepted, "Hazel", "", timezone.now(), firm_today())
            said.append(answer(proposal=draft, said=words).state)
        except NotAnswerable:
            said.append("too late")
        finally:
            connection.close()

    presses = [threading.Thread(target=press, args=(accepted,)) for accepted in (True, False)]
    for thread in presses:
        thread.start()
    for thread in presses:
        thread.join()
    state = Proposal.objects.get().state
    assert sorted(said) == sorted([state, "too late"])
    assert Visit.objects.filter(kind="repair").count() == (1 if state == "accepted" else 0)


def test_the_pdf_behind_the_link_is_the_one_kept(reader, draft):
    reply = reader.get(f"{reader.page}report.pdf")

    assert pypdf.PdfReader(io.BytesIO(b"".join(reply.streaming_content))).pages[0].extract_text()
    assert 'filename="proposal-1-hazel-court.pdf"' in reply["Content-Disposition"]
    reply.close()


def test_a_new_proposal_suggests_its_last_day(client, office, site, fault):
    client.force_login(office)

    page = client.get(f"/sites/{site.pk}/proposals/new/").content.decode()

    assert f'value="{(firm_today() + dt.timedelta(days=30)).isoformat()}"' in page


def test_one_that_was_answered_or_taken_back_is_not_mailed_again(client, reader, draft):
    client.post(f"/proposals/{draft.pk}/withdraw/")
    document = Document.objects.get(proposal=draft)

    reply = client.post(f"/reports/{document.pk}/send/", {"recipients": "late@example.com"})

    assert reply.status_code == 422
    assert "it can no longer be sent" in reply.content.decode()
    assert Delivery.objects.count() == 1


def test_the_last_day_counts_and_the_day_after_does_not(draft, client):
    send(client, draft)
    last = Answer(True, "Hazel", "", timezone.now(), draft.valid_until)

    with pytest.raises(NotAnswerable) as refused:
        answer(proposal=draft, said=replace(last, today=last.today + dt.timedelta(days=1)))

    assert refused.value.standing == "expired"
    assert answer(proposal=draft, said=last).state == "accepted"


def test_the_list_asks_the_database_the_same_for_one_and_for_many(client, draft, site):
    from django.test.utils import CaptureQueriesContext

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            client.get("/proposals/")
        return len(queries)

    before = asked()
    for number in (2, 3, 4):
        row = factories.ProposalFactory(site=site, number=number)
        row.lines.create(text="Elbow", unit_price=1)
    assert asked() == before


def test_the_api_reads_what_the_pages_show(client, draft, site):
    draft.lines.create(text="Dearest", quantity=Decimal("999999.99"), unit_price=Decimal("99999999.99"), position=9)

    row = client.get(f"/api/proposals/{draft.pk}/").json()

    assert [line["amount"] for line in row["lines"]] == ["96.75", "36.70", "1.01", "99999998990000.00"]
    assert row["total"] == "99999998990134.46"
    assert client.patch(f"/api/proposals/{draft.pk}/", {"note": "x"}, "application/json").status_code in (403, 405)
