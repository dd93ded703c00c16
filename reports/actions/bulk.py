"""Many documents in the background. The rows are the queue: parts wait, are claimed by conditional update, are done.

A worker that dies leaves its part claimed; after a while the part waits again. Making a part twice does no harm: its
file is replaced, a report that did not change is not made again, an address is never written to twice. Any number of
workers may run; each holds one part's documents in memory, whatever the size of the job.
"""

import datetime as dt
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from typing import BinaryIO, Final

import structlog
from django.core.files import File
from django.db import transaction
from django.db.models import Count, Q, QuerySet
from django.utils import timezone
from django.utils.text import slugify

from jobs.models import Visit
from reports.actions import documents
from reports.actions.deliveries import queue_delivery
from reports.documents.kit.join import Joiner
from reports.documents.service_sheet import service_sheet_pdf, service_sheets_pdf
from reports.models import BulkJob, BulkPart
from reports.queries.service_sheet import service_sheet_data
from sites.actions.audit import record
from sites.models import Firm, Site, User
from sites.models.rows import Row

log = structlog.get_logger("rillbook.bulk")

PART_ROWS: Final = 20
# A part takes seconds. One that was claimed this long ago has lost its worker.
DEAD_AFTER_MIN: Final = 5
MOST_TRIES: Final = 3
MOST_ROWS: Final = 5000

Named = tuple[str, bytes]


class NothingToMake(Exception):
    """The job cannot be made: the words say why."""


def queue_bulk(*, job: BulkJob, row_ids: list[int], by: User | None) -> BulkJob:
    """Queue an unsaved job: one file of all these visits' sheets or sites' reports, in the order given."""
    if not row_ids:
        raise NothingToMake("There is nothing to print: no visit or site fits.")
    if len(row_ids) > MOST_ROWS:
        raise NothingToMake(f"That is {len(row_ids)} documents; choose at most {MOST_ROWS}.")
    with transaction.atomic():
        job.total, job.made_by = len(row_ids), by
        job.save(force_insert=True)
        chunks = [row_ids[start : start + PART_ROWS] for start in range(0, len(row_ids), PART_ROWS)]
        BulkPart.objects.bulk_create(
            [BulkPart(job=job, number=number, row_ids=ids) for number, ids in enumerate(chunks, start=1)]
        )
        record(by=by, verb="queued bulk job", subject=job, kind=job.kind, rows=len(row_ids))
    return job


def cancel_bulk(*, job: BulkJob, by: User) -> None:
    """Stop a job; what is done is kept, so that it can go on; a part being made is thrown away."""
    with transaction.atomic():
        if (
            BulkJob.objects.under_way()
            .filter(pk=job.pk)
            .update(state=BulkJob.State.CANCELLED, finished_at=timezone.now())
        ):
            record(by=by, verb="cancelled bulk job", subject=job)


def resume_bulk(*, job: BulkJob, by: User) -> None:
    """Go on with a job that was cancelled or stopped; what is done stays done."""
    with transaction.atomic():
        changed = BulkJob.objects.filter(pk=job.pk, state__in=[BulkJob.State.CANCELLED, BulkJob.State.FAILED]).update(
            state=BulkJob.State.WAITING, finished_at=None, joining_since=None, last_error=""
        )
        if changed:
            undone = ~Q(state=BulkPart.State.DONE)
            if job.shape != BulkJob.Shape.NONE:
                undone |= Q(file="")
            job.parts.filter(undone).update(state=BulkPart.State.WAITING, attempts=0, claimed_at=None)
            record(by=by, verb="resumed bulk job", subject=job)


def heal(*, now: dt.datetime) -> int:
    """Parts and joins whose worker died wait again, or stop their job after some tries; returns how many."""
    dead = now - dt.timedelta(minutes=DEAD_AFTER_MIN)
    lost = BulkPart.objects.filter(
        state=BulkPart.State.CLAIMED, claimed_at__lt=dead, job__in=BulkJob.objects.under_way()
    )
    hopeless = list(lost.filter(attempts__gte=MOST_TRIES).values_list("job_id", flat=True))
    _fail(hopeless, f"A part was tried {MOST_TRIES} times and its worker died each time.")
    waiting = lost.filter(attempts__lt=MOST_TRIES).update(state=BulkPart.State.WAITING, claimed_at=None)
    BulkJob.objects.under_way().filter(joining_since__lt=dead).update(joining_since=None)
    return waiting


def _fail(job_ids: list[int], why: str) -> None:
    BulkJob.objects.under_way().filter(pk__in=job_ids).update(
        state=BulkJob.State.FAILED, last_error=why[:300], finished_at=timezone.now()
    )


def work(*, now: Callable[[], dt.datetime] = timezone.now, until: dt.datetime | None = None) -> int:
    """Make parts until none waits or `until` is reached, and put finished jobs together; returns parts made."""
    heal(now=now())
    made = 0
    while until is None or now() < until:
        part = _claim(now())
        if part is None:
            break
        made += _make(part)
    for job in BulkJob.objects.under_way():
        _finish(job, now())
    return made


def _claim(now: dt.datetime) -> BulkPart | None:
    """Take the next waiting part: of two workers that see it only one update counts."""
    while True:
        waiting = BulkPart.objects.filter(state=BulkPart.State.WAITING, job__in=BulkJob.objects.under_way())
        part = waiting.select_related("job").order_by("job_id", "number").first()
        if part is None:
            return None
        claimed = BulkPart.objects.filter(pk=part.pk, state=BulkPart.State.WAITING).update(
            state=BulkPart.State.CLAIMED, claimed_at=now, attempts=part.attempts + 1
        )
        if claimed:
            BulkJob.objects.filter(pk=part.job_id, state=BulkJob.State.WAITING).update(state=BulkJob.State.RUNNING)
            return part


def _make(part: BulkPart) -> bool:
    """Make a claimed part; an error stops its job and says why."""
    job = part.job
    try:
        with Firm.remembered(), tempfile.TemporaryFile() as file:
            notes = _write_part(job, part, file)
            _keep_part(part, file, notes)
    except Exception as error:  # noqa: BLE001 - whatever it is, the person who waits is told
        log.exception("bulk part failed", job=job.pk, part=part.number)
        _fail([job.pk], f"Part {part.number} of {job.parts.count()}: {type(error).__name__}: {error}")
        return False
    return True


def _write_part(job: BulkJob, part: BulkPart, file: BinaryIO) -> list[str]:
    """Write a part's documents to `file`; returns what could not be done."""
    if job.kind == BulkJob.Kind.SEND:
        return [note for note in (_send(job, site) for site in _in_order(_sites(), part.row_ids)) if note]
    if job.shape == BulkJob.Shape.ZIP:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive:
            for name, pdf in _named(job, part.row_ids):
                archive.writestr(_entry(name, job), pdf)
    elif job.kind == BulkJob.Kind.REPORTS:
        joiner = Joiner(file, title=job.title)
        for _, pdf in _named(job, part.row_ids):
            joiner.add(pdf)
        joiner.close()
    else:
        # Sheets of one file share their typefaces: a tenth of the size of single files.
        visits = _in_order(_visits(), part.row_ids)
        file.write(service_sheets_pdf([service_sheet_data(visit, completed=_completed(job)) for visit in visits]))
    return []


def _entry(name: str, job: BulkJob) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name, date_time=(*job.prepared_on.timetuple()[:3], 0, 0, 0))
    entry.external_attr = 0o644 << 16
    return entry


def _named(job: BulkJob, row_ids: list[int]) -> Iterator[Named]:
    """File name and PDF of each row, one at a time."""
    if job.kind == BulkJob.Kind.REPORTS:
        for site in _in_order(_sites(), row_ids):
            made = documents.make_season_report(site=site, season_year=job.season_year, by=job.made_by)
            with made.pdf.open("rb") as file:
                yield f"{site.pk:05d}-{slugify(site.name) or 'site'}-{job.season_year}.pdf", file.read()
        return
    for visit in _in_order(_visits(), row_ids):
        pdf = service_sheet_pdf(service_sheet_data(visit, completed=_completed(job)))
        yield f"{visit.pk:06d}-{slugify(str(visit)) or 'visit'}.pdf", pdf


def _send(job: BulkJob, site: Site) -> str:
    """Make a site's report and queue it to its client; the reason where there is nobody to send it to."""
    made = documents.make_season_report(site=site, season_year=job.season_year, by=job.made_by)
    client = site.client
    if not (client.wants_season_report_by_email and client.email):
        return f"{site.name}: the client has no address or wants no mail."
    queue_delivery(document=made, recipients=[client.email], by=job.made_by)
    return ""


def _completed(job: BulkJob) -> bool:
    return job.kind == BulkJob.Kind.COMPLETED


def _visits() -> QuerySet[Visit]:
    return Visit.objects.select_related("site__client", "technician")


def _sites() -> QuerySet[Site]:
    return Site.objects.select_related("client", "weather_station")


def _in_order(rows: QuerySet[Row], ids: list[int]) -> list[Row]:
    """Rows in the order of their ids; one that is gone since is left out."""
    found = rows.in_bulk(ids)
    return [found[pk] for pk in ids if pk in found]


def _keep_part(part: BulkPart, file: BinaryIO, notes: list[str]) -> None:
    """Store a part's file with its state in one transaction; a part cancelled or taken over since is dropped."""
    with transaction.atomic():
        mine = BulkPart.objects.select_for_update().filter(
            pk=part.pk, state=BulkPart.State.CLAIMED, attempts=part.attempts + 1, job__in=BulkJob.objects.under_way()
        )
        row = mine.first()
        if row is None:
            return
        if part.job.shape != BulkJob.Shape.NONE:
            file.seek(0)
            row.file.save(f"{part.job.uuid}-{part.number}-{row.attempts}.part", File(file), save=False)
        row.state, row.notes = BulkPart.State.DONE, notes
        row.save(update_fields=["state", "notes", "file"])


def _finish(job: BulkJob, now: dt.datetime) -> None:
    """Put a job's file together once all its parts are done; one worker does it."""
    if job.parts.exclude(state=BulkPart.State.DONE).exists():
        return
    mine = BulkJob.objects.under_way().filter(pk=job.pk, joining_since=None)
    if not mine.update(joining_since=now):
        return
    try:
        parts = job.parts.order_by("number")
        notes = [note for part in parts for note in part.notes]
        job.refresh_from_db()
        if job.shape != BulkJob.Shape.NONE:
            with tempfile.TemporaryFile() as file:
                _join(job, parts.iterator(chunk_size=10), file)
                file.seek(0)
                job.file.save(f"{slugify(job.title) or 'documents'}-{job.pk}.{job.shape}", File(file), save=False)
        changed = BulkJob.objects.under_way().filter(pk=job.pk)
        changed.update(state=BulkJob.State.DONE, finished_at=now, notes=notes, file=job.file.name)
    except Exception as error:  # noqa: BLE001 - whatever it is, the person who waits is told
        log.exception("bulk join failed", job=job.pk)
        _fail([job.pk], f"The file could not be put together: {type(error).__name__}: {error}")
        return
    _drop_parts(job)


def _join(job: BulkJob, parts: Iterator[BulkPart], file: BinaryIO) -> None:
    if job.shape == BulkJob.Shape.PDF:
        joiner = Joiner(file, title=job.title)
        for part in parts:
            with part.file.open("rb") as source:
                joiner.add(source.read())
        joiner.close()
        return
    with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive:
        for part in parts:
            with part.file.open("rb") as source, zipfile.ZipFile(source) as inner:
                for entry in inner.infolist():
                    archive.writestr(entry, inner.read(entry))


def _drop_parts(job: BulkJob) -> None:
    """Parts are only needed until the file is there."""
    for part in job.parts.exclude(file=""):
        part.file.delete(save=False)
        BulkPart.objects.filter(pk=part.pk).update(file="")


def progress(job: BulkJob) -> tuple[int, int]:
    """(documents made, documents in all)."""
    counted = job.parts.aggregate(parts=Count("pk"), done=Count("pk", filter=Q(state=BulkPart.State.DONE)))
    if counted["done"] == counted["parts"]:
        return job.total, job.total
    return min(counted["done"] * PART_ROWS, job.total), job.total


__all__ = ["NothingToMake", "cancel_bulk", "heal", "queue_bulk", "progress", "resume_bulk", "work"]
