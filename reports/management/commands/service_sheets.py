import datetime as dt
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser
from django.utils.text import slugify

from jobs.models import Visit, VisitKind
from reports.documents.service_sheet import service_sheet_pdf
from reports.queries.service_sheet import service_sheet_data
from sites.management import FirmCommand


class Command(FirmCommand):
    help = (
        "Write service sheets as PDF files, one a visit: blank sheets of the visits planned on a day, "
        "or with --completed the records of finished visits."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--date", type=dt.date.fromisoformat, help="Visits planned on this day (YYYY-MM-DD).")
        parser.add_argument("--visit", type=int, nargs="+", metavar="ID", help="These visits.")
        parser.add_argument("--kind", choices=VisitKind.values, help="Only this kind of visit.")
        parser.add_argument("--completed", action="store_true", help="Completed sheets of finished visits.")
        parser.add_argument("--to", type=Path, default=Path("sheets"), help="Folder for the files.")

    def handle(self, *args: Any, date: Any, visit: Any, kind: Any, completed: Any, to: Any, **options: Any) -> None:
        if not date and not visit:
            raise CommandError("Say which visits: --date YYYY-MM-DD or --visit ID.")
        rows = Visit.objects.exclude(state=Visit.State.CANCELLED).select_related("site__client", "technician")
        if date:
            rows = rows.filter(planned_on=date)
        if visit:
            rows = rows.filter(pk__in=visit)
        if kind:
            rows = rows.filter(kind=kind)
        if completed:
            rows = rows.filter(state=Visit.State.FINISHED)
        if not rows:
            raise CommandError("No visit fits that.")
        try:
            to.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CommandError(f"The folder cannot be made: {error}") from error
        form = "completed" if completed else "blank"
        for number, row in enumerate(rows, start=1):
            path = to / f"{row.pk}-{slugify(str(row))}-{form}.pdf"
            path.write_bytes(service_sheet_pdf(service_sheet_data(row, completed=completed)))
            self.stdout.write(f"{number}/{len(rows)} {path}")
