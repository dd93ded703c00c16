"""The season board: windows, the season's visits, the plan."""

from collections.abc import Mapping
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from jobs.actions.planning import ask_for_plan, stop_plan
from jobs.actions.visits import generate_visits, save_window
from jobs.core.routing.frost import ENOUGH_SEASONS, HARD_FREEZE_C, LAPSE_K_PER_M
from jobs.forms.planning import ChanceForm, PlanForm, SeasonFilterForm, WindowForm
from jobs.models import PlanRun, SeasonWindow
from jobs.queries.planning import firm_today, planning_technicians
from jobs.queries.season_board import SeasonBoard, default_year, season_board
from jobs.queries.window_sheet import window_sheet
from jobs.queries.windows import CHANCES, SEASONAL, windows_over
from jobs.tasks import start_plan
from jobs.views.field import show_problem
from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.core.sources import NWS_FROST


def board_url(year: int, **filters: str) -> str:
    return f"{reverse('jobs:season_board')}?{urlencode({'year': year, **filters})}"


@open_to(*OFFICE)
def board(request: Request) -> HttpResponse:
    return _board_page(request, _shown(request.GET))


def _shown(asked: Mapping[str, Any]) -> SeasonBoard:
    today, people = firm_today(), planning_technicians()
    chosen = SeasonFilterForm(asked, technicians=people).chosen
    chosen["year"] = chosen["year"] or default_year(today)
    return season_board(**chosen, today=today, people=people)


def _board_page(request: Request, board: SeasonBoard, plan_form: PlanForm | None = None) -> HttpResponse:
    wrong = plan_form is not None
    whose = board.technician.pk if board.technician else ""
    filters = {"year": board.year, "kind": board.kind, "technician": whose}
    initial = {"kinds": board.plan_kinds, "first_day": board.plan_from, "last_day": board.plan_to}
    context = {
        "board": board,
        "filter_form": SeasonFilterForm(initial=filters, technicians=board.people),
        "filters": urlencode({name: value for name, value in filters.items() if name != "year"}),
        "plan_form": plan_form or PlanForm(initial=initial),
        "plan_open": wrong,
        "year_before": board.year - 1,
        "year_after": board.year + 1,
    }
    return render(request, "jobs/season_board.html", context, status=422 if wrong else 200)


@open_to(*OFFICE)
@require_POST
def generate(request: Request, year: int) -> HttpResponse:
    try:
        made = generate_visits(season_year=year, by=request.user, today=firm_today())
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        words = (
            f"{made} visit{'' if made == 1 else 's'} of {year} made."
            if made
            else f"Every visit of {year} that a service plan asks for is made already, unless its window is over."
        )
        over = [kind.label for kind in windows_over(year, firm_today())]
        messages.success(request, f"{words} Not made, the window is over: {', '.join(over)}." if over else words)
    return redirect(board_url(year))


@open_to(*OFFICE)
@require_POST
def plan(request: Request, year: int) -> HttpResponse:
    form = PlanForm(request.POST)
    if form.is_valid():
        try:
            run = ask_for_plan(run=PlanRun(season_year=year, asked_by=request.user, **form.cleaned_data))
        except ValidationError as error:
            show_problem(form, error)
        else:
            start_plan(run.pk)
            return redirect(board_url(year, **_filters(request)))
    return _board_page(request, _shown({"year": year, **_filters(request)}), form)


def _filters(request: Request) -> dict[str, str]:
    """What the board was filtered by when the button was pressed."""
    return {name: request.POST.get(name, "") for name in ("kind", "technician")}


@open_to(*OFFICE)
@require_POST
def plan_stop(request: Request, pk: int) -> HttpResponse:
    run = visible_or_404(PlanRun.objects.all(), request.user, pk=pk)
    stop_plan(run=run, by=request.user)
    messages.success(request, "The plan ends with the best it has found so far.")
    return redirect(board_url(run.season_year))


@open_to(*OFFICE)
def window_edit(request: Request, year: int, kind: str) -> HttpResponse:
    if kind not in SEASONAL or not 2000 <= year <= 2100:
        raise Http404
    window = SeasonWindow.objects.filter(season_year=year, kind=kind).first()
    row = window or SeasonWindow(season_year=year, kind=kind)
    chance, own = _chance(request, row)
    sheet = window_sheet(window=row, chance=chance, own=own)
    suggestion, initial = sheet.suggestion, {}
    if request.GET.get("use") and suggestion.usable:
        initial = {name: getattr(suggestion, name) for name in ("opens_on", "due_on", "reason")}
        initial["chance"] = chance if own else None
    form = WindowForm(request.POST or None, instance=row, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            moved = save_window(window=form.instance, by=request.user)
        except ValidationError as error:
            show_problem(form, error)
        else:
            words = "1 visit has" if moved == 1 else f"{moved} visits have"
            messages.success(request, f"Window saved. {words} other dates now.")
            return redirect(board_url(year))
    context = {
        "form": form,
        "window": row,
        "is_new": window is None,
        "sheet": sheet,
        "hard_freeze_c": HARD_FREEZE_C,
        "freeze_source": NWS_FROST,
        "enough_seasons": ENOUGH_SEASONS,
        "lapse_k_per_km": LAPSE_K_PER_M * 1000,
        "chance_form": ChanceForm(initial={"chance": chance, "own": own}, auto_id="show_%s"),
        "back_url": board_url(year),
    }
    return render(request, "jobs/season_window.html", context, status=422 if form.is_bound else 200)


def _chance(request: Request, window: SeasonWindow) -> tuple[float, bool]:
    """The chance to show, and whether each site is to have its own date: as asked for, else as the window has it."""
    form = ChanceForm(request.GET)
    if form.is_valid():
        return form.cleaned_data["chance"], form.cleaned_data["own"]
    return (window.chance, True) if window.chance else (CHANCES[0], False)
