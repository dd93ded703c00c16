"""Something came up: say what, look at what would change, accept or discard."""

from collections.abc import Callable

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from jobs.actions.planning import upsets
from jobs.forms.upsets import FORMS
from jobs.models import Replan
from jobs.queries.planning import firm_today, planning_technicians
from jobs.queries.upset_stories import stories_of
from jobs.queries.upsets import difference_of
from jobs.tasks import nudge_listeners
from jobs.views.field import show_problem
from sites.access import OFFICE, Request, open_to

PROPOSE: dict[str, Callable[..., Replan]] = {
    Replan.Upset.AWAY: upsets.propose_absence,
    Replan.Upset.FROST: upsets.propose_frost,
    Replan.Upset.CALL_OUT: upsets.propose_call_out,
    Replan.Upset.CANCELLED: upsets.propose_cancellation,
}
SHOWN = 10


@require_safe
@open_to(*OFFICE)
def upset_list(request: Request) -> HttpResponse:
    earlier = stories_of(list(Replan.objects.select_related("asked_by")[:SHOWN]))
    return render(request, "jobs/upset_list.html", {"kinds": Replan.Upset.choices, "earlier": earlier})


@open_to(*OFFICE)
def upset_new(request: Request, kind: str) -> HttpResponse:
    if kind not in FORMS:
        raise Http404
    given = {name: request.GET[name] for name in ("visit", "site", "technician") if name in request.GET}
    people = planning_technicians()
    form = FORMS[kind](request.POST or None, today=firm_today(), technicians=people, initial=given)
    if request.method == "POST" and form.is_valid():
        try:
            made = PROPOSE[kind](now=timezone.now(), by=request.user, **form.cleaned_data)
        except ValidationError as error:
            show_problem(form, error)
        else:
            return redirect("jobs:upset", made.pk)
    context = {
        "form": form,
        "title": Replan.Upset(kind).label.capitalize(),
        "lead": "First look at what would change. Nothing changes before you accept it.",
        "submit_label": "Show the new plan",
        "back_url": reverse("jobs:upset_list"),
    }
    return render(request, "form_page.html", context, status=422 if form.is_bound else 200)


@require_safe
@open_to(*OFFICE)
def upset(request: Request, pk: int) -> HttpResponse:
    row = get_object_or_404(Replan.objects.select_related("asked_by"), pk=pk)
    context = {"replan": row, "story": stories_of([row])[0], "difference": difference_of(row)}
    return render(request, "jobs/upset.html", context)


@require_POST
@open_to(*OFFICE)
def upset_decide(request: Request, pk: int) -> HttpResponse:
    row = get_object_or_404(Replan, pk=pk)
    try:
        if request.POST.get("decision") == "accept":
            upsets.accept(replan=row, now=timezone.now(), by=request.user)
            nudge_listeners()
            messages.success(request, "The new plan is accepted.")
        else:
            upsets.discard(replan=row, by=request.user)
            messages.success(request, "Discarded; everything is as it was.")
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("jobs:upset", pk)
