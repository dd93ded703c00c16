"""The work record of a repair visit: a page for the phone, and the office's mark that it is billed."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from jobs.actions.work import mark_billed, reopen, save_work, unpriced
from jobs.forms.priced import LinesFormSet, WorkForm, work_forms
from jobs.models import Visit, VisitKind, WorkRecord
from jobs.views.field import own_visit, show_problem
from sites.access import OFFICE, STAFF, Request, open_to, visible_or_404
from sites.models import Role


@open_to(*STAFF)
@own_visit
def visit_work(request: Request, visit: Visit) -> HttpResponse:
    if visit.kind != VisitKind.REPAIR:
        raise Http404
    rows = WorkRecord.objects.prefetch_related("parts__item").select_related("labour_item", "billed_by")
    work = rows.filter(visit=visit).first() or WorkRecord(visit=visit)
    if request.method == "POST" and work.billed_at:
        messages.error(request, "This work record is billed: it stays as it is. What you typed was not saved.")
        return _page(request, visit, work, None, None, status=409)
    data = request.POST if request.method == "POST" else None
    form, parts = work_forms(work, data, with_prices=request.user.is_office)
    if data is not None and all([form.is_valid(), parts.is_valid()]):
        try:
            save_work(work=form.instance, parts=parts.kept, removed=parts.removed, by=request.user)
        except ValidationError as error:
            show_problem(form, error)
        else:
            messages.success(request, "Saved.")
            return redirect("jobs:visit_work", visit.pk)
    return _page(request, visit, work, form, parts, status=200 if data is None else 422)


def _page(
    request: Request,
    visit: Visit,
    work: WorkRecord,
    form: WorkForm | None,
    parts: LinesFormSet | None,
    *,
    status: int,
) -> HttpResponse:
    context = {
        "visit": visit,
        "site": visit.site,
        "work": work,
        "form": form,
        "parts": parts,
        "kept_parts": list(work.parts.all()) if work.pk else [],
        "shows_prices": request.user.is_office,
        "unpriced": unpriced(work) if work.pk and request.user.is_office else [],
        "can_reopen": request.user.role == Role.OWNER,
    }
    return render(request, "jobs/visit_work.html", context, status=status)


@require_POST
@open_to(*OFFICE)
def work_billed(request: Request, pk: int) -> HttpResponse:
    """Mark as billed; with the button `reopen` the owner takes the mark back."""
    work = visible_or_404(WorkRecord.objects.all(), request.user, visit=pk)
    if "reopen" in request.POST:
        if request.user.role == Role.OWNER:
            reopen(work=work, by=request.user)
            messages.success(request, "The work record can be changed again.")
        else:
            messages.error(request, "Only the owner can undo “billed”.")
        return redirect("jobs:visit_work", pk)
    try:
        mark_billed(work=work, now=timezone.now(), by=request.user)
    except ValidationError as error:
        messages.error(request, "Not marked as billed. " + " ".join(error.messages))
    else:
        messages.success(request, "Marked as billed: the work record stays as it is now.")
    return redirect("jobs:visit_work", pk)
