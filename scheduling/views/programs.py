"""Editing a draft's programs: starts, days, steps and their order; programs that come and go."""

from collections.abc import Callable

from django.contrib import messages
from django.forms import BaseModelFormSet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from scheduling.actions import program_steps as stepping
from scheduling.actions import programs as changing
from scheduling.actions.errors import ScheduleError
from scheduling.forms.programs import ProgramForm
from scheduling.forms.schedules import StepForm, StepFormSet, step_changes
from scheduling.models import Program, ProgramStep, SeasonSchedule
from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.answers import whole_number
from sites.models import Controller, Zone


def _draft_program(request: Request, pk: int) -> Program:
    """The program, if this person may see its schedule."""
    visible_or_404(SeasonSchedule.objects.all(), request.user, programs__pk=pk)
    return get_object_or_404(Program.objects.select_related("schedule__site", "controller"), pk=pk)


@open_to(*OFFICE)
def program_edit(request: Request, pk: int) -> HttpResponse:
    program = _draft_program(request, pk)
    schedule = program.schedule
    if schedule.state != SeasonSchedule.State.DRAFT:
        messages.error(request, "A published schedule is never changed. Compute a new draft and publish that.")
        return redirect("scheduling:schedule", schedule.pk)
    of_site = ("zone", "program__schedule__site")  # a step must fit the site's window
    steps = ProgramStep.objects.filter(program=program).select_related(*of_site).order_by("position", "pk")
    data = request.POST if request.method == "POST" else None
    form = ProgramForm(data, instance=program)
    formset = StepFormSet(data, queryset=steps, prefix="steps")
    status = 200
    if data is not None:
        if form.is_valid() and formset.is_valid():
            try:
                return _saved(request, program, form, formset)
            except ScheduleError as error:
                form.add_error(None, str(error))
        status = 422
    shown = {
        "schedule": schedule,
        "site": schedule.site,
        "program": program,
        "form": form,
        "formset": formset,
        "zones": Zone.objects.filter(valve__controller=program.controller_id, in_use=True).order_by("number"),
        "order": data.get("order", "") if data else "",
    }
    return render(request, "scheduling/program_edit.html", shown, status=status)


def _saved(
    request: Request, program: Program, form: ProgramForm, formset: "BaseModelFormSet[ProgramStep, StepForm]"
) -> HttpResponse:
    """Store what was typed; a button of a step does its work afterwards, so that nothing typed is lost."""
    order = [key for text in request.POST.get("order", "").split(",") if (key := whole_number(text)) is not None]
    changing.edit_program(
        program=program, steps=step_changes(formset), by=request.user, order=order, **form.cleaned_data
    )
    if _did_more(request, program):
        return redirect(reverse("scheduling:program_edit", args=[program.pk]) + "#steps")
    messages.success(request, f"Saved: {program.name}.")
    return redirect("scheduling:schedule", program.schedule_id)


def _did_more(request: Request, program: Program) -> bool:
    """Whether another button than "Save" was pressed, and its work is done."""
    posted = request.POST
    key, _, direction = posted.get("move", "").partition(":")
    if key and direction in ("up", "down"):
        changing.move_step(step=_step(program, key), up=direction == "up", by=request.user)
    elif "copy" in posted:
        stepping.copy_step(step=_step(program, posted["copy"]), by=request.user)
    elif "remove" in posted:
        stepping.remove_step(step=_step(program, posted["remove"]), by=request.user)
    elif "add" in posted:
        zones = Zone.objects.filter(site=program.schedule.site_id).select_related("valve")
        zone = get_object_or_404(zones, pk=whole_number(posted.get("new_zone", "")) or 0)
        stepping.add_step(program=program, zone=zone, by=request.user)
    else:
        return False
    return True


def _step(program: Program, key: str) -> ProgramStep:
    steps = ProgramStep.objects.select_related("program", "zone").filter(program=program)
    return get_object_or_404(steps, pk=whole_number(key) or 0)


def _after(request: Request, schedule_pk: int, do: Callable[[], Program | None]) -> HttpResponse:
    """Do it, then go to the program it made, else to the schedule; a refusal is told there."""
    try:
        made = do()
    except ScheduleError as error:
        messages.error(request, str(error))
        return redirect("scheduling:schedule", schedule_pk)
    if made is None:
        return redirect("scheduling:schedule", schedule_pk)
    return redirect("scheduling:program_edit", made.pk)


@open_to(*OFFICE)
@require_POST
def program_new(request: Request, pk: int, controller_pk: int) -> HttpResponse:
    schedule = visible_or_404(SeasonSchedule.objects.select_related("site"), request.user, pk=pk)
    controller = get_object_or_404(Controller, pk=controller_pk, site=schedule.site_id)
    return _after(
        request,
        schedule.pk,
        lambda: stepping.add_program(schedule=schedule, controller=controller, by=request.user),
    )


@open_to(*OFFICE)
@require_POST
def program_copy(request: Request, pk: int) -> HttpResponse:
    program = _draft_program(request, pk)
    return _after(request, program.schedule_id, lambda: stepping.copy_program(program=program, by=request.user))


@open_to(*OFFICE)
def program_delete(request: Request, pk: int) -> HttpResponse:
    program = _draft_program(request, pk)
    if request.method == "POST":
        return _after(request, program.schedule_id, lambda: stepping.delete_program(program=program, by=request.user))
    shown = {
        "title": f"Delete {program.name}?",
        "lead": "Its steps go with it. To have computed ones again, compute a draft with programs fitted again.",
        "back_url": reverse("scheduling:program_edit", args=[pk]),
        "submit_label": "Delete",
    }
    return render(request, "confirm_page.html", shown)
