"""A technician's private calendar feed, and the files of a day's route."""

import datetime as dt

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from jobs.actions.feeds import make_feed, revoke_feed, token_hash
from jobs.core.calendar import calendar_file
from jobs.core.route_files import RouteFile, geojson_file, gpx_file
from jobs.models import CalendarFeed
from jobs.queries.days import read_days
from jobs.queries.planning import firm_today, planning_technicians
from jobs.queries.route_files import feed_entries, route_file
from sites.access import STAFF, Request, open_to, visible_or_404
from sites.models import Firm, Role, User

FORMATS = {"gpx": (gpx_file, "application/gpx+xml"), "geojson": (geojson_file, "application/geo+json")}


@login_not_required
@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """Whoever has the address may read; there is no other key, as calendar programs can give none."""
    row = CalendarFeed.objects.select_related("technician").filter(token_sha256=token_hash(token)).first()
    if row is None or not row.technician.is_active or not row.technician.is_technician:
        raise Http404
    name = f"{Firm.current().name}: {row.technician}"
    entries = feed_entries(row.technician, firm_today())
    answer = HttpResponse(
        calendar_file(entries, stamp=timezone.now(), name=name), content_type="text/calendar; charset=utf-8"
    )
    answer["Cache-Control"] = "private, no-store"
    answer["X-Robots-Tag"] = "noindex"
    return answer


@open_to(*STAFF)
def feed_page(request: Request, pk: int) -> HttpResponse:
    """Make the address (shown once), replace it, revoke it. Technicians open their own page."""
    technician = visible_or_404(User.objects.filter(role=Role.TECHNICIAN), request.user, pk=pk)
    address = ""
    if request.method == "POST":
        if request.POST.get("do") == "revoke":
            revoke_feed(technician=technician, by=request.user)
            messages.success(request, "The calendar address no longer works.")
            return redirect("jobs:calendar", technician.pk)
        token = make_feed(technician=technician, by=request.user)
        address = f"{settings.PUBLIC_URL}{reverse('jobs:calendar_feed', args=[token])}"
    context = {
        "technician": technician,
        "feed": CalendarFeed.objects.filter(technician=technician).first(),
        "address": address,
    }
    answer = render(request, "jobs/calendar.html", context)
    answer["Cache-Control"] = "private, no-store"
    return answer


@require_safe
@open_to(*STAFF)
def route_download(request: Request, date: dt.date, technician: int, form: str) -> HttpResponse:
    who = visible_or_404(User.objects.filter(role=Role.TECHNICIAN), request.user, pk=technician)
    days = read_days(date, [user for user in planning_technicians() if user.pk == who.pk])
    if not days:
        raise Http404
    write, kind = FORMATS[form]
    route: RouteFile = route_file(days[0], timezone.now())
    answer = HttpResponse(write(route), content_type=kind)
    answer["Content-Disposition"] = f'attachment; filename="route-{slugify(who)}-{date}.{form}"'
    answer["Cache-Control"] = "private, no-store"
    return answer
