"""Nudges for the worker: each finds its work in the database and may run twice without harm."""

import zoneinfo

from celery import shared_task
from django.utils import timezone

from scheduling.actions.schedules import compute_many
from sites.models import Firm, Site


@shared_task
def compute_all_schedules() -> int:
    """Compute a fresh draft for every site; drafts that a person edited stay. Returns how many were computed."""
    today = timezone.localdate(timezone=zoneinfo.ZoneInfo(Firm.current().time_zone))
    return len(compute_many(sites=Site.objects.current(), today=today, by=None))
