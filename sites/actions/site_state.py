"""A site's water turned on or off, as a visit found it or as the office was told."""

import datetime as dt
import uuid as uuids

from django.db import transaction

from sites.actions.audit import record
from sites.models import Site, StateChange, User


@transaction.atomic
def change_state(
    *, site: Site, state: str, on: dt.date, reason: str, by: User | None, visit_uuid: uuids.UUID | None = None
) -> StateChange:
    """Record that the site is in this state from that day on. The same visit records a state once; a second time
    corrects the day."""
    change = StateChange(site=site, state=state, changed_on=on, reason=reason, recorded_by=by, visit_uuid=visit_uuid)
    if visit_uuid is not None:
        before = StateChange.objects.filter(visit_uuid=visit_uuid, state=state).first()
        if before is not None and before.changed_on == on:
            return before
        if before is not None:
            change.pk, change._state.adding, change.recorded_at = before.pk, False, before.recorded_at
    change.full_clean()
    change.save()
    record(by=by, verb="state changed", subject=site, state=state, on=on.isoformat(), reason=reason)
    return change


@transaction.atomic
def withdraw(*, change: StateChange, by: User) -> None:
    """Drop a change that was recorded by mistake; what stood before it counts again."""
    record(
        by=by,
        verb="state change withdrawn",
        subject=change.site,
        state=change.state,
        on=change.changed_on.isoformat(),
        reason=change.reason,
    )
    change.delete()
