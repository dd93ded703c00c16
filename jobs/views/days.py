"""The day board: who drives where in which order, and the small map of it."""

import datetime as dt

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from jobs.actions.planning import Doubtful, assign, hand_over, move, plan_day, set_order
from jobs.core.whole_minutes import whole_minutes
from jobs.forms.planning import ArrangeForm, AssignForm
from jobs.models import Visit
from jobs.queries.day_board import changed_cards, day_board
from jobs.queries.day_map import day_map
from jobs.queries.days import read_days
from jobs.queries.planning import firm_today, names_of, planning_technicians
from jobs.views.field import show_problem
from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.core import writing
from sites.forms.base import LONGEST_KEY
from sites.models import Firm, Role, User

STEPS = {"earlier": -1, "later": 1}


def day_url(date: dt.date, anchor: str = "", only: int | None = None) -> str:
    asked = f"&technician={only}" if only else ""
    return f"{reverse('jobs:day_board')}?date={date.isoformat()}{asked}{anchor}"


def board_of(asked: QueryDict) -> int | None:
    """Whose board a form was sent from, in its field `board`: a technician's id; "all" is everybody's."""
    return _id_in(asked.get("board", ""))


def _id_in(text: str) -> int | None:
    return int(text) if text.isdecimal() and len(text) <= LONGEST_KEY else None


@open_to(*OFFICE)
def board(request: Request) -> HttpResponse:
    date = _asked_date(request)
    if date is None:
        messages.error(request, "That is not a date. Today is shown.")
        return redirect("jobs:day_board")
    today = firm_today()
    shown = day_board(date=date, today=today, only=_id_in(request.GET.get("technician", "")))
    context = {
        "board": shown,
        "only": shown.only.pk if shown.only else None,
        "is_today": date == today,
        "day_before": date - dt.timedelta(days=1),
        "day_after": date + dt.timedelta(days=1),
        "technicians": names_of(shown.technicians).items(),
    }
    return render(request, "jobs/day_board.html", context)


def _asked_date(request: Request) -> dt.date | None:
    asked = request.GET.get("date")
    if not asked:
        return firm_today()
    try:
        date = dt.date.fromisoformat(asked)
    except ValueError:
        return None
    return date if 2000 <= date.year <= 2100 else None


@open_to(*OFFICE)
@require_POST
def order(request: Request, date: dt.date, technician: int | None = None) -> HttpResponse:
    """Order the day of one technician, or of all."""
    who = _technician(request, technician) if technician else None
    try:
        routes = plan_day(date=date, technician=who, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    else:
        minutes = whole_minutes(60 * sum(route.drive_min for route in routes))
        messages.success(request, f"Route planned: {minutes} min of driving." if routes else "Nothing to plan.")
    return redirect(day_url(date, f"#t{technician}" if technician else "", board_of(request.POST)))


@open_to(*OFFICE)
@require_POST
def arrange(request: Request, date: dt.date, technician: int) -> HttpResponse:
    """A stop dropped among this technician's: the cards that changed as they now are, or 422 and why not."""
    who, form = _technician(request, technician), ArrangeForm(request.POST)
    if not form.is_valid():
        return _refusal("These are not the stops of this day. Nothing was changed.")
    visit = visible_or_404(Visit.objects.all(), request.user, pk=form.cleaned_data["visit"])
    change = {"technician": who, "date": date, "visit_ids": form.cleaned_data["visits"], "by": request.user}
    try:
        if visit.technician_id == who.pk:
            set_order(**change)
        else:
            hand_over(visit=visit, **change)
    except Doubtful as error:
        return _refusal(" ".join([*error.messages, "“Move” lets you plan it anyway."]))
    except ValidationError as error:
        return _refusal(" ".join(error.messages))
    changed = {who.pk, *([visit.technician_id] if visit.technician_id else [])}
    visit.refresh_from_db()
    cards = changed_cards(visit, firm_today(), planning_technicians(), changed)
    return render(request, "jobs/day_cards.html", {"cards": cards, "only": board_of(request.POST)})


def _refusal(words: str) -> HttpResponse:
    return HttpResponse(words, content_type="text/plain; charset=utf-8", status=422)


@open_to(*OFFICE)
@require_POST
def stop_move(request: Request, pk: int) -> HttpResponse:
    """One place earlier or later within the day."""
    visit = visible_or_404(Visit.objects.select_related("technician"), request.user, pk=pk)
    steps = STEPS.get(request.POST.get("to", ""))
    if steps is None or visit.planned_on is None:
        raise Http404
    try:
        move(visit=visit, steps=steps, by=request.user)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    return redirect(day_url(visit.planned_on, f"#v{visit.pk}", board_of(request.POST)))


@open_to(*OFFICE)
def stop_assign(request: Request, pk: int) -> HttpResponse:
    """Onto a technician's day, from another day or from the waiting list. What speaks against it is asked first."""
    visit = visible_or_404(Visit.objects.select_related("site", "technician"), request.user, pk=pk)
    only = board_of(request.GET)
    back_url = day_url(visit.planned_on, "", only) if visit.planned_on else reverse("jobs:visit_plan", args=[pk])
    now = {
        "technician": visit.technician_id,
        "planned_on": visit.planned_on or max(visit.opens_on, firm_today()),
    }
    form = AssignForm(request.POST or None, technicians=planning_technicians(), initial=now)
    if request.method == "POST" and form.is_valid():
        try:
            visit = assign(visit=visit, by=request.user, **form.cleaned_data)
        except Doubtful as error:
            show_problem(form, error)
            form.ask()
        except ValidationError as error:
            show_problem(form, error)
        else:
            assert visit.planned_on
            messages.success(
                request, f"{visit.site} is planned for {visit.technician}, {writing.day(visit.planned_on)}."
            )
            return redirect(day_url(visit.planned_on, f"#v{visit.pk}", only))
    context = {
        "form": form,
        "title": f"Plan {visit}",
        "back_url": back_url,
        "lead": f"Window {writing.span(visit.opens_on, visit.due_on)}, {visit.service_min} min on site.",
    }
    return render(request, "form_page.html", context, status=422 if form.is_bound else 200)


@open_to(*OFFICE)
def day_map_svg(request: Request, date: dt.date, technician: int) -> HttpResponse:
    who = _technician(request, technician)
    days = read_days(date, [user for user in planning_technicians() if user.pk == who.pk])
    if not days:
        raise Http404
    drawing = day_map(days[0], Firm.current().units)
    answer = render(request, "jobs/day_map.svg", {"map": drawing}, content_type="image/svg+xml")
    answer["Cache-Control"] = "private, no-store"
    return answer


def _technician(request: Request, pk: int) -> User:
    return visible_or_404(User.objects.filter(role=Role.TECHNICIAN), request.user, pk=pk)
