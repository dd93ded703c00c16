"""The sequence of valves shown: a week's chart and proof, and one-off runs planned the same way."""

import datetime as dt
import zoneinfo

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from scheduling.core.sequence.chart import chart
from scheduling.forms.one_off_run import OneOffRunForm
from scheduling.models import SeasonSchedule
from scheduling.queries.one_off_run import one_off_run as planned_run
from scheduling.queries.sequence import week_timeline
from scheduling.queries.sequence_chart import chart_data, supply_page
from scheduling.queries.sequence_weeks import ControllerWeek
from sites.access import STAFF, Request, open_to, visible_or_404
from sites.core.cautions import BY_HAND
from sites.core.drawing import svg
from sites.models import Controller, Site
from sites.queries.site_state import standing_of

WIDTHS = {"wide": 1180.0, "narrow": 372.0}


def _schedule(request: Request, pk: int) -> SeasonSchedule:
    return visible_or_404(SeasonSchedule.objects.select_related("site"), request.user, pk=pk)


def _site_today(site: Site) -> dt.date:
    return timezone.localdate(timezone=site_zone(site))


def site_zone(site: Site) -> zoneinfo.ZoneInfo:
    return zoneinfo.ZoneInfo(site.time_zone)


@require_safe
@open_to(*STAFF)
def sequence(request: Request, pk: int) -> HttpResponse:
    """The seven days from today of a schedule: chart, proof, what a lost command would do, all runs in a table."""
    schedule = _schedule(request, pk)
    site, now = schedule.site, timezone.now()
    first = _site_today(site)
    weeks = week_timeline(schedule, week_starts_on=first)
    shown = {
        "site": site,
        "schedule": schedule,
        "first": first,
        "standing": standing_of(site, first),
        "pages": [supply_page(supply, site, now) for supply in weeks.supplies],
    }
    with timezone.override(site_zone(site)):
        return render(request, "scheduling/sequence.html", shown)


@require_safe
@open_to(*STAFF)
def sequence_chart(
    request: Request, pk: int, controller_pk: int, date: dt.date, span: str, shape: str
) -> HttpResponse:
    """The picture: the week that starts on the date, or the one day of it."""
    schedule = _schedule(request, pk)
    site, now = schedule.site, timezone.now()
    first = date if span == "week" else _site_today(site)
    weeks = week_timeline(schedule, week_starts_on=first).controllers
    week = next((one for one in weeks if one.controller.pk == controller_pk), None)
    if week is None:
        raise Http404
    return _picture(week, site, now, shape, date if span == "day" else None)


def _picture(
    week: ControllerWeek, site: Site, now: dt.datetime, shape: str, day: dt.date | None, title: str = ""
) -> HttpResponse:
    data = chart_data(week, site, now, title)
    if data is None:
        raise Http404
    picture = svg(chart(data, WIDTHS[shape], day))
    return HttpResponse(picture, content_type="image/svg+xml", headers={"Cache-Control": "private, no-store"})


@require_safe
@open_to(*STAFF)
def one_off_run(request: Request, pk: int) -> HttpResponse:
    """Plan a one-off run: a test of all zones, one zone, or a program. Nothing is stored, so a GET does it all."""
    controller = visible_or_404(Controller.objects.select_related("site"), request.user, pk=pk)
    site = controller.site
    asked = request.GET if request.GET else None
    form = OneOffRunForm(asked, controller=controller, now=timezone.localtime(timezone=site_zone(site)))
    shown = {"site": site, "controller": controller, "form": form, "query": request.GET.urlencode()}
    shown["by_hand"] = BY_HAND
    if form.is_bound and form.is_valid():
        run = planned_run(controller, form.steps(), form.starts_at(), form.title())
        shown |= {"page": supply_page(run, site, timezone.now(), one_off=True), "title": form.title()}
    with timezone.override(site_zone(site)):
        status = 422 if form.is_bound and not form.is_valid() else 200
        return render(request, "scheduling/one_off_run.html", shown, status=status)


@require_safe
@open_to(*STAFF)
def one_off_run_chart(request: Request, pk: int, shape: str) -> HttpResponse:
    controller = visible_or_404(Controller.objects.select_related("site"), request.user, pk=pk)
    site = controller.site
    form = OneOffRunForm(request.GET, controller=controller, now=timezone.localtime(timezone=site_zone(site)))
    if not form.is_valid():
        raise Http404
    (week,) = planned_run(controller, form.steps(), form.starts_at(), form.title()).controllers
    return _picture(week, site, timezone.now(), shape, None, f"{site.name}, {controller}: {form.title()}")
