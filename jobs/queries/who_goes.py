"""Whom to send to a site at short notice."""

from collections.abc import Collection

from django.utils import timezone

from jobs.models import Visit
from sites.core import writing


def who_goes(site_ids: Collection[int]) -> dict[int, tuple[str, str]]:
    """By site the technician who is there next, else the one who was there last; and when, in words."""
    today = timezone.localdate()
    rows = Visit.objects.filter(site__in=site_ids, technician__is_active=True).select_related("technician")
    found: dict[int, tuple[str, str]] = {}
    done = rows.filter(state=Visit.State.FINISHED).exclude(finished_at=None).order_by("finished_at")
    for visit in done:
        assert visit.finished_at is not None  # left out above
        found[visit.site_id] = (str(visit.technician), f"was there last on {writing.day(visit.finished_at)}")
    coming = rows.filter(state=Visit.State.PLANNED, planned_on__gte=today).order_by("-planned_on")
    for visit in coming:
        _, on = visit.placed
        found[visit.site_id] = (str(visit.technician), f"is there on {writing.day(on)}")
    return found
