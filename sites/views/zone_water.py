"""Water and pressure of a site's zones: what the register's pipes, supply and pump come to."""

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from sites.access import STAFF, Request, open_to, visible_or_404
from sites.core.hydraulics import DESIGN_VELOCITY_M_S, WARN_VELOCITY_M_S
from sites.core.sources import JARRETT_2000
from sites.core.water_page import water_page
from sites.core.zone_water import ASSUMED_VALVE_KPA
from sites.models import Firm, Site
from sites.queries.plant import site_plant


@require_safe
@open_to(*STAFF)
def zone_water(request: Request, pk: int) -> HttpResponse:
    site = visible_or_404(Site.objects.select_related("client"), request.user, pk=pk)
    shown = {
        "site": site,
        "water": water_page(site_plant(site)),
        "currency": Firm.current().currency,
        "design_m_s": DESIGN_VELOCITY_M_S,
        "velocity_source": JARRETT_2000,
        "limit_m_s": WARN_VELOCITY_M_S,
        "assumed_valve_kpa": ASSUMED_VALVE_KPA,
    }
    return render(request, "sites/zone_water.html", shown)
