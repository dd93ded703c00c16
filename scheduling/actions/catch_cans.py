"""Catch-can tests: kept as they were taken, and taken over into the register when somebody says so."""

from django.db import transaction
from django.utils import timezone

from scheduling.models import CatchCanTest
from scheduling.queries.catch_cans import worked_out
from sites.actions import register
from sites.actions.audit import record
from sites.models import User, Zone


def record_test(*, test: CatchCanTest, by: User) -> CatchCanTest:
    """Keep a test. Raises ValidationError where a figure is outside its limits."""
    test.tested_by = by
    return register.save(instance=test, by=by)


def take_over(*, test: CatchCanTest, by: User) -> Zone:
    """Make the test's rate, uniformity and date the zone's; the two count as measured from then on.

    The cans do not measure the flow: it keeps the origin it had. Doing it twice changes nothing.
    """
    with transaction.atomic():
        zone = Zone.objects.select_for_update(of=("self",)).get(pk=test.zone_id)
        found = worked_out(test)
        if zone.flow_l_min is not None and zone.figures_origin != Zone.Origin.MEASURED and not zone.flow_origin:
            zone.flow_origin = zone.figures_origin
        zone.application_rate_mm_h = round(found.rate_mm_h, 2)
        zone.distribution_uniformity = round(found.du_lq, 3)
        zone.figures_origin, zone.measured_on = Zone.Origin.MEASURED, test.tested_on
        register.save(instance=zone, by=by)
        CatchCanTest.objects.filter(pk=test.pk, taken_over_at=None).update(taken_over_at=timezone.now())
        record(by=by, verb="took over catch-can test", subject=test, site=zone.site_id, zone=zone.pk)
    return zone
