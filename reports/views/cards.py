"""Cards for the door of a controller: what is set, and which wire goes where; a one-off run to follow at it."""

import zoneinfo

from django.http import Http404, HttpResponse
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from reports.documents.controller_card import controller_card_pdf
from reports.documents.one_off_run import one_off_run_pdf
from reports.documents.wiring_card import wiring_card_pdf
from reports.queries.controller_card import controller_card_data, wiring_card_data
from reports.queries.one_off_run import one_off_run_data
from reports.views.documents import pdf_response
from scheduling.forms.one_off_run import OneOffRunForm
from scheduling.queries.one_off_run import one_off_run
from sites.access import STAFF, Request, open_to, visible_or_404
from sites.models import Controller


def _controller(request: Request, pk: int) -> Controller:
    return visible_or_404(Controller.objects.select_related("site"), request.user, pk=pk)


@require_safe
@open_to(*STAFF)
def controller_card(request: Request, pk: int) -> HttpResponse:
    controller = _controller(request, pk)
    pdf = controller_card_pdf(controller_card_data(controller))
    return pdf_response(pdf, f"controller-card-{slugify(str(controller.site))}-{slugify(str(controller))}")


@require_safe
@open_to(*STAFF)
def wiring_card(request: Request, pk: int) -> HttpResponse:
    controller = _controller(request, pk)
    pdf = wiring_card_pdf(wiring_card_data(controller, timezone.localdate()))
    return pdf_response(pdf, f"wiring-card-{slugify(str(controller.site))}-{slugify(str(controller))}")


@require_safe
@open_to(*STAFF)
def one_off_run_sheet(request: Request, pk: int) -> HttpResponse:
    """The run that the page of one-off runs planned, from the same address line."""
    controller = _controller(request, pk)
    site = controller.site
    form = OneOffRunForm(
        request.GET, controller=controller, now=timezone.localtime(timezone=zoneinfo.ZoneInfo(site.time_zone))
    )
    if not form.is_valid():
        raise Http404
    run = one_off_run(controller, form.steps(), form.starts_at(), form.title())
    pdf = one_off_run_pdf(one_off_run_data(run, site, form.starts_at(), form.title()))
    return pdf_response(
        pdf, f"one-off-run-{slugify(str(site))}-{slugify(str(controller))}-{form.starts_at():%Y-%m-%d}"
    )
