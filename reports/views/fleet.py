"""The season in figures, for owner and office: a page and the same as PDF, XLSX and CSV."""

from typing import Final

from django.core.cache import cache
from django.http import HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from reports.documents.fleet import Fleet, fleet_csv, fleet_pdf, fleet_xlsx, shown
from reports.queries.fleet import fleet_data
from reports.views.season import wanted_year
from sites.access import OFFICE, Request, open_to

# All sites' water is computed for it, some seconds of work; the page says from when it is.
KEPT_S: Final = 600
FORMS: Final = {
    "pdf": (fleet_pdf, "application/pdf"),
    "xlsx": (fleet_xlsx, "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
    "csv": (fleet_csv, "text/csv; charset=utf-8"),
}


def _fleet(year: int, *, again: bool) -> tuple[Fleet, object]:
    """The summary and when it was computed."""
    today = timezone.localdate()
    key = f"fleet-{year}-{today}"
    kept = None if again else cache.get(key)
    if kept is None:
        kept = (fleet_data(season_year=year, today=today), timezone.now())
        cache.set(key, kept, KEPT_S)
    return kept


@require_safe
@open_to(*OFFICE)
def fleet(request: Request) -> HttpResponse:
    year = wanted_year(request)
    found, computed_at = _fleet(year, again="again" in request.GET)
    tables = [
        (part, [[(shown(value), isinstance(value, int | float)) for value in row] for row in part.rows])
        for part in found.tables
    ]
    context = {"year": year, "fleet": found, "tables": tables, "computed_at": computed_at, "forms": list(FORMS)}
    return render(request, "reports/fleet.html", context)


@require_safe
@open_to(*OFFICE)
def fleet_file(request: Request, form: str) -> HttpResponse:
    year = wanted_year(request)
    make, kind = FORMS[form]
    response = HttpResponse(make(_fleet(year, again=False)[0]), content_type=kind)
    response["Content-Disposition"] = f'attachment; filename="season-{year}.{form}"'
    response["Cache-Control"] = "private, no-store"
    return response
