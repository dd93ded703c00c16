"""A season lived through again: all zones of a site, one zone with its chart, and with one thing changed."""

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from scheduling.queries.backtest import site_backtest
from scheduling.queries.season_replay import NotEnough, site_replay, zone_season_sheet
from scheduling.queries.what_if import what_ifs
from sites.access import EVERYONE, STAFF, Request, open_to, visible_or_404
from sites.core.units import INCH_MM
from sites.models import Firm, Site, Zone

SITE_ROWS = Site.objects.select_related("weather_station", "tariff")
ZONE_ROWS = Zone.objects.select_related("site__weather_station")
EARLIEST = 1900


def _answer(request: Request, template: str, site: Site, year: int, **found: Any) -> HttpResponse:
    this_year = timezone.localdate().year
    if not EARLIEST <= year <= this_year:
        raise Http404
    years = {"year": year, "year_before": year - 1, "year_after": year + 1 if year < this_year else None}
    return render(request, template, {"site": site, **years, **found})


@open_to(*EVERYONE)
def site_season(request: Request, pk: int, year: int) -> HttpResponse:
    site = visible_or_404(SITE_ROWS, request.user, pk=pk)
    found: dict[str, Any] = {"heading": f"Season {year}"}
    try:
        found["replay"] = site_replay(site, season_year=year, today=timezone.localdate())
    except NotEnough as error:
        found["needs"] = str(error)
    return _answer(request, "scheduling/site_season.html", site, year, **found)


@open_to(*EVERYONE)
def zone_season(request: Request, pk: int, year: int) -> HttpResponse:
    zone = visible_or_404(ZONE_ROWS, request.user, pk=pk)
    unit_mm = INCH_MM if Firm.current().units == Firm.Units.US else 1.0
    found: dict[str, Any] = {"zone": zone}
    try:
        found["sheet"] = zone_season_sheet(zone, season_year=year, today=timezone.localdate(), unit_mm=unit_mm)
    except NotEnough as error:
        found["needs"] = str(error)
    return _answer(request, "scheduling/zone_season.html", zone.site, year, **found)


@open_to(*STAFF)
def site_what_if(request: Request, pk: int, year: int) -> HttpResponse:
    site = visible_or_404(SITE_ROWS, request.user, pk=pk)
    found: dict[str, Any] = {}
    try:
        found["changes"] = what_ifs(site, year)
    except NotEnough as error:
        found["needs"] = str(error)
    return _answer(request, "scheduling/what_if.html", site, year, **found)


@open_to(*STAFF)
def backtest(request: Request, pk: int) -> HttpResponse:
    """The advice through every recorded year of the station, beside what is published and a fixed setting."""
    site = visible_or_404(SITE_ROWS, request.user, pk=pk)
    shown: dict[str, Any] = {"site": site}
    try:
        shown["backtest"] = site_backtest(site, timezone.localdate())
    except NotEnough as error:
        shown["needs"] = str(error)
    return render(request, "scheduling/backtest.html", shown)
