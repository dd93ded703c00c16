"""Files: PDFs as kept, sheets drawn on request, the run sheet."""

import datetime as dt

from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from jobs.models import Visit
from reports.documents.run_sheet import run_sheet_pdf
from reports.documents.service_sheet import service_sheet_pdf
from reports.models import Document
from reports.queries.run_sheet import run_sheet_data
from reports.queries.service_sheet import service_sheet_data
from sites.access import EVERYONE, STAFF, Request, open_to, visible_or_404
from sites.models import Role, User


def pdf_response(pdf: bytes, file_name: str) -> HttpResponse:
    """A PDF shown in the browser, kept out of shared caches."""
    response = HttpResponse(pdf, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{file_name}.pdf"'
    response["Cache-Control"] = "private, no-store"
    return response


@require_safe
@open_to(*EVERYONE)
def document(request: Request, pk: int) -> FileResponse:
    """The PDF exactly as it was made and sent."""
    kept = visible_or_404(Document.objects.all(), request.user, pk=pk)
    try:
        file = kept.pdf.open("rb")
    except FileNotFoundError as error:
        raise Http404 from error
    response = FileResponse(file, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{slugify(str(kept.title))}-v{kept.version}.pdf"'
    response["Cache-Control"] = "private, no-store"
    return response


@require_safe
@open_to(*STAFF)
def service_sheet(request: Request, pk: int, form: str) -> HttpResponse:
    """A visit's sheet: `blank` to take along, `completed` once it is finished."""
    visit = visible_or_404(Visit.objects.select_related("site__client", "technician"), request.user, pk=pk)
    completed = form == "completed"
    if completed and visit.state != Visit.State.FINISHED:
        raise Http404
    pdf = service_sheet_pdf(service_sheet_data(visit, completed=completed))
    return pdf_response(pdf, f"{slugify(str(visit))}-{form}")


@require_safe
@open_to(*STAFF)
def run_sheet(request: Request, technician: int, date: dt.date) -> HttpResponse:
    """A technician's day on paper; technicians open their own."""
    if request.user.is_technician and request.user.pk != technician:
        raise Http404
    person = get_object_or_404(User, pk=technician, role=Role.TECHNICIAN)
    return pdf_response(run_sheet_pdf(run_sheet_data(person, date)), f"run-sheet-{slugify(str(person))}-{date}")
