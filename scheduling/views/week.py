"""This week: sites whose published schedule is off, most water first; publish, hand over or pause those chosen."""

import datetime as dt
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.html import format_html, format_html_join

from scheduling.actions import pauses, schedules
from scheduling.actions.errors import AskFirst, ScheduleError
from scheduling.forms.schedules import ResumeForm, WeekActionForm, WeekFilterForm
from scheduling.models import SeasonSchedule
from scheduling.queries.frost_nights import frost_nights
from scheduling.queries.hand_set import by_person, out_of_reach
from scheduling.queries.week import hand_set_sites, office_week, paused_sites
from sites.access import OFFICE, Request, open_to
from sites.core import writing
from sites.models import Site
from sites.queries.site_state import state_lines

ROWS_A_PAGE = 50
NAMED = 10  # hand-set controllers told by name, for each person
RESUME = "resume"
USUAL: dict[str, Any] = {"threshold": 15.0, "direction": "all"}


@open_to(*OFFICE)
def week(request: Request) -> HttpResponse:
    today = timezone.localdate()
    if request.POST.get("act") == RESUME:
        _resume(request, today)
        return redirect(request.get_full_path())
    action_form = WeekActionForm(request.POST or None, initial={"starts_on": today}, auto_id="act_%s")
    if request.method == "POST" and action_form.is_valid():
        _act(request, action_form)
        return redirect(request.get_full_path())
    filters = WeekFilterForm(request.GET if "threshold" in request.GET else None, initial=USUAL)
    wanted = filters.cleaned_data if filters.is_bound and filters.is_valid() else USUAL
    found = office_week(today=today, threshold_percent=wanted["threshold"], direction=wanted["direction"])
    shown = {
        "today": today,
        "found": found,
        "frost": frost_nights(today),
        "paused": paused_sites(today),
        "page": Paginator(found.rows, ROWS_A_PAGE).get_page(request.GET.get("page")),
        "filters": filters,
        "threshold": wanted["threshold"],
        "extra": f"&threshold={wanted['threshold']:g}&direction={wanted['direction']}",
        "form": action_form,
        "chosen": set(request.POST.getlist("draft")),
        "by_hand": hand_set_sites(),
    }
    return render(request, "scheduling/week.html", shown, status=422 if request.method == "POST" else 200)


def _act(request: Request, form: WeekActionForm) -> None:
    chosen = list(form.cleaned_data["draft"])
    if form.pauses:
        everywhere = form.cleaned_data["act"] == WeekActionForm.PAUSE_ALL
        paused = pauses.pause(
            sites=Site.objects.current() if everywhere else [draft.site for draft in chosen],
            starts_on=form.cleaned_data["starts_on"],
            ends_on=form.cleaned_data["ends_on"],
            reason=form.cleaned_data["reason"],
            by=request.user,
        )
        messages.success(request, f"{_sites(len(paused))} paused until {writing.day(form.cleaned_data['ends_on'])}.")
        _tell_out_of_reach(request, {row.site_id for row in paused})
        return
    verb: Callable[..., SeasonSchedule]
    verb, told = schedules.publish, "published"
    if form.cleaned_data["act"] == WeekActionForm.VISIT:
        verb, told = schedules.put_on_next_visit, "put on the sheet of the next visit"
    done = 0
    for draft in chosen:
        try:
            verb(schedule=draft, by=request.user)
            done += 1
        except AskFirst as error:
            messages.error(request, f"Not {told}, look at it: {draft.site}. {error}")
        except ScheduleError as error:
            messages.error(request, f"{draft.site}: {error}")
    if done:
        messages.success(request, f"{done} schedule{'' if done == 1 else 's'} {told}.")


def _tell_out_of_reach(request: Request, site_ids: set[int]) -> None:
    """Name the controllers that water on until somebody goes there, as long as their site is on."""
    states, today = state_lines(site_ids), timezone.localdate()
    found = out_of_reach([pk for pk in site_ids if states[pk].at(today).is_on])
    if found:
        words = "What is set by hand waters on until somebody switches it off there:"
        lines = ((f"Send {person or 'somebody'}", "; ".join(places)) for person, places in by_person(found, NAMED))
        messages.warning(request, format_html("{}<ul>{}</ul>", words, format_html_join("", "<li>{}: {}</li>", lines)))


def _resume(request: Request, today: dt.date) -> None:
    form = ResumeForm(request.POST)
    ended = 0
    if form.is_valid():
        ended = pauses.end_pauses(**form.cleaned_data, last_day=today - dt.timedelta(days=1), by=request.user)
    if ended:
        messages.success(request, f"Watering goes on from today at {_sites(ended)}.")
    else:
        messages.error(request, "This pause was ended or changed since you opened the page. Nothing was changed.")


def _sites(number: int) -> str:
    return f"{number} site{'' if number == 1 else 's'}"
