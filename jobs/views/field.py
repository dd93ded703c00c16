"""The technician's pages: the day, a visit, its checklist, its valves, its end."""

import datetime as dt
from collections.abc import Callable
from contextlib import AbstractContextManager
from copy import copy
from dataclasses import dataclass
from functools import wraps
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm, BoundField
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from jobs.actions.checklists import answer_step
from jobs.actions.field import finish_visit, record_measurement, start_visit
from jobs.core.cautions import CAUTIONS, MEASURING
from jobs.core.rulebook import EXPECTED, MORE
from jobs.forms.field import FinishForm, MeasurementForm, StepForm
from jobs.models import ChecklistItem, Visit, VisitKind
from jobs.queries.checklists import ChecklistRow, checklist_rows
from jobs.queries.diagnosis import ValveCheck
from jobs.queries.faults import found_without_fault, open_faults, with_known_faults
from jobs.queries.field import (
    MEASURED_KINDS,
    geo_uri,
    missing_at_finish,
    schedule_to_set,
    tel_uri,
    today_stops,
    valve_after,
    valve_checks,
)
from sites.access import STAFF, Request, open_to, visible_or_404
from sites.models import Site


def in_site_time(site: Site) -> AbstractContextManager[None]:
    """Times typed and shown on a page about one site are that site's."""
    return timezone.override(ZoneInfo(site.time_zone))


def own_visit(view: Callable) -> Callable:
    """Hand the view the visit this person may see, in the site's time; other people's visits do not exist."""

    @wraps(view)
    def guarded(request: Request, pk: int, **kwargs: Any) -> HttpResponse:
        visits = Visit.objects.select_related("site__client", "technician", "checklist")
        visit = visible_or_404(visits, request.user, pk=pk)
        with in_site_time(visit.site):
            return view(request, visit, **kwargs)

    return guarded


def show_problem(form: BaseForm, error: ValidationError) -> None:
    """Put what an action refused beside the field it names, or on top of the form."""
    if not hasattr(error, "error_dict"):
        form.add_error(None, error)
        return
    for name, errors in error.error_dict.items():
        form.add_error(name if name in form.fields else None, errors)


@open_to(*STAFF)
def today(request: Request) -> HttpResponse:
    date = _asked_date(request)
    return render(
        request,
        "jobs/field_today.html",
        {
            "day": today_stops(request.user, date),
            "is_today": date == timezone.localdate(),
            "day_before": date - dt.timedelta(days=1),
            "day_after": date + dt.timedelta(days=1),
        },
    )


def _asked_date(request: Request) -> dt.date:
    asked = request.GET.get("date")
    if asked:
        try:
            date = dt.date.fromisoformat(asked)
            if 2000 <= date.year <= 2100:
                return date
        except ValueError:
            pass
        messages.error(request, "That is not a date. Today is shown.")
    return timezone.localdate()


@open_to(*STAFF)
@own_visit
def visit(request: Request, visit: Visit) -> HttpResponse:
    return _visit_page(request, visit)


def _visit_page(request: Request, visit: Visit, wrong: StepForm | None = None) -> HttpResponse:
    rows = checklist_rows(visit)
    checks = valve_checks(visit)
    context = {
        "visit": visit,
        "site": visit.site,
        "geo_uri": geo_uri(visit),
        "tel_uri": tel_uri(visit),
        "cautions": CAUTIONS[visit.kind],
        "steps": [(row, _step_form(row, visit, wrong)) for row in rows],
        "steps_done": sum(row.done for row in rows),
        "checks": checks,
        "valves_measured": sum(check.measurement is not None for check in checks),
        "measures_all_valves": visit.kind in MEASURED_KINDS,
        "first_unmeasured": next((check.valve for check in checks if check.measurement is None), None),
        "open_faults": open_faults(visit.site),
        "to_set": schedule_to_set(visit),
    }
    return render(request, "jobs/field_visit.html", context, status=422 if wrong else 200)


def _step_form(row: ChecklistRow, visit: Visit, wrong: StepForm | None) -> StepForm | None:
    """A plain tick needs no form, a closed step gets none, and a refused answer comes back as typed."""
    if visit.state != Visit.State.STARTED or row.closed_by:
        return wrong if wrong is not None and wrong.item.pk == row.item.pk else None
    if wrong is not None and wrong.item.pk == row.item.pk:
        return wrong
    answered = {"number": row.answer.number, "text": row.answer.text} if row.answer else {}
    return StepForm(row.item, initial=answered, prefix=f"step{row.item.pk}")


@open_to(*STAFF)
@require_POST
@own_visit
def visit_start(request: Request, visit: Visit) -> HttpResponse:
    try:
        start_visit(visit=visit, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect("jobs:visit", visit.pk)


@open_to(*STAFF)
@require_POST
@own_visit
def visit_checklist(request: Request, visit: Visit, item_pk: int) -> HttpResponse:
    item = get_object_or_404(ChecklistItem, pk=item_pk, template_id=visit.checklist_id)
    form = StepForm(item, request.POST, prefix=f"step{item.pk}")
    undo = "undo" in request.POST
    if undo or form.is_valid():
        kept = next((row.answer for row in checklist_rows(visit) if row.item.pk == item.pk and row.answer), None)
        answer = {"number": kept.number, "text": kept.text} if undo and kept else {} if undo else form.answer
        try:
            answer_step(visit=visit, item=item, done=not undo, by=request.user, **answer)
        except ValidationError as error:
            form.is_valid()
            show_problem(form, error)
        else:
            return redirect(f"{reverse('jobs:visit', args=[visit.pk])}#step-{item.pk}")
    return _visit_page(request, visit, wrong=form)


@open_to(*STAFF)
@own_visit
def visit_valve(request: Request, visit: Visit, valve_pk: int) -> HttpResponse:
    checks = valve_checks(visit)
    check = _check_or_404(checks, valve_pk)
    winter = visit.kind == VisitKind.WINTERISATION
    status = 200
    if request.method == "POST":
        form = MeasurementForm(request.POST, winter=winter, instance=copy(check.measurement))
        if form.is_valid():
            try:
                values, key = form.values, form.cleaned_data["uuid"]
                record_measurement(visit=visit, valve=check.valve, values=values, uuid=key, by=request.user)
            except ValidationError as error:
                show_problem(form, error)
            else:
                return _after_measuring(visit, valve_pk)
        status = 422
    else:
        form = MeasurementForm(winter=winter, instance=copy(check.measurement))
    context = {
        "visit": visit,
        "site": visit.site,
        "check": check,
        "findings": with_known_faults(check),
        "form": form,
        **_measured_rows(form, check),
        "after": next((other for other in checks if str(other.valve.pk) == request.GET.get("after")), None),
        "next_valve": valve_after(checks, check.valve),
        "place": [other.valve.pk for other in checks].index(valve_pk) + 1,
        "valves_total": len(checks),
        "gate": next((row.item for row in checklist_rows(visit) if row.item.gate and not row.done), None),
    }
    return render(request, "jobs/field_valve.html", context, status=status)


def _check_or_404(checks: list[ValveCheck], valve_pk: int) -> ValveCheck:
    for check in checks:
        if check.valve.pk == valve_pk:
            return check
    raise Http404


def _after_measuring(visit: Visit, valve_pk: int) -> HttpResponse:
    """Where something is wrong, stay and say so; else on to the next valve with the good news on top."""
    checks = valve_checks(visit)
    check = _check_or_404(checks, valve_pk)
    if check.stay_here:
        return redirect("jobs:visit_valve", visit.pk, valve_pk)
    following = valve_after(checks, check.valve)
    if following is None:
        return redirect(f"{reverse('jobs:visit', args=[visit.pk])}#valves")
    return redirect(f"{reverse('jobs:visit_valve', args=[visit.pk, following.pk])}?after={valve_pk}")


@dataclass(frozen=True)
class MeasuredRow:
    """A field of the valve form with what stands beside it, in the firm's units."""

    field: BoundField
    is_number: bool
    last: str | None = None
    as_new_word: str = "as new"
    as_new: str | None = None
    caution: str = ""


def _measured_rows(form: MeasurementForm, check: ValveCheck) -> dict[str, Any]:
    def row(field: BoundField) -> MeasuredRow:
        if field.name not in form.numbers:
            return MeasuredRow(field, is_number=False)
        last, as_new = check.last.get(field.name), check.as_new.get(field.name)
        word = "expected" if field.name in EXPECTED else "as new"
        shown = form.shown(field.name, last), word, form.shown(field.name, as_new)
        return MeasuredRow(field, True, *shown, MEASURING.get(field.name, ""))

    more = [field for field in form.visible_fields() if field.name in MORE]
    first = [field for field in form.visible_fields() if field.name not in (*MORE, "note")]
    return {
        "rows": [row(field) for field in first],
        "more_rows": [row(field) for field in more],
        "more_open": any(field.errors or (form.is_bound and field.value()) for field in more),
    }


@open_to(*STAFF)
@own_visit
def visit_finish(request: Request, visit: Visit) -> HttpResponse:
    if visit.state == Visit.State.FINISHED:
        messages.success(request, "This visit is finished.")
        return redirect("jobs:visit", visit.pk)
    if visit.state != Visit.State.STARTED:
        messages.error(request, "Start the visit before you finish it.")
        return redirect("jobs:visit", visit.pk)
    missing = missing_at_finish(visit)
    form = FinishForm(visit, missing, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            finish_visit(visit=visit, by=request.user, end=form.outcome)
        except ValidationError as error:
            show_problem(form, error)
        else:
            messages.success(request, f"{visit.site} is finished.")
            return redirect("jobs:visit", visit.pk)
    context = {
        "visit": visit,
        "site": visit.site,
        "form": form,
        "missing": missing,
        "not_recorded": found_without_fault(visit),
    }
    return render(request, "jobs/field_finish.html", context, status=422 if request.method == "POST" else 200)
