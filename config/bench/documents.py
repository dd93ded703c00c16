"""The documents: pages a second, the same pages by bare canvas calls, 500 sheets on two processes."""

import io
import json
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest import mock

from django.core.management import call_command
from django.utils import timezone
from pypdf import PdfReader

from config.bench import median_seconds, output_of, peak_mib, start_in_own_database
from jobs.models import Visit
from reports.actions import bulk
from reports.documents.kit import page
from reports.documents.season_report import season_report_pdf
from reports.documents.service_sheet import service_sheet_pdf
from reports.models import BulkJob
from reports.queries.season_report import season_report_data
from reports.queries.service_sheet import service_sheet_data
from sites.models import Site

SITES, SHEETS, FEW_SHEETS = 120, 500, 100
DRAWN = 40  # documents of a kind that are drawn again and again
Canvas = page.Canvas


def run() -> Iterator[dict]:
    with tempfile.TemporaryDirectory() as folder:
        output_of(start_in_own_database(folder, "from config.bench import documents; documents.make_firm()"))
        yield from json.loads(
            output_of(start_in_own_database(folder, "from config.bench import documents; documents.draw()"))
        )
        few, peak_few_mib = _bulk(folder, FEW_SHEETS)
        seconds, peak_mib = _bulk(folder, SHEETS)
        yield _line(
            "bulk_500_sheets_seconds", seconds, "s", SHEETS, f"2 processes on SQLite; {FEW_SHEETS}: {few:.1f} s"
        )
        yield _line("bulk_peak_mib", peak_mib, "MiB", SHEETS, f"the larger process; {FEW_SHEETS}: {peak_few_mib:.0f}")


def _line(name: str, value: float, unit: str, n: int, against: str = "") -> dict:
    return {
        "bench": "documents", "name": name, "value": float(f"{value:.4g}"), "unit": unit, "n": n, "against": against,
    }  # fmt: skip


def make_firm() -> None:
    call_command("migrate", verbosity=0)
    call_command("demo", "--sites", str(SITES), "--today", "2026-11-25", verbosity=0)


def draw() -> None:
    """Print the figures of one core as JSON: from the rows of the database to the bytes of the PDF."""
    visits = list(Visit.objects.select_related("site__client", "technician").order_by("pk")[:DRAWN])
    sites = list(Site.objects.current().select_related("client", "weather_station").order_by("pk")[:DRAWN])
    today = timezone.localdate()
    data = [service_sheet_data(visit, completed=False) for visit in visits]
    sheets = [service_sheet_pdf(sheet) for sheet in data]
    sizes = [len(sheet) / 1000 for sheet in sheets]

    def reports() -> list[bytes]:
        return [season_report_pdf(season_report_data(site, season_year=2026, prepared_on=today)) for site in sites]

    pages, report_pages = _pages(sheets), _pages(reports())
    with_rows = median_seconds(lambda: [service_sheet_pdf(service_sheet_data(v, completed=False)) for v in visits])
    drawn = median_seconds(lambda: [service_sheet_pdf(sheet) for sheet in data])
    reported = median_seconds(reports)
    bare = _bare([*data])
    of = "from rows to bytes, one core"
    figures = [
        _line("sheet_pages_per_second", pages / with_rows, "1/s", pages, f"{of}; {pages / drawn:.0f} drawing alone"),
        _line("report_pages_per_second", report_pages / reported, "1/s", report_pages, of),
        _line("sheet_ratio_bare", bare / drawn, "times", pages, "the same canvas calls without layout, same bytes"),
        _line(
            "sheet_kb",
            max(sizes),
            "kB",
            len(sizes),
            f"largest blank one; median {statistics.median(sizes):.0f}",
        ),
    ]
    sys.stdout.write(json.dumps(figures) + "\n")


def _pages(files: list[bytes]) -> int:
    return sum(len(PdfReader(io.BytesIO(file)).pages) for file in files)


class _Recorder:
    """Stands for a canvas and writes down every call on it, so that the calls can be made again by themselves."""

    last: "_Recorder"

    def __init__(self, *args: Any, **settings: Any) -> None:
        self.canvas = Canvas(*args, **settings)
        self.calls: list[tuple[str, tuple, dict]] = []
        _Recorder.last, self.settings = self, settings

    def __getattr__(self, name: str) -> Any:
        found = getattr(self.canvas, name)
        if not callable(found):
            return found

        def called(*args: Any, **keywords: Any) -> Any:
            self.calls.append((name, args, keywords))
            return found(*args, **keywords)

        return called


def _bare(sheets: list) -> float:
    """Seconds for the sheets' canvas calls alone; OSError where they do not give the same file."""
    recorded = []
    for sheet in sheets:
        with mock.patch.object(page, "Canvas", _Recorder):
            pdf = service_sheet_pdf(sheet)
        recorded.append(_Recorder.last)
        if _replay(_Recorder.last) != pdf:
            raise OSError("the bare calls give another file")
    return median_seconds(lambda: [_replay(each) for each in recorded])


def _replay(recorder: _Recorder) -> bytes:
    buffer = io.BytesIO()
    canvas = Canvas(buffer, **recorder.settings)
    for name, args, keywords in recorder.calls:
        getattr(canvas, name)(*args, **keywords)
    return buffer.getvalue()


def _bulk(folder: str, sheets: int) -> tuple[float, float]:
    """Seconds until `sheets` blank sheets are one file, made by two processes, and the larger one's peak MiB."""
    output_of(start_in_own_database(folder, f"from config.bench import documents; documents.order({sheets})"))
    started = time.perf_counter()
    workers = [
        start_in_own_database(folder, "from config.bench import documents; documents.work()") for _ in range(2)
    ]
    peaks = [float(output_of(worker)) for worker in workers]
    seconds = time.perf_counter() - started
    state = output_of(start_in_own_database(folder, "from config.bench import documents; documents.state()"))
    if state != f"done {sheets}":
        raise OSError(f"the bulk job ended as {state}")
    return seconds, max(peaks)


def order(sheets: int) -> None:
    ids = list(Visit.objects.order_by("pk").values_list("pk", flat=True)[:sheets])
    if len(ids) < sheets:
        raise OSError(f"the demo has only {len(ids)} visits")
    job = BulkJob(
        kind=BulkJob.Kind.SHEETS,
        shape=BulkJob.Shape.PDF,
        title="Bench",
        season_year=2026,
        prepared_on=timezone.localdate(),
    )
    bulk.queue_bulk(job=job, row_ids=ids, by=None)


def work() -> None:
    """Work until the job is done; print this process's peak MiB."""
    while BulkJob.objects.under_way().exists():
        if not bulk.work():
            time.sleep(0.1)
    sys.stdout.write(f"{peak_mib()}\n")


def state() -> None:
    job = BulkJob.objects.latest("pk")
    sys.stdout.write(f"{job.state} {job.total if Path(job.file.name or '').suffix == '.pdf' else 0}\n")
