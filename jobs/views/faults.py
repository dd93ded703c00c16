"""Faults: recorded on a visit, followed by the office, closed with words."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied, ValidationError
from django.core.paginator import Paginator
from django.forms import BaseForm
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST

from jobs.actions.faults import add_photos, at_place, dismiss_fault, record_fault, repair_fault
from jobs.forms.field import CloseFaultForm, FaultFilterForm, FaultForm, PhotosForm
from jobs.models import Fault, ServicePlan, Visit
from jobs.queries.faults import (
    fault_rows,
    fault_story,
    office_faults,
    visit_under_way,
    with_place,
)
from jobs.queries.faults import (
    site_visits as visits_of_site,
)
from jobs.queries.planning import firm_today
from jobs.queries.proposals import proposals_of
from jobs.views.field import in_site_time, own_visit, show_problem
from sites.access import OFFICE, STAFF, Request, open_to, visible_or_404
from sites.models import Site

PAGE_SIZE = 50


@open_to(*STAFF)
@own_visit
def visit_fault_new(request: Request, visit: Visit) -> HttpResponse:
    if request.method == "POST":
        form = FaultForm(visit.site, request.POST, request.FILES)
        if form.is_valid():
            try:
                fault = _record(visit, form, request)
            except ValidationError as error:
                show_problem(form, error)
            else:
                return redirect("jobs:fault", fault.pk)
    else:
        asked = {name: request.GET[name] for name in ("place", "kind", "description") if name in request.GET}
        form = FaultForm(visit.site, initial=asked)
    context = {"visit": visit, "site": visit.site, "form": form}
    return render(request, "jobs/fault_new.html", context, status=422 if request.method == "POST" else 200)


def _record(visit: Visit, form: FaultForm, request: Request) -> Fault:
    words = form.cleaned_data
    found = Fault(
        **{name: words[name] for name in ("uuid", "kind", "severity", "description", "part_needed")},
        site=visit.site,
        found_on_visit=visit,
        repair_note=words["repair_note"] if words["repaired_now"] else "",
        **at_place(form.place_row),
    )
    fault, refused = record_fault(fault=found, by=request.user, uploads=words["photos"])
    messages.success(request, "The fault is recorded.")
    _tell_refused(refused, request)
    return fault


def _tell_refused(refused: list[str], request: Request) -> None:
    """The words are safe by now; a picture that cannot be used is named and can be taken again."""
    for reason in refused:
        messages.error(request, f"A photo was not kept. {reason}")


@open_to(*OFFICE)
def fault_list(request: Request) -> HttpResponse:
    form = FaultFilterForm(request.GET if request.GET else {"state": Fault.State.OPEN})
    chosen = form.cleaned_data if form.is_valid() else {}
    faults = office_faults(request.user, **{name: value for name, value in chosen.items() if value})
    page = Paginator(with_place(faults), PAGE_SIZE).get_page(request.GET.get("page"))
    return render(request, "jobs/fault_list.html", {"form": form, "page": page, "rows": fault_rows(page)})


def _fault_or_404(request: Request, pk: int) -> Fault:
    faults = with_place(Fault.objects.select_related("found_on_visit", "repaired_on_visit"))
    return visible_or_404(faults, request.user, pk=pk)


@open_to(*STAFF)
def fault(request: Request, pk: int) -> HttpResponse:
    return _fault_page(request, _fault_or_404(request, pk))


def _fault_page(request: Request, fault: Fault, **wrong: BaseForm) -> HttpResponse:
    forms = {
        "repair_form": CloseFaultForm(label="What was done", prefix="repair"),
        "dismiss_form": CloseFaultForm(label="Why it needs no repair", prefix="dismiss"),
        "photos_form": PhotosForm(),
    } | wrong
    context = {
        "story": fault_story(fault, request.user),
        "proposals": proposals_of(fault, request.user, firm_today()),
        "fault": fault,
        "site": fault.site,
        **forms,
    }
    with in_site_time(fault.site):
        return render(request, "jobs/fault.html", context, status=422 if wrong else 200)


@open_to(*STAFF)
@require_POST
def fault_repair(request: Request, pk: int) -> HttpResponse:
    fault = _fault_or_404(request, pk)
    dismiss = "dismiss" in request.POST
    if dismiss and not request.user.is_office:
        raise PermissionDenied
    word = "dismiss" if dismiss else "repair"
    label = "Why it needs no repair" if dismiss else "What was done"
    form = CloseFaultForm(request.POST, label=label, prefix=word)
    if form.is_valid():
        try:
            _close(fault, form.cleaned_data["note"], request, dismiss)
        except ValidationError as error:
            show_problem(form, error)
        else:
            return redirect("jobs:fault", fault.pk)
    return _fault_page(request, fault, **{f"{word}_form": form})


def _close(fault: Fault, note: str, request: Request, dismiss: bool) -> None:
    if dismiss:
        dismiss_fault(fault=fault, reason=note, by=request.user)
        messages.success(request, "The fault is dismissed.")
    else:
        repair_fault(fault=fault, note=note, by=request.user, visit=visit_under_way(request.user, fault.site))
        messages.success(request, "The fault is repaired.")


@open_to(*STAFF)
@require_POST
def fault_photos(request: Request, pk: int) -> HttpResponse:
    fault = _fault_or_404(request, pk)
    form = PhotosForm(request.POST, request.FILES)
    if not form.is_valid():
        return _fault_page(request, fault, photos_form=form)
    _tell_refused(add_photos(fault=fault, uploads=form.cleaned_data["photos"], by=request.user), request)
    return redirect("jobs:fault", fault.pk)


@open_to(*STAFF)
def site_visits(request: Request, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.select_related("client"), request.user, pk=pk)
    context = {
        "site": site,
        "plan": ServicePlan.objects.visible_to(request.user).filter(site=site).first(),
        "visits": visits_of_site(site, request.user),
        "faults": fault_rows(with_place(Fault.objects.visible_to(request.user).filter(site=site))),
    }
    with in_site_time(site):
        return render(request, "jobs/site_visits.html", context)
