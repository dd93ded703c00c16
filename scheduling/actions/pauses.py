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
    pauses = []
    with transaction.atomic():
        for site in sites:
            row, created = WateringPause.objects.get_or_create(
                site=site, starts_on=starts_on, ends_on=ends_on, defaults={"reason": reason}
            )
            pauses.append(row)
            if created:
                span = {"starts_on": starts_on.isoformat(), "ends_on": ends_on.isoformat()}
                record(by=by, verb="paused watering", subject=site, reason=reason, **span)
    return pauses


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
