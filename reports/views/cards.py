"""Cards for the door of a controller: what is set, and which wire goes where."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_safe

from reports.documents.controller_card import controller_card_pdf
from reports.documents.wiring_card import wiring_card_pdf
from reports.queries.controller_card import controller_card_data, wiring_card_data
from reports.views.documents import pdf_response
from sites.access import STAFF, open_to, visible_or_404
from sites.models import Controller


def _controller(request: HttpRequest, pk: int) -> Controller:
    return visible_or_404(Controller.objects.select_related("site", "supply__pump"), request.user, pk=pk)


@require_safe
@open_to(*STAFF)
def controller_card(request: HttpRequest, pk: int) -> HttpResponse:
    controller = _controller(request, pk)
    pdf = controller_card_pdf(controller_card_data(controller))
    return pdf_response(pdf, f"controller-card-{slugify(controller.site)}-{slugify(controller)}")


@require_safe
@open_to(*STAFF)
def wiring_card(request: HttpRequest, pk: int) -> HttpResponse:
    controller = _controller(request, pk)
    pdf = wiring_card_pdf(wiring_card_data(controller, timezone.localdate()))
    return pdf_response(pdf, f"wiring-card-{slugify(controller.site)}-{slugify(controller)}")
