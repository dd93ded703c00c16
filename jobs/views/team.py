"""Technicians' hours and absences."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from jobs.actions.team import add_absence, delete_absence, save_profile
from jobs.forms.planning import AbsenceForm, ProfileForm
from jobs.models import Absence, TechnicianProfile
from jobs.queries.day_board import visits_on
from jobs.queries.planning import firm_today
from jobs.queries.team import team
from jobs.views.field import show_problem
from sites.access import OFFICE, open_to, visible_or_404
from sites.models import Role, User


def _technician_or_404(request: HttpRequest, pk: int) -> User:
    people = User.objects.filter(role=Role.TECHNICIAN).select_related("technician_profile")
    return visible_or_404(people, request.user, pk=pk)


@open_to(*OFFICE)
def technician_list(request: HttpRequest) -> HttpResponse:
    return render(request, "jobs/technician_list.html", {"team": team(firm_today())})


@open_to(*OFFICE)
def technician_edit(request: HttpRequest, pk: int) -> HttpResponse:
    technician = _technician_or_404(request, pk)
    profile = getattr(technician, "technician_profile", None) or TechnicianProfile(user=technician)
    form = ProfileForm(request.POST or None, instance=profile)
    if request.method == "POST" and form.is_valid():
        try:
            save_profile(profile=form.instance, by=request.user)
        except ValidationError as error:
            show_problem(form, error)
        else:
            messages.success(request, f"Saved: hours of {technician}.")
            return redirect("jobs:technician_list")
    return _form_page(request, form, f"Hours of {technician}")


@open_to(*OFFICE)
def absence_new(request: HttpRequest, pk: int) -> HttpResponse:
    technician = _technician_or_404(request, pk)
    form = AbsenceForm(request.POST or None, instance=Absence(technician=technician))
    if request.method == "POST" and form.is_valid():
        try:
            absence = add_absence(absence=form.instance, by=request.user)
        except ValidationError as error:
            show_problem(form, error)
        else:
            _tell(request, absence)
            return redirect("jobs:technician_list")
    return _form_page(request, form, f"Days away of {technician}")


def _tell(request: HttpRequest, absence: Absence) -> None:
    messages.success(request, f"Saved: {absence}.")
    planned = visits_on(absence.technician, absence.starts_on, absence.ends_on)
    if planned:
        words = f"{planned} planned visit{'s fall' if planned > 1 else ' falls'} on these days. Plan them again."
        messages.warning(request, words)


@open_to(*OFFICE)
def absence_delete(request: HttpRequest, pk: int, absence_pk: int) -> HttpResponse:
    technician = _technician_or_404(request, pk)
    absence = technician.absences.filter(pk=absence_pk).first()
    if absence is None:
        messages.error(request, "This absence is gone already.")
        return redirect("jobs:technician_list")
    if request.method == "POST":
        delete_absence(absence=absence, by=request.user)
        messages.success(request, f"{technician} works again on these days.")
        return redirect("jobs:technician_list")
    context = {
        "title": f"Delete the days away of {technician}?",
        "lead": f"{absence.starts_on:%d %b %Y} to {absence.ends_on:%d %b %Y} become working days again.",
        "submit_label": "Delete",
        "back_url": reverse("jobs:technician_list"),
    }
    return render(request, "confirm_page.html", context)


def _form_page(request: HttpRequest, form, title: str) -> HttpResponse:
    context = {"form": form, "title": title, "back_url": reverse("jobs:technician_list"), "back_label": "Team"}
    return render(request, "form_page.html", context, status=422 if form.is_bound else 200)
