"""Apply one record of a phone through the same actions as the pages, unless something since speaks against it."""

import datetime as dt
from collections.abc import Callable
from typing import Any

from django.core.exceptions import ValidationError

from jobs.actions.checklists import answer_step
from jobs.actions.faults import at_place, record_fault, repair_fault
from jobs.actions.field import VisitEnd, finish_visit, record_measurement, start_visit
from jobs.actions.inbox_photos import attach_waiting
from jobs.core.field_records import FieldRecord
from jobs.models import ChecklistAnswer, ChecklistItem, Fault, InboxRecord, ValveMeasurement, Visit
from sites.actions.audit import record as audit
from sites.models import Controller, User, Valve, WaterSupply, Zone

PLACES = {"valve": Valve, "zone": Zone, "controller": Controller, "supply": WaterSupply}
DECIDED = "Entered by the office from the phone's record."


class NeedsPerson(ValidationError):
    """Nothing is wrong with the record, but someone must choose."""


def apply_data(*, entry: InboxRecord, read: FieldRecord, by: User, decided_by: User | None = None) -> None:
    """Do what the record says, in its author's name, at the time it happened.

    With `decided_by` a person has chosen: what others did since no longer speaks against it, the rules still do.
    NeedsPerson or ValidationError with words for the person otherwise.
    """
    visit = Visit.objects.select_for_update().filter(pk=entry.visit_id).first() if entry.visit_id else None
    if visit is None:
        raise NeedsPerson("This visit is not recorded here.")
    if decided_by is None:
        _check_still_theirs(visit, by)
    APPLY[read.kind](visit, entry, read.data, by, decided_by)


def _check_still_theirs(visit: Visit, by: User) -> None:
    if visit.state == Visit.State.CANCELLED:
        raise NeedsPerson("The office has cancelled this visit since.")
    if not by.is_office and visit.technician_id != by.pk:
        now_with = visit.technician or "nobody"
        raise NeedsPerson(f"This visit is now with {now_with}.")


def _start(visit: Visit, entry: InboxRecord, data: dict, by: User, decided_by: User | None) -> None:
    if visit.state == Visit.State.FINISHED and decided_by is None:
        raise NeedsPerson("The visit has been finished since.")
    start_visit(visit=visit, by=by, started_at=entry.happened_at)


def _answer(visit: Visit, entry: InboxRecord, data: dict, by: User, decided_by: User | None) -> None:
    item = _item_of(visit, data["item"])
    if item is None:
        raise NeedsPerson("This step is not on the visit's checklist.")
    new = {name: data[name] for name in ("done", "number", "text")}
    if decided_by is None:
        _check_step_as_seen(visit, item, new, data["seen"])
    answer_step(visit=visit, item=item, by=by, answered_at=entry.happened_at, late=decided_by is not None, **new)


def _item_of(visit: Visit, item_pk: int) -> ChecklistItem | None:
    """The step on the visit's own checklist; a phone that left before the office's change names it by an older
    version, where the same key is the same step."""
    known = ChecklistItem.objects.filter(pk=item_pk, template__kind=visit.kind).first()
    return known and ChecklistItem.objects.filter(template_id=visit.checklist_id, key=known.key).first()


def _check_step_as_seen(visit: Visit, item: ChecklistItem, new: dict, seen: dict | None) -> None:
    """Someone else's other answer, which this phone had not seen, is not written over."""
    answer = ChecklistAnswer.objects.select_related("answered_by").filter(visit=visit, item=item).first()
    if answer is None:
        return
    here = {"done": answer.done, "number": answer.number, "text": answer.text}
    if here in (new, seen):
        return
    raise NeedsPerson(f"{answer.answered_by or 'Someone'} has answered this step differently since.")


def _measure(visit: Visit, entry: InboxRecord, data: dict, by: User, decided_by: User | None) -> None:
    valve = Valve.objects.select_related("controller").filter(pk=data["valve"]).first()
    if valve is None:
        raise NeedsPerson("This valve is not in the register any more.")
    if decided_by is None:
        _check_measured_as_seen(visit, valve, data["seen"])
    record_measurement(
        visit=visit,
        valve=valve,
        values=data["values"],
        by=by,
        uuid=entry.uuid,
        measured_at=entry.happened_at,
    )


def _check_measured_as_seen(visit: Visit, valve: Valve, seen: list) -> None:
    others = ValveMeasurement.objects.filter(visit=visit, valve=valve).exclude(uuid__in=seen)
    other = others.select_related("measured_by").first()
    if other is not None:
        raise NeedsPerson(f"{other.measured_by or 'Someone'} measured this valve on this visit, too. Both are kept.")


def _fault(visit: Visit, entry: InboxRecord, data: dict, by: User, decided_by: User | None) -> None:
    given = {name: data[name] for name in ("kind", "severity", "description", "part_needed", "repair_note")}
    where = at_place(_place(data["place"]))
    found_at = entry.happened_at or entry.received_at
    found = Fault(uuid=entry.uuid, site=visit.site, found_on_visit=visit, found_at=found_at, **given, **where)
    fault, _ = record_fault(fault=found, by=by)
    attach_waiting(fault=fault)


def _repair(visit: Visit, entry: InboxRecord, data: dict, by: User, decided_by: User | None) -> None:
    fault = Fault.objects.filter(pk=data["fault"], site_id=visit.site_id).first()
    if fault is None:
        raise NeedsPerson("This fault is not recorded at this site.")
    if fault.state != Fault.State.OPEN:
        raise NeedsPerson(f"This fault is already {fault.get_state_display()}: {fault.repair_note}")
    repair_fault(fault=fault, note=data["note"], by=by, visit=visit, repaired_at=entry.happened_at)


def _place(word: str) -> Any:
    """The row of "valve-12"; None for the site in general."""
    if not word:
        return None
    name, _, pk = word.partition("-")
    model = PLACES.get(name)
    row = (
        model._default_manager.filter(pk=int(pk)).first()
        if model and pk.isascii() and pk.isdigit() and len(pk) < 18
        else None
    )
    if row is None:
        raise NeedsPerson("The place of this fault is not in the register any more.")
    return row


def _finish(visit: Visit, entry: InboxRecord, data: dict, by: User, decided_by: User | None) -> None:
    if visit.state == Visit.State.FINISHED:
        if decided_by is None:
            raise NeedsPerson("The visit has been finished since.")
        _add_to_finished(visit, data, decided_by)
        return
    given = {name: data[name] for name in ("notes", "signed_by", "accept_reason", "times_reason")}
    happened_at = entry.happened_at or entry.received_at
    end = VisitEnd(
        started_at=_not_after(data["started_at"], entry),
        finished_at=_not_after(data["finished_at"], entry),
        at=max(happened_at, visit.started_at or happened_at),
        set_at_controllers=Controller.objects.filter(pk__in=data["set_at"], site_id=visit.site_id),
        **given,
    )
    finish_visit(visit=visit, end=end, by=by)


def _not_after(typed: dt.datetime | None, entry: InboxRecord) -> dt.datetime | None:
    """A time typed by hand is the person's own; only a future one, which a wrong phone clock makes, is cut."""
    return None if typed is None else min(typed, entry.received_at)


def _add_to_finished(visit: Visit, data: dict, by: User) -> None:
    """The office takes the words of a second finish over; the recorded times stay."""
    visit.technician_notes = "\n".join(part for part in (visit.technician_notes, DECIDED, data["notes"]) if part)
    visit.signed_by = visit.signed_by or data["signed_by"]
    visit.save(update_fields=["technician_notes", "signed_by"])
    audit(by=by, verb="phone's notes added to finished visit", subject=visit)


APPLY: dict[str, Callable] = {
    "visit_started": _start,
    "checklist_answer": _answer,
    "measurement": _measure,
    "fault": _fault,
    "fault_repaired": _repair,
    "visit_finished": _finish,
}
