"""The season's sites as a drawing, and as places for the map that can be moved."""

from django.http import HttpResponse, JsonResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from jobs.forms.planning import SeasonFilterForm
from jobs.queries.planning import firm_today, planning_technicians
from jobs.queries.season_map import SeasonMap, places_json, season_map
from sites.access import OFFICE, Request, open_to


def _asked(request: Request, year: int) -> SeasonMap:
    chosen = SeasonFilterForm(request.GET, technicians=planning_technicians()).chosen
    return season_map(**{**chosen, "year": year}, today=firm_today())


@require_safe
@open_to(*OFFICE)
def season_svg(request: Request, year: int) -> HttpResponse:
    answer = render(request, "jobs/season_map.svg", {"map": _asked(request, year)}, content_type="image/svg+xml")
    answer["Cache-Control"] = "private, no-store"
    return answer


@require_safe
@open_to(*OFFICE)
def season_places(request: Request, year: int) -> HttpResponse:
    answer = JsonResponse(places_json(_asked(request, year).places), content_type="application/geo+json")
    answer["Cache-Control"] = "private, no-store"
    return answer
