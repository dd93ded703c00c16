"""Work records of a period for billing: a page, and the same as XLSX and CSV."""

import datetime as dt
from typing import Final

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from jobs.queries.planning import firm_today
from reports.documents.spreadsheet import csv_bytes, xlsx_bytes
from reports.forms import SpanForm
from reports.queries.work import work_between, work_tables
from sites.access import OFFICE, Request, open_to

XLSX: Final = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def _span(request: Request) -> SpanForm:
    """The period asked for, else this month so far."""
    today = firm_today()
    asked = request.GET if "first_day" in request.GET else {"first_day": today.replace(day=1), "last_day": today}
    return SpanForm(asked)


def _days(form: SpanForm) -> tuple[dt.date, dt.date]:
    return form.cleaned_data["first_day"], form.cleaned_data["last_day"]


@require_safe
@open_to(*OFFICE)
def work(request: Request) -> HttpResponse:
    form = _span(request)
    records = list(work_between(*_days(form))) if form.is_valid() else []
    context = {"form": form, "records": records, "days": _days(form) if form.is_valid() else None}
    return render(request, "reports/work.html", context, status=422 if form.errors else 200)


@require_safe
@open_to(*OFFICE)
def work_file(request: Request, form: str) -> HttpResponse:
    """CSV has a row for each line; XLSX a second sheet with a row for each visit."""
    span = _span(request)
    if not span.is_valid():
        return render(request, "reports/work.html", {"form": span, "records": [], "days": None}, status=422)
    first, last = _days(span)
    lines, visits = work_tables(list(work_between(first, last)))
    if form == "csv":
        response = HttpResponse(csv_bytes([lines], titled=False), content_type="text/csv; charset=utf-8")
    else:
        response = HttpResponse(xlsx_bytes([lines, visits]), content_type=XLSX)
    response["Content-Disposition"] = f'attachment; filename="work-{first}-{last}.{form}"'
    response["Cache-Control"] = "private, no-store"
    return response
