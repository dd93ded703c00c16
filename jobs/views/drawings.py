"""A site's plant drawn from the register: the page and its pictures."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_safe

from jobs.queries.plant_drawing import told_of
from sites.access import STAFF, Request, open_to, visible_or_404
from sites.core.cautions import CABINET, WET_CLASS_2
from sites.core.drawing import Drawing, svg
from sites.core.terminal_map import power_words, terminal_map, valves_in_words
from sites.core.water_path import water_path, water_way
from sites.models import Controller, Site
from sites.queries.plant import site_plant

DRAWINGS = {"water-path": water_path, "terminals": terminal_map}
WIDTHS = {"wide": 900.0, "narrow": 360.0}


def svg_response(drawing: Drawing) -> HttpResponse:
    """A picture for an <img>; never kept by shared caches."""
    return HttpResponse(svg(drawing), content_type="image/svg+xml", headers={"Cache-Control": "private, no-store"})


@require_safe
@open_to(*STAFF)
def drawings(request: Request, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.select_related("client"), request.user, pk=pk)
    plant, told = site_plant(site), told_of(site)
    drawn = [
        {
            "controller": controller,
            "way": water_way(plant, controller, told),
            "power": power_words(controller),
            "valves": valves_in_words(plant, controller, told),
        }
        for controller in plant.controllers
    ]
    shown = {"site": site, "drawn": drawn, "cabinet": CABINET, "wet": WET_CLASS_2}
    return render(request, "jobs/drawings.html", shown)


@gzip_page
@require_safe
@open_to(*STAFF)
def plant_drawing(request: Request, pk: int, kind: str, shape: str) -> HttpResponse:
    controller = visible_or_404(Controller.objects.select_related("site"), request.user, pk=pk)
    plant = site_plant(controller.site)
    return svg_response(DRAWINGS[kind](plant, plant.the_controller(pk), told_of(controller.site), WIDTHS[shape]))
