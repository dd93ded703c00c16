"""Many documents in the background: complete, in order, stopped and gone on with, healed after a lost worker."""

import datetime as dt
import io
import zipfile

import pytest
from django.utils import timezone
from pypdf import PdfReader

from reports.actions import bulk, deliveries
from reports.models import BulkJob, BulkPart, Delivery, Document
from reports.queries.bulk import progress_of, visits_to_print
from tests import factories

TODAY = dt.date(2026, 3, 1)


@pytest.fixture
def visits(site, other_site, technician):
    """Five planned visits, alternating between two sites."""
    return [
        factories.VisitFactory(
            site=(site, other_site)[number % 2],
            sequence=number + 1,
            technician=technician,
            planned_on=dt.date(2026, 4, 1) + dt.timedelta(days=number),
            state="planned",
        )
        for number in range(5)
    ]


@pytest.fixture(autouse=True)
def small_parts(monkeypatch):
    """Two documents a part, so that five visits make three parts."""
    monkeypatch.setattr(bulk, "PART_ROWS", 2)


def order(ids, kind="sheets", shape="pdf", by=None) -> BulkJob:
    job = BulkJob(kind=kind, shape=shape, title="Test", season_year=2026, prepared_on=TODAY)
    return bulk.queue_bulk(job=job, row_ids=ids, by=by)


def content(job) -> bytes:
    job.refresh_from_db()
    with job.file.open("rb") as file:
        return file.read()


def test_one_pdf_has_every_sheet_in_the_order_given(visits):
    ids = [visit.pk for visit in reversed(visits)]
    job = order(ids)

    assert bulk.work() == 3

    job.refresh_from_db()
    assert job.state == BulkJob.State.DONE
    texts = [page.extract_text() for page in PdfReader(io.BytesIO(content(job))).pages]
    firsts = [text for text in texts if "Page 1 of" in text]
    assert [f"Visit {pk} ·" in text for pk, text in zip(ids, firsts, strict=True)] == [True] * 5
    assert not job.parts.exclude(file="").exists()


def test_a_zip_has_one_file_a_sheet_and_the_same_bytes_twice(visits):
    ids = [visit.pk for visit in visits]
    first, second = order(ids, shape="zip"), order(ids, shape="zip")

    bulk.work()

    with zipfile.ZipFile(io.BytesIO(content(first))) as archive:
        assert archive.testzip() is None
        assert [name[:6] for name in archive.namelist()] == [f"{pk:06d}" for pk in ids]
    assert content(first) == content(second)


def test_reports_are_kept_documents_and_made_once(site, other_site, office):
    for _ in range(2):
        job = order([site.pk, other_site.pk], kind="reports", by=office)
        bulk.work()
    assert Document.objects.count() == 2
    pages = PdfReader(io.BytesIO(content(job))).pages
    assert sum("Page 1 of" in page.extract_text() for page in pages) == 2


def test_all_clients_are_written_to_once_and_the_others_are_named(site, other_site, office, mail_server):
    other_site.client.wants_season_report_by_email = False
    other_site.client.save()
    for _ in range(2):
        job = order([site.pk, other_site.pk], kind="send", shape="none", by=office)
        bulk.work()
        deliveries.send_due(now=timezone.now())

    assert [mail["To"] for mail in mail_server.accepted] == [site.client.email]
    job.refresh_from_db()
    assert job.state == BulkJob.State.DONE
    assert job.notes == ["Stranger Street: the client has no address or wants no mail."]
    assert Delivery.objects.count() == 1


def test_a_stopped_job_makes_nothing_more_and_goes_on_where_it_was(visits, office):
    job = order([visit.pk for visit in visits])
    part = bulk._claim(timezone.now())
    bulk._make(part)

    bulk.cancel_bulk(job=job, by=office)

    assert bulk.work() == 0
    bulk.resume_bulk(job=job, by=office)
    assert bulk.work() == 2  # the part that was done is not made again
    assert len(set(_firsts(job))) == 5


def _firsts(job) -> list[str]:
    texts = [page.extract_text() for page in PdfReader(io.BytesIO(content(job))).pages]
    return [text for text in texts if "Page 1 of" in text]


def test_a_part_whose_worker_died_is_made_by_the_next(visits):
    job = order([visit.pk for visit in visits])
    long_ago = timezone.now() - dt.timedelta(minutes=bulk.DEAD_AFTER_MIN + 1)
    bulk._claim(long_ago)

    assert bulk.work() == 3

    job.refresh_from_db()
    assert job.state == BulkJob.State.DONE


def test_a_part_that_kills_every_worker_stops_the_job_instead_of_going_round_forever(visits):
    job = order([visit.pk for visit in visits])
    for tries in range(bulk.MOST_TRIES):
        moment = timezone.now() - dt.timedelta(days=1) + dt.timedelta(hours=tries)
        bulk.heal(now=moment)
        bulk._claim(moment)

    bulk.heal(now=timezone.now())

    job.refresh_from_db()
    assert job.state == BulkJob.State.FAILED
    assert "died each time" in job.last_error


def test_two_workers_never_take_the_same_part(visits):
    order([visit.pk for visit in visits])

    taken = [bulk._claim(timezone.now()).pk for _ in range(3)]

    assert len(set(taken)) == 3
    assert bulk._claim(timezone.now()) is None


def test_a_part_taken_over_by_another_worker_is_kept_once(visits):
    job = order([visits[0].pk])
    slow = bulk._claim(timezone.now() - dt.timedelta(minutes=bulk.DEAD_AFTER_MIN + 1))
    bulk.heal(now=timezone.now())
    quick = bulk._claim(timezone.now())
    bulk._make(quick)

    bulk._make(slow)  # comes back from the dead

    [part] = BulkPart.objects.all()
    assert part.attempts == 2
    assert part.file.name.endswith("-2.part")
    bulk.work()
    job.refresh_from_db()
    assert job.state == BulkJob.State.DONE


def test_an_error_is_told_to_the_person_who_waits(visits):
    job = order([visits[0].pk], kind="completed")  # not finished: has no completed sheet

    bulk.work()

    job.refresh_from_db()
    assert job.state == BulkJob.State.FAILED
    assert job.last_error.startswith("Part 1 of 1:")


def test_progress_counts_documents_and_notices_a_standstill(visits):
    job = order([visit.pk for visit in visits])
    bulk._make(bulk._claim(timezone.now()))

    soon = progress_of(job, timezone.now())
    later = progress_of(job, timezone.now() + dt.timedelta(minutes=10))

    assert (soon.done, soon.parts_done, soon.parts, soon.stuck) == (2, 1, 3, False)
    assert later.stuck


def test_sheets_come_in_the_order_they_are_driven(visits, site):
    unplanned = factories.VisitFactory(site=site, kind="winterisation", state="open")

    ids = visits_to_print(completed=False, season_year=2026, kind="", first_day=None, last_day=None)
    assert ids == [*[visit.pk for visit in visits], unplanned.pk]
    two = visits_to_print(
        completed=False,
        season_year=2026,
        kind="startup",
        first_day=visits[1].planned_on,
        last_day=visits[2].planned_on,
    )
    assert two == [visits[1].pk, visits[2].pk]


def test_nothing_to_print_is_said_beside_the_form(client, office):
    client.force_login(office)

    answer = client.post("/reports/many/", {"kind": "sheets", "shape": "pdf", "season_year": "2031"})

    assert answer.status_code == 422
    assert "There is nothing to print" in answer.content.decode()


def test_the_office_orders_watches_and_fetches_a_job(client, office, visits):
    client.force_login(office)

    answer = client.post("/reports/many/", {"kind": "sheets", "shape": "zip", "season_year": "2026"})

    page = client.get(answer.url).content.decode()
    assert 'http-equiv="refresh"' in page
    assert "0 of 5" in page
    bulk.work()
    page = client.get(answer.url).content.decode()
    assert 'http-equiv="refresh"' not in page
    file = client.get(f"{answer.url}file/")
    assert b"".join(file.streaming_content)[:2] == b"PK"
    file.close()


def test_the_office_looks_at_who_gets_a_report_before_all_are_sent(client, office, site, other_site):
    other_site.client.email = ""
    other_site.client.save()
    client.force_login(office)

    page = client.get("/reports/send-all/?year=2026").content.decode()

    assert "These get one (1)" in page
    assert "These do not (1)" in page
    assert BulkJob.objects.count() == 0
    client.post("/reports/send-all/", {"year": "2026"})
    assert BulkJob.objects.get().kind == BulkJob.Kind.SEND
