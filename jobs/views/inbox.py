"""The office's page for what came from phones and waits for a person."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from jobs.actions.inbox import apply_all, decide, import_export
from jobs.forms.inbox import ImportForm
from jobs.models import InboxRecord, Visit
from jobs.queries.inbox import clock_troubles, inbox_rows, to_decide, to_decide_together
from sites.access import OFFICE, Request, open_to, visible_or_404

PAGE_SIZE = 30


@open_to(*OFFICE)
def inbox(request: Request) -> HttpResponse:
    return _page(request, ImportForm())


def _page(request: Request, form: ImportForm, status: int = 200) -> HttpResponse:
    page = Paginator(to_decide(), PAGE_SIZE).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": inbox_rows(page),
        "together": to_decide_together(),
        "clocks": clock_troubles(),
        "form": form,
    }
    return render(request, "jobs/inbox.html", context, status=status)


@open_to(*OFFICE)
@require_POST
def inbox_decide(request: Request, pk: int) -> HttpResponse:
    entry = visible_or_404(InboxRecord.objects.all(), request.user, pk=pk)
    apply = "apply" in request.POST
    try:
        decide(entry=entry, apply=apply, by=request.user)
    except ValidationError as error:
        messages.error(request, f"Nothing was changed. {' '.join(error.messages)}")
    else:
        messages.success(request, "Applied." if apply else "Not applied. The record is kept.")
    return redirect("jobs:inbox")


@open_to(*OFFICE)
@require_POST
def inbox_apply_visit(request: Request, pk: int) -> HttpResponse:
    visit = visible_or_404(Visit.objects.all(), request.user, pk=pk)
    applied, problems = apply_all(visit=visit, by=request.user)
    messages.success(request, f"{visit}: {applied} applied.")
    for problem in problems[:20]:
        messages.error(request, f"Not applied, {problem}")
    return redirect("jobs:inbox")


@open_to(*OFFICE)
@require_POST
def inbox_import(request: Request) -> HttpResponse:
    form = ImportForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, form, 422)
    try:
        done = import_export(text=form.cleaned_data["file"].read(), by=request.user)
    except ValidationError as error:
        form.add_error("file", error)
        return _page(request, form, 422)
    messages.success(request, f"{done.new} new, {done.known} known already.")
    for problem in done.problems[:20]:
        messages.warning(request, problem)
    return redirect("jobs:inbox")
