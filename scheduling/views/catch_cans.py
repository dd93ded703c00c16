"""Catch-can tests of a zone: enter one, see what it says, make it the zone's figures."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from scheduling.actions import catch_cans
from scheduling.forms.catch_cans import CatchCanForm
from scheduling.models import CatchCanTest
from scheduling.queries.catch_cans import SOURCE, can_sheet, can_sheets
from sites.access import OFFICE, STAFF, Request, open_to, visible_or_404
from sites.answers import answer_form, typed
from sites.models import Zone


def _zone(request: Request, pk: int) -> Zone:
    return visible_or_404(Zone.objects.select_related("site"), request.user, pk=pk)


def _test(request: Request, pk: int) -> CatchCanTest:
    return visible_or_404(CatchCanTest.objects.select_related("zone__site", "tested_by"), request.user, pk=pk)


@open_to(*STAFF)
def zone_tests(request: Request, pk: int) -> HttpResponse:
    zone = _zone(request, pk)
    return render(
        request, "scheduling/zone_tests.html", {"zone": zone, "site": zone.site, "sheets": can_sheets(zone)}
    )


@open_to(*STAFF)
def test_new(request: Request, pk: int) -> HttpResponse:
    zone = _zone(request, pk)
    row = CatchCanTest(zone=zone)
    form = CatchCanForm(**typed(request), instance=row, initial={"tested_on": timezone.localdate()})
    return answer_form(
        request,
        form,
        title=f"Catch-can test of zone {zone}",
        lead="Equal cans, at least 24 and a multiple of 4, evenly over the whole zone; little wind; one whole run.",
        back_url=reverse("scheduling:zone_tests", args=[zone.pk]),
        done_url=lambda saved: reverse("scheduling:catch_can_test", args=[saved.pk]),
        write=lambda: catch_cans.record_test(test=row, by=request.user),
        template="form_page.html",
    )


@open_to(*STAFF)
def test(request: Request, pk: int) -> HttpResponse:
    row = _test(request, pk)
    shown = {"sheet": can_sheet(row), "zone": row.zone, "site": row.zone.site, "source": SOURCE}
    return render(request, "scheduling/catch_can_test.html", shown)


@open_to(*OFFICE)
@require_POST
def test_take_over(request: Request, pk: int) -> HttpResponse:
    row = _test(request, pk)
    zone = catch_cans.take_over(test=row, by=request.user)
    messages.success(request, f"Zone {zone} has the measured rate and uniformity now. Compute its schedule again.")
    return redirect("scheduling:catch_can_test", row.pk)
