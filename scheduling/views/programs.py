"""Editing a draft's program: start, days, minutes and the order of its zones."""

from django.contrib import messages
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from scheduling.actions import programs as changing
from scheduling.actions.errors import ScheduleError
from scheduling.forms.schedules import ProgramForm, StepFormSet, step_changes
from scheduling.models import Program, ProgramStep, SeasonSchedule
from sites.access import OFFICE, open_to, visible_or_404
from sites.views.answers import whole_number


@open_to(*OFFICE)
def program_edit(request: HttpRequest, pk: int) -> HttpResponse:
    rows = SeasonSchedule.objects.select_related("site").prefetch_related(Prefetch("programs"))
    schedule = visible_or_404(rows, request.user, programs__pk=pk)
    if schedule.state != SeasonSchedule.State.DRAFT:
        messages.error(request, "A published schedule is never changed. Compute a new draft and publish that.")
        return redirect("scheduling:schedule", schedule.pk)
    program = get_object_or_404(Program.objects.select_related("schedule__site", "controller"), pk=pk)
    steps = ProgramStep.objects.filter(program=program).select_related("zone").order_by("position", "pk")
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
    shown = {"schedule": schedule, "site": schedule.site, "program": program, "form": form, "formset": formset}
    return render(request, "scheduling/program_edit.html", shown, status=status)


def _saved(request: HttpRequest, program: Program, form: ProgramForm, formset) -> HttpResponse:
    """Store what was typed; an arrow button moves its step afterwards, so that nothing typed is lost."""
    changing.edit_program(program=program, steps=step_changes(formset), by=request.user, **form.cleaned_data)
    step_pk, _, direction = request.POST.get("move", "").partition(":")
    if whole_number(step_pk) and direction in ("up", "down"):
        step = get_object_or_404(ProgramStep.objects.select_related("program"), pk=step_pk, program=program)
        changing.move_step(step=step, up=direction == "up", by=request.user)
        return redirect("scheduling:program_edit", program.pk)
    messages.success(request, f"Saved: {program.name}.")
    return redirect("scheduling:schedule", program.schedule_id)
