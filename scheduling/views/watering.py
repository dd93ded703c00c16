"""A site's watering: what is published, the draft beside it, the water used, and every figure explained."""

import datetime as dt
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from scheduling.actions import pauses as pausing
from scheduling.actions import schedules
from scheduling.actions.errors import AskFirst, ScheduleError, SiteIsOff
from scheduling.forms.schedules import FIT, AppliedForm, ComputeForm, PauseForm
from scheduling.models import SeasonSchedule, WateringPause
from scheduling.queries.as_computed import has_own_programs, minutes_words
from scheduling.queries.explain import earlier_rules, explain, what_hangs_on_assumptions, worth_measuring
from scheduling.queries.frost_nights import frost_nights
from scheduling.queries.hand_set import out_of_reach
from scheduling.queries.meter_check import meter_check
from scheduling.queries.schedule_page import changes, schedule_sheet
from scheduling.queries.seasonal_percentage import seasonal_percentages
from scheduling.queries.sequence import week_timeline
from scheduling.queries.two_answers import shared_litres, two_answers
from scheduling.queries.water_use import budget_bars, site_water_use
from sites.access import EVERYONE, OFFICE, STAFF, Request, open_to, visible_or_404
from sites.answers import typed, whole_number
from sites.core import writing
from sites.models import Controller, Site
from sites.queries.site_state import standing_of

State = SeasonSchedule.State
SHOWN_REVISIONS = 12


def _watering_url(site_id: int) -> str:
    return reverse("scheduling:site_watering", args=[site_id])


def _site(request: Request, pk: int) -> Site:
    return visible_or_404(Site.objects.select_related("weather_station", "tariff"), request.user, pk=pk)


def _schedule(request: Request, pk: int) -> SeasonSchedule:
    rows = SeasonSchedule.objects.select_related("site", "published_by", "computed_by")
    return visible_or_404(rows, request.user, pk=pk)


def _compute_form(site: Site) -> ComputeForm:
    return ComputeForm(auto_id="compute_%s", own_programs=has_own_programs(site))


@open_to(*EVERYONE)
def site_watering(request: Request, pk: int) -> HttpResponse:
    site = _site(request, pk)
    rows = SeasonSchedule.objects.visible_to(request.user).filter(site=site).select_related("published_by")
    published = rows.filter(state=State.PUBLISHED).first()
    today = timezone.localdate()
    shown: dict[str, Any] = {
        "site": site,
        "published": published,
        "sheet": schedule_sheet(published) if published else None,
        "draft": rows.filter(state=State.DRAFT).first(),
        "revisions": rows.exclude(state=State.DRAFT)
        .defer("basis")
        .order_by("-published_at", "-pk")[:SHOWN_REVISIONS],
        "use": site_water_use(site, season_year=today.year, until=today),
        "pauses": WateringPause.objects.filter(site=site, ends_on__gte=today - dt.timedelta(days=60)),
        "standing": standing_of(site, today),
        "today": today,
        "staff": request.user.is_office or request.user.is_technician,
        "compute_form": _compute_form(site),
        "applied_form": AppliedForm(initial={"applied_on": today}, auto_id=False),
    }
    if shown["staff"]:
        shown["meter_check"] = meter_check(site, today)
        shown["frost"] = frost_nights(today, site)
        shown["hand_set"] = out_of_reach([site.pk])
    if shown["use"].budget.allowance_by_month_l:
        shown["bars"] = budget_bars(shown["use"])
    if published and shown["staff"]:
        shown["week"] = week_timeline(published, week_starts_on=today)
    return render(request, "scheduling/site_watering.html", shown)


@open_to(*EVERYONE)
def schedule(request: Request, pk: int) -> HttpResponse:
    """One revision: a draft with its change against what is published, or an old revision."""
    row = _schedule(request, pk)
    shown: dict[str, Any] = {"site": row.site, "schedule": row, "sheet": schedule_sheet(row)}
    if row.state == State.DRAFT:
        published = SeasonSchedule.objects.published().filter(site=row.site).first()
        shown["published"] = published
        shown["changes"] = changes(published, row)
        shown["answers"] = two_answers(row)
        shown["shared_l"] = shared_litres(shown["answers"])
        shown["week"] = week_timeline(row, week_starts_on=timezone.localdate())
        if request.user.is_office:
            shown["compute_form"] = _compute_form(row.site)
    return render(request, "scheduling/schedule.html", shown)


@open_to(*OFFICE)
@require_POST
def schedule_compute(request: Request, pk: int) -> HttpResponse:
    site = _site(request, pk)
    form = ComputeForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Choose a month from the list.")
        return redirect(_watering_url(site.pk))
    try:
        draft = schedules.compute_draft(
            site=site,
            today=timezone.localdate(),
            by=request.user,
            month=form.cleaned_data["month"],
            keep_programs=form.cleaned_data["programs"] != FIT,
        )
    except SiteIsOff as error:
        messages.error(request, str(error))
        return redirect(_watering_url(site.pk))
    messages.success(request, "Computed. Look at the draft, then publish it.")
    return redirect("scheduling:schedule", draft.pk)


@open_to(*OFFICE)
@require_POST
def schedule_publish(request: Request, pk: int) -> HttpResponse:
    site_id = request.POST.get("site", "")
    try:
        row = _schedule(request, pk)
    except Http404:
        if whole_number(site_id) is None:
            raise
        # A draft that was computed again while somebody looked at the old one.
        messages.error(
            request, "This draft was computed again since you opened it. Nothing was published; look at the new one."
        )
        return redirect(_watering_url(_site(request, int(site_id)).pk))
    try:
        published = schedules.publish(schedule=row, by=request.user, all_the_same="all_the_same" in request.POST)
    except AskFirst as error:
        shown = {
            "title": f"Publish for {row.site} all the same?",
            "lead": str(error),
            "submit_label": "Publish it all the same",
            "answer": "all_the_same",
            "back_url": reverse("scheduling:schedule", args=[row.pk]),
        }
        return render(request, "confirm_page.html", shown)
    except ScheduleError as error:
        messages.error(request, str(error))
    else:
        took = minutes_words(published)
        messages.success(request, f"Published as revision {published.revision} of {published.season_year}. {took}")
    return redirect(_watering_url(row.site_id))


@open_to(*OFFICE)
@require_POST
def schedule_next_visit(request: Request, pk: int) -> HttpResponse:
    """Put the draft on the next visit's sheet, or take it off again."""
    row = _schedule(request, pk)
    if row.for_next_visit_at is not None:
        schedules.take_off_next_visit(schedule=row, by=request.user)
        messages.success(request, "Taken off the next visit's sheet.")
        return redirect("scheduling:schedule", row.pk)
    try:
        schedules.put_on_next_visit(schedule=row, by=request.user)
    except ScheduleError as error:
        messages.error(request, str(error))
    else:
        messages.success(
            request, "It is on the sheet of the next visit and will be published once it is set at the controller."
        )
    return redirect("scheduling:schedule", row.pk)


@open_to(*STAFF)
@require_POST
def schedule_applied(request: Request, pk: int, controller_pk: int) -> HttpResponse:
    row = _schedule(request, pk)
    controller = visible_or_404(Controller.objects.all(), request.user, pk=controller_pk)
    form = AppliedForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Give the day on which the schedule was set, as YYYY-MM-DD; not one to come.")
        return redirect(_watering_url(row.site_id))
    try:
        schedules.record_applied(
            schedule=row, controller=controller, applied_on=form.cleaned_data["applied_on"], by=request.user
        )
    except ScheduleError as error:
        messages.error(request, str(error))
    else:
        messages.success(request, f"Noted: revision {row.revision} is set at {controller}.")
    return redirect(_watering_url(row.site_id))


@open_to(*EVERYONE)
def figure(request: Request, pk: int, zone_pk: int, month: int) -> HttpResponse:
    """Why a zone's figures of a month are what they are."""
    row = _schedule(request, pk)
    zone = row.site.zones.filter(pk=zone_pk).first()
    if zone is None or not 1 <= month <= 12:
        raise Http404
    explained = explain(row, zone, month)
    if explained is None:
        raise Http404
    shown = {"site": row.site, "schedule": row, "zone": zone, "explained": explained}
    shown["earlier"] = earlier_rules(row, explained)
    if request.user.is_office or request.user.is_technician:
        shown["worth"] = worth_measuring(row, zone)
        shown["moves"] = what_hangs_on_assumptions(row, zone)
    return render(request, "scheduling/figure.html", {**shown, "month_day": dt.date(row.season_year, month, 1)})


@open_to(*EVERYONE)
def seasonal_percentage(request: Request, pk: int) -> HttpResponse:
    """One percent a month for controllers that have only one setting, and its cost by zone."""
    row = _schedule(request, pk)
    shown = {"site": row.site, "schedule": row, "controllers": seasonal_percentages(row)}
    return render(request, "scheduling/seasonal_percentage.html", shown)


def _beyond_reach(site: Site) -> str:
    named = "; ".join(one.words for one in out_of_reach([site.pk]))
    return f" What is set by hand waters on until somebody switches it off there. {named}." if named else ""


@open_to(*OFFICE)
def site_pause(request: Request, pk: int) -> HttpResponse:
    site = _site(request, pk)
    form = PauseForm(**typed(request), initial={"starts_on": timezone.localdate()})
    if form.is_bound and form.is_valid():
        pausing.pause(sites=[site], by=request.user, **form.cleaned_data)
        messages.success(request, f"Watering is paused until {writing.day(form.cleaned_data['ends_on'])}.")
        return redirect(_watering_url(site.pk))
    shown = {
        "form": form,
        "title": f"Pause watering at {site}",
        "lead": f"Both days are included.{_beyond_reach(site)}",
        "submit_label": "Pause",
        "back_url": _watering_url(site.pk),
    }
    return render(request, "form_page.html", shown, status=422 if form.is_bound else 200)


@open_to(*OFFICE)
@require_POST
def pause_end(request: Request, pk: int) -> HttpResponse:
    pause = visible_or_404(WateringPause.objects.select_related("site"), request.user, pk=pk)
    pausing.end_pause(pause=pause, last_day=timezone.localdate() - dt.timedelta(days=1), by=request.user)
    messages.success(request, "Watering goes on from today.")
    return redirect(_watering_url(pause.site_id))
