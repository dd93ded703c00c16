"""One visit as the office plans it: window, technician and day, promise, cancelling; and a new one on request."""

import datetime as dt

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from jobs.actions.planning import Doubtful, add_visit, cancel_visit, change_visit, follow_window, pin, unassign
from jobs.actions.proposals import REPAIR_WITHIN_DAYS
from jobs.forms.planning import CancelForm, NewVisitForm, PromiseForm, VisitForm
from jobs.models import Visit, VisitKind
from jobs.queries.planning import firm_today
from jobs.queries.service_minutes import REPAIR_MIN
from jobs.queries.visit_plan import cancel_reason, has_window, visit_history
from jobs.tasks import nudge_listeners
from jobs.views.days import board_of, day_url
from jobs.views.field import show_problem
from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.core import writing


def _visit_or_404(request: Request, pk: int) -> Visit:
    return visible_or_404(Visit.objects.select_related("site__client", "technician"), request.user, pk=pk)


@open_to(*OFFICE)
def visit_plan(request: Request, pk: int) -> HttpResponse:
    visit = _visit_or_404(request, pk)
    if request.method != "POST":
        return _page(request, visit)
    form = VisitForm(request.POST, instance=_visit_or_404(request, pk))
    if form.is_valid():
        try:
            change_visit(visit=visit, changes=form.changes, by=request.user)
        except ValidationError as error:
            show_problem(form, error)
        else:
            messages.success(request, "Saved.")
            return redirect("jobs:visit_plan", pk)
    return _page(request, visit, visit_form=form)


def _page(request: Request, visit: Visit, **wrong: BaseForm) -> HttpResponse:
    history = visit_history(visit)
    context = {
        "visit": visit,
        "site": visit.site,
        "can_change": visit.state in (Visit.State.OPEN, Visit.State.PLANNED),
        "change_url": reverse("jobs:visit_plan", args=[visit.pk]),
        "promise_url": reverse("jobs:visit_promise", args=[visit.pk]),
        "cancelling_url": reverse("jobs:visit_cancel", args=[visit.pk]),
        "visit_form": VisitForm(instance=visit),
        "promise_form": PromiseForm(),
        "cancel_form": CancelForm(),
        "can_follow": visit.own_dates and has_window(visit),
        "history": history,
        "cancel_reason": cancel_reason(history),
        **wrong,
    }
    return render(request, "jobs/visit_plan.html", context, status=422 if wrong else 200)


@open_to(*OFFICE)
@require_POST
def visit_cancel(request: Request, pk: int) -> HttpResponse:
    visit, form = _visit_or_404(request, pk), CancelForm(request.POST)
    if form.is_valid():
        try:
            cancel_visit(visit=visit, reason=form.cleaned_data["reason"], by=request.user)
        except ValidationError as error:
            show_problem(form, error)
        else:
            nudge_listeners()
            messages.success(request, f"Cancelled: {visit}.")
            return redirect("jobs:visit_plan", pk)
    return _page(request, visit, cancel_form=form)


@open_to(*OFFICE)
@require_POST
def visit_promise(request: Request, pk: int) -> HttpResponse:
    """Note the promise, or take it back with the button `undo`. A form of the day board names it in `board`."""
    visit, form = _visit_or_404(request, pk), PromiseForm(request.POST)
    undo = "undo" in request.POST
    if undo or form.is_valid():
        promise = {} if undo else {name: form.cleaned_data[name] for name in ("promised_time", "knowingly")}
        try:
            visit = pin(visit=visit, promised=not undo, by=request.user, **promise)
        except ValidationError as error:
            form.is_valid()
            show_problem(form, error)
            if isinstance(error, Doubtful):
                form.ask()
        else:
            messages.success(request, f"The promise is withdrawn: {visit}." if undo else _promised(visit))
            if request.POST.get("board") and visit.planned_on:
                return redirect(day_url(visit.planned_on, f"#v{pk}", board_of(request.POST)))
            return redirect("jobs:visit_plan", pk)
    return _page(request, visit, promise_form=form)


def _promised(visit: Visit) -> str:
    """What was promised, said so that it is understood on a board of many stops."""
    at = f" at {visit.promised_time:%H:%M}" if visit.promised_time else ""
    _, on = visit.placed
    return f"Promised: {visit.site}, {writing.day(on)}{at}."


@open_to(*OFFICE)
@require_POST
def visit_unassign(request: Request, pk: int) -> HttpResponse:
    visit = _visit_or_404(request, pk)
    try:
        unassign(visit=visit, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        messages.success(request, "The visit waits to be planned again.")
    return redirect("jobs:visit_plan", pk)


@open_to(*OFFICE)
@require_POST
def visit_follow(request: Request, pk: int) -> HttpResponse:
    """Back from dates set by hand to those of the season's window."""
    visit = _visit_or_404(request, pk)
    try:
        row = follow_window(visit=visit, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        dates = f"{writing.day(row.opens_on)} to {writing.day(row.due_on)}"
        messages.success(request, f"The visit follows the season's window again: {dates}.")
    return redirect("jobs:visit_plan", pk)


@open_to(*OFFICE)
def visit_new(request: Request) -> HttpResponse:
    today = firm_today()
    initial = {
        "site": request.GET.get("site"),
        "kind": VisitKind.REPAIR,
        "opens_on": today,
        "due_on": today + dt.timedelta(days=REPAIR_WITHIN_DAYS),
        "service_min": REPAIR_MIN,
    }
    form = NewVisitForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            visit = add_visit(visit=form.instance, skills=form.cleaned_data.get("skills", ()), by=request.user)
        except ValidationError as error:
            show_problem(form, error)
        else:
            messages.success(request, f"Added: {visit}. It waits to be planned.")
            return redirect("jobs:visit_plan", visit.pk)
    context = {"form": form, "title": "Visit on request", "back_url": reverse("jobs:season_board")}
    return render(request, "form_page.html", context, status=422 if form.is_bound else 200)
