"""The checklists of the firm: what is ticked on each kind of visit."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render

from jobs.actions.checklists import current_checklist, save_checklist
from jobs.forms.checklists import step_forms
from jobs.models import ChecklistTemplate, VisitKind
from jobs.queries.checklists import safety_changes, steps_to_edit
from sites.access import OFFICE, Request, open_to


@open_to(*OFFICE)
def checklist_list(request: Request) -> HttpResponse:
    found = [(kind, current_checklist(kind)) for kind in VisitKind.values]
    lists = [(kind, VisitKind(kind).label, checklist, safety_changes(checklist)) for kind, checklist in found]
    return render(request, "jobs/checklist_list.html", {"lists": lists})


@open_to(*OFFICE)
def checklist_edit(request: Request, kind: str) -> HttpResponse:
    if kind not in VisitKind.values:
        raise Http404
    current = current_checklist(kind)
    seen = _seen(request, current)
    formset = step_forms(request.POST if request.method == "POST" else None, kind=kind, usual=steps_to_edit(seen))
    problems: list[str] = []
    if request.method == "POST" and formset.is_valid():
        try:
            made = save_checklist(kind=kind, steps=formset.steps, based_on=seen.version, by=request.user)
        except ValidationError as error:
            problems = error.messages
        else:
            messages.success(request, f"Version {made.version} holds for every visit that starts from now on.")
            return redirect("jobs:checklist_list")
    context = {
        "kind_name": VisitKind(kind).label,
        "current": current,
        "seen": seen,
        "changes": safety_changes(current),
        "formset": formset,
        "problems": problems,
    }
    wrong = problems or (request.method == "POST" and not formset.is_valid())
    return render(request, "jobs/checklist_edit.html", context, status=422 if wrong else 200)


def _seen(request: Request, current: ChecklistTemplate) -> ChecklistTemplate:
    """The version the typed rows belong to: another one may have been saved since the page was opened."""
    typed = request.POST.get("based_on", "")
    if not typed.isdecimal():
        return current
    return ChecklistTemplate.objects.filter(kind=current.kind, version=int(typed)).first() or current
