"""Technicians: hours, skills and days away; the days on which the firm is closed."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.forms import BaseForm, BaseModelForm
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from jobs.actions.team import add_absence, delete_absence, save_profile
from jobs.forms.planning import AbsenceForm, ClosedDaysForm, ProfileForm, SkillForm
from jobs.models import Absence, ClosedDays, Skill, TechnicianProfile
from jobs.queries.checklists import checklists_behind
from jobs.queries.day_board import planned_on
from jobs.queries.planning import firm_today
from jobs.queries.team import skill_rows, team
from jobs.views.field import show_problem
from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.answers import answer_deletion, answer_form, typed
from sites.core import writing
from sites.models import Role, User


def _technician_or_404(request: Request, pk: int) -> User:
    people = User.objects.filter(role=Role.TECHNICIAN).select_related("technician_profile")
    return visible_or_404(people, request.user, pk=pk)


@open_to(*OFFICE)
def technician_list(request: Request) -> HttpResponse:
    today = firm_today()
    context = {
        "team": team(today),
        "skills": skill_rows(),
        "closed_days": ClosedDays.objects.filter(ends_on__gte=today),
        "behind": checklists_behind(),
    }
    return render(request, "jobs/technician_list.html", context)


@open_to(*OFFICE)
def technician_edit(request: Request, pk: int) -> HttpResponse:
    technician = _technician_or_404(request, pk)
    profile = getattr(technician, "technician_profile", None) or TechnicianProfile(user=technician)
    form = ProfileForm(request.POST or None, instance=profile)
    if request.method == "POST" and form.is_valid():
        try:
            save_profile(profile=form.instance, skills=form.cleaned_data.get("skills"), by=request.user)
        except ValidationError as error:
            show_problem(form, error)
        else:
            messages.success(request, f"Saved: hours of {technician}.")
            return redirect("jobs:technician_list")
    return _form_page(request, form, f"Hours of {technician}")


@open_to(*OFFICE)
def absence_new(request: Request, pk: int) -> HttpResponse:
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


def _tell(request: Request, absence: Absence) -> None:
    messages.success(request, f"Saved: {absence}.")
    _tell_planned(request, planned_on(absence.starts_on, absence.ends_on, absence.technician))


def _tell_planned(request: Request, planned: int) -> None:
    if planned:
        words = f"{planned} planned visit{'s fall' if planned > 1 else ' falls'} on these days. Plan them again."
        messages.warning(request, words)


@open_to(*OFFICE)
def absence_delete(request: Request, pk: int, absence_pk: int) -> HttpResponse:
    technician = _technician_or_404(request, pk)
    absence = technician.absences.filter(pk=absence_pk).first()
    if absence is None:
        messages.error(request, "This absence was already deleted.")
        return redirect("jobs:technician_list")
    if request.method == "POST":
        delete_absence(absence=absence, by=request.user)
        messages.success(request, f"{technician} works again on these days.")
        return redirect("jobs:technician_list")
    context = {
        "title": f"Delete the days away of {technician}?",
        "lead": f"{writing.day(absence.starts_on)} to {writing.day(absence.ends_on)} become working days again.",
        "submit_label": "Delete",
        "back_url": reverse("jobs:technician_list"),
    }
    return render(request, "confirm_page.html", context)


@open_to(*OFFICE)
def skill_new(request: Request) -> HttpResponse:
    return _answer(request, SkillForm(**typed(request), instance=Skill()), title="New skill")


@open_to(*OFFICE)
def skill_edit(request: Request, pk: int) -> HttpResponse:
    skill = visible_or_404(Skill.objects.all(), request.user, pk=pk)
    form = SkillForm(**typed(request), instance=skill)
    return _answer(request, form, title=str(skill), delete_url=reverse("jobs:skill_delete", args=[pk]))


@open_to(*OFFICE)
def skill_delete(request: Request, pk: int) -> HttpResponse:
    skill = visible_or_404(Skill.objects.all(), request.user, pk=pk)
    lead = "Work that needs this skill is then open to everybody."
    return _answer_deletion(request, skill, what="skill", back="jobs:skill_edit", lead=lead)


@open_to(*OFFICE)
def closed_days_new(request: Request) -> HttpResponse:
    form = ClosedDaysForm(**typed(request), instance=ClosedDays())
    answer = _answer(request, form, title="Days on which the firm is closed")
    if form.instance.pk:
        _tell_planned(request, planned_on(form.instance.starts_on, form.instance.ends_on))
    return answer


@open_to(*OFFICE)
def closed_days_edit(request: Request, pk: int) -> HttpResponse:
    row = visible_or_404(ClosedDays.objects.all(), request.user, pk=pk)
    form = ClosedDaysForm(**typed(request), instance=row)
    return _answer(request, form, title=row.reason, delete_url=reverse("jobs:closed_days_delete", args=[pk]))


@open_to(*OFFICE)
def closed_days_delete(request: Request, pk: int) -> HttpResponse:
    row = visible_or_404(ClosedDays.objects.all(), request.user, pk=pk)
    return _answer_deletion(request, row, what="entry of closed days", back="jobs:closed_days_edit")


def _answer(request: Request, form: BaseModelForm, *, title: str, **shown: Any) -> HttpResponse:
    back = reverse("jobs:technician_list")
    return answer_form(request, form, title=title, back_url=back, done_url=back, **shown)


def _answer_deletion(
    request: Request, row: Skill | ClosedDays, *, what: str, back: str, lead: str = ""
) -> HttpResponse:
    back_url, done_url = reverse(back, args=[row.pk]), reverse("jobs:technician_list")
    return answer_deletion(request, row, what=what, back_url=back_url, done_url=done_url, instead="", lead=lead)


def _form_page(request: Request, form: BaseForm, title: str) -> HttpResponse:
    context = {"form": form, "title": title, "back_url": reverse("jobs:technician_list"), "back_label": "Team"}
    return render(request, "form_page.html", context, status=422 if form.is_bound else 200)
