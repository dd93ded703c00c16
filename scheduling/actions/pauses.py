"""Watering stopped on purpose, and started again."""

import datetime as dt
from collections.abc import Iterable

from django.db import transaction

from scheduling.actions.errors import ScheduleError
from scheduling.models import WateringPause
from sites.actions.audit import record
from sites.models import Site, User


def pause(
    *, sites: Iterable[Site], starts_on: dt.date, ends_on: dt.date, reason: str, by: User | None
) -> list[WateringPause]:
    """Pause watering at these sites, both days included. The same pause entered twice stays one."""
    if ends_on < starts_on:
        raise ScheduleError("The pause must end on or after the day it starts.")
    sites, span = list(sites), {"starts_on": starts_on, "ends_on": ends_on}
    with transaction.atomic():
        stored = {row.site_id: row for row in WateringPause.objects.filter(site__in=sites, **span)}
        new = [WateringPause(site=site, reason=reason, **span) for site in sites if site.pk not in stored]
        WateringPause.objects.bulk_create(new)
        for row in new:
            days = {name: day.isoformat() for name, day in span.items()}
            record(by=by, verb="paused watering", subject=row.site, reason=reason, **days)
    return [*stored.values(), *new]


def end_pause(*, pause: WateringPause, last_day: dt.date, by: User | None) -> None:
    """Let watering start again after `last_day`; a pause that had not begun by then goes away."""
    with transaction.atomic():
        if last_day < pause.starts_on:
            record(by=by, verb="dropped pause", subject=pause.site, starts_on=pause.starts_on.isoformat())
            pause.delete()
            return
        pause.ends_on = min(pause.ends_on, last_day)
        pause.save(update_fields=["ends_on"])
        record(by=by, verb="ended pause", subject=pause.site, ends_on=pause.ends_on.isoformat())


def end_pauses(*, starts_on: dt.date, ends_on: dt.date, reason: str, last_day: dt.date, by: User | None) -> int:
    """End one pause of many sites, named by its days and reason; returns how many sites."""
    with transaction.atomic():
        rows = WateringPause.objects.filter(starts_on=starts_on, ends_on=ends_on, reason=reason)
        found = list(rows.select_related("site"))
        for row in found:
            end_pause(pause=row, last_day=last_day, by=by)
    return len(found)
