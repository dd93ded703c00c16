"""What a technician does on a visit: start it, measure valves, finish it."""

import datetime as dt
import uuid as uuids
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from jobs.actions.checklists import current_checklist
from jobs.actions.site_state import record_finished, record_under_way
from jobs.core.checklists import AIR_STILL_ON
from jobs.models import ValveMeasurement, Visit
from jobs.queries.field import air_still_connected, missing_at_finish
from scheduling.actions.schedules import record_applied
from scheduling.queries.to_set import schedule_to_set_at
from sites.actions.audit import record
from sites.models import Controller, User, Valve

UNDER_WAY = (Visit.State.STARTED, Visit.State.FINISHED)


@transaction.atomic
def start_visit(*, visit: Visit, by: User | None, started_at: dt.datetime | None = None) -> Visit:
    """Begin the visit with the current checklist of its kind. Starting it again changes nothing.

    ValidationError if the visit was cancelled.
    """
    visit = Visit.objects.select_for_update().get(pk=visit.pk)
    if visit.state == Visit.State.CANCELLED:
        raise ValidationError("This visit was cancelled. Ask the office.")
    if visit.state in UNDER_WAY:
        return visit
    visit.state = Visit.State.STARTED
    visit.started_at = started_at or timezone.now()
    if visit.checklist is None:
        visit.checklist = current_checklist(visit.kind)
    visit.save(update_fields=["state", "started_at", "checklist"])
    record_under_way(visit=visit, by=by)
    record(by=by, verb="visit started", subject=visit)
    return visit


@transaction.atomic
def record_measurement(
    *,
    visit: Visit,
    valve: Valve,
    values: Mapping[str, Any],
    by: User | None,
    uuid: uuids.UUID | None = None,
    measured_at: dt.datetime | None = None,
) -> ValveMeasurement:
    """Add one row of figures (SI, field names of `ValveMeasurement`) for a valve. The same uuid again adds nothing.

    Also taken after the visit was finished, so that late figures are not lost. ValidationError if the visit has not
    started, the valve stands elsewhere, or the uuid belongs to another valve or visit.
    """
    if visit.state not in UNDER_WAY:
        raise ValidationError("Start the visit first.")
    if valve.controller.site_id != visit.site_id:
        raise ValidationError("This valve is at another site.")
    measurement, created = ValveMeasurement.objects.get_or_create(
        uuid=uuid or uuids.uuid4(),
        defaults={
            **values,
            "visit": visit,
            "valve": valve,
            "measured_at": measured_at or timezone.now(),
            "measured_by": by,
        },
    )
    if (measurement.visit_id, measurement.valve_id) != (visit.pk, valve.pk):
        raise ValidationError(
            "This form was already sent for another valve. Nothing was saved; open the valve again."
        )
    if created:
        record(by=by, verb="valve measured", subject=measurement, valve=valve.pk, visit=visit.pk)
    return measurement


@dataclass(frozen=True)
class VisitEnd:
    """What is said when a visit is finished.

    `at` is when the person pressed finish, if that was earlier than now. `started_at` and `finished_at` are given
    only where the person corrected them, with `times_reason`. Steps not done and valves not measured need
    `accept_reason`. `set_at_controllers`: where the published schedule was set by hand.
    """

    started_at: dt.datetime | None = None
    finished_at: dt.datetime | None = None
    times_reason: str = ""
    notes: str = ""
    accept_reason: str = ""
    signed_by: str = ""
    set_at_controllers: Iterable[Controller] = ()
    at: dt.datetime | None = None

    @property
    def corrected(self) -> bool:
        return bool(self.started_at or self.finished_at)


@transaction.atomic
def finish_visit(*, visit: Visit, by: User | None, end: VisitEnd) -> Visit:
    """Close a started visit. Finishing twice changes nothing.

    ValidationError (by field) if the visit is not started, times are impossible or a reason is missing.
    """
    visit = Visit.objects.select_for_update().get(pk=visit.pk)
    if visit.state == Visit.State.FINISHED:
        return visit
    if visit.state != Visit.State.STARTED:
        raise ValidationError("Start the visit before you finish it.")
    missing = missing_at_finish(visit)
    if air_still_connected(visit):
        # No reason outweighs this one: a line left under pressure hurts the next person who opens it.
        raise ValidationError(AIR_STILL_ON)
    now, recorded_start = timezone.now(), visit.started_at
    assert recorded_start
    visit.started_at = end.started_at or recorded_start
    visit.finished_at = end.finished_at or end.at or now
    _check_finish(visit, end, missing, now)
    visit.state = Visit.State.FINISHED
    visit.signed_by = end.signed_by
    visit.technician_notes = _notes(visit.technician_notes, end, missing)
    visit.save(update_fields=["started_at", "finished_at", "state", "signed_by", "technician_notes"])
    record_finished(visit=visit, by=by)
    _record_schedule_set(visit, end.set_at_controllers, by)
    record(
        by=by,
        verb="visit finished",
        subject=visit,
        started_at=visit.started_at.isoformat(),
        finished_at=visit.finished_at.isoformat(),
        start_recorded_at=recorded_start.isoformat(),
        times_reason=end.times_reason,
        accepted_without=missing,
    )
    return visit


def _check_finish(visit: Visit, end: VisitEnd, missing: list[str], now: dt.datetime) -> None:
    problems: dict[str, str] = {}
    assert visit.started_at and visit.finished_at
    if visit.started_at > now:
        problems["started_at"] = "The start lies in the future."
    elif visit.finished_at > now:
        problems["finished_at"] = "The end lies in the future."
    elif visit.finished_at < visit.started_at:
        problems["finished_at"] = "The visit must finish after it starts."
    if end.corrected and not end.times_reason.strip():
        problems["times_reason"] = "Say why the times are changed."
    if missing and not end.accept_reason.strip():
        problems["accept_reason"] = "Say why these are left out."
    if problems:
        raise ValidationError(problems)


def _notes(earlier: str, end: VisitEnd, missing: list[str]) -> str:
    parts = [earlier.strip(), end.notes.strip()]
    if missing:
        parts.append(f"Left out: {'; '.join(missing)}. Reason: {end.accept_reason.strip()}")
    if end.corrected and end.times_reason:
        parts.append(f"Times on site corrected. Reason: {end.times_reason.strip()}")
    return "\n".join(part for part in parts if part)


def _record_schedule_set(visit: Visit, controllers: Iterable[Controller], by: User | None) -> None:
    applied_on = timezone.localdate(visit.finished_at, timezone=ZoneInfo(visit.site.time_zone))
    for controller in controllers:
        # Asked again for each: a draft that stood on the sheet is published by the first.
        schedule = schedule_to_set_at(visit.site_id)
        if schedule is not None:
            record_applied(schedule=schedule, controller=controller, applied_on=applied_on, by=by)
