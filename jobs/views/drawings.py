"""A site's plant drawn from the register: the page and its pictures."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from jobs.queries.plant_drawing import drawn_plant, drawn_plants
from sites.access import STAFF, Request, open_to, visible_or_404
from sites.core.cautions import CABINET, WET_CLASS_2
from sites.core.drawing import Drawing, svg
from sites.core.plant_drawing import terminal_map, water_path
from sites.models import Controller, Site

DRAWINGS = {"water-path": water_path, "terminals": terminal_map}
WIDTHS = {"wide": 900.0, "narrow": 360.0}


def svg_response(drawing: Drawing) -> HttpResponse:
    """A picture for an <img>; never kept by shared caches."""
    return HttpResponse(svg(drawing), content_type="image/svg+xml", headers={"Cache-Control": "private, no-store"})


@require_safe
@open_to(*STAFF)
def drawings(request: Request, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.select_related("client"), request.user, pk=pk)
    shown = {"site": site, "plants": drawn_plants(site), "cabinet": CABINET, "wet": WET_CLASS_2}
    return render(request, "jobs/drawings.html", shown)


@gzip_page
@require_safe
@open_to(*STAFF)
def plant_drawing(request: Request, pk: int, kind: str, shape: str) -> HttpResponse:
    controller = visible_or_404(Controller.objects.select_related("site"), request.user, pk=pk)
    return svg_response(DRAWINGS[kind](drawn_plant(controller), WIDTHS[shape]))
