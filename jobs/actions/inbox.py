"""The phones' inbox: keep every record as it came, apply each once and in order, let a person decide the rest."""

import datetime as dt
import hashlib
import json
import uuid as uuids
from dataclasses import dataclass
from typing import Any

import structlog
from django.core.exceptions import ValidationError
from django.db import IntegrityError, OperationalError, transaction
from django.utils import timezone

from jobs.actions.inbox_apply import NeedsPerson, apply_data
from jobs.core.field_records import FieldRecord, Words, clock_offset_s, parse_body, put_right, read_record
from jobs.models import Fault, FieldDevice, InboxRecord, TechnicianProfile, Visit
from sites.actions.audit import record as audit
from sites.models import Role, User

log = structlog.get_logger("rillbook.inbox")

WORDS = Words(frozenset(Fault.Kind.values), frozenset(Fault.Severity.values))
State = InboxRecord.State
LARGEST_BODY_BYTES = 64 * 1024
OTHER_CONTENT = "This id was sent before with other content. Both are kept."
COULD_NOT_APPLY = "It could not be applied and is kept: try again, or enter it by hand. See the server's log."


@dataclass(frozen=True)
class Receipt:
    """What the phone is told: `fresh` the first time, `clash` for a known id with other content."""

    record: InboxRecord
    fresh: bool

    @property
    def clash(self) -> bool:
        return self.record.twin_of_id is not None

    @property
    def refused(self) -> bool:
        return bool(self.record.errors)


def may_send(user: User) -> bool:
    """Staff, and people who were: their records are kept, though not applied."""
    return has_access(user) or (
        TechnicianProfile.objects.filter(user=user).exists() or Visit.objects.filter(technician=user).exists()
    )


def has_access(user: User) -> bool:
    return user.is_active and user.role in (Role.OWNER, Role.OFFICE, Role.TECHNICIAN)


def receive(
    *,
    uuid: uuids.UUID,
    body: bytes,
    by: User,
    received_at: dt.datetime,
    phone_now: dt.datetime | None = None,
    imported_by: User | None = None,
) -> Receipt:
    """Keep one record and apply what is its turn. The same record again changes nothing.

    `phone_now` is the phone's clock when it sent; its difference from `received_at` puts the record's times right.
    Never raises for what a phone may send: an unreadable record is kept as refused.
    """
    for attempt in (1, 2):
        try:
            receipt = _keep(uuid, body, by, received_at, phone_now, imported_by)
            break
        except IntegrityError:  # the same id came in beside us: the second look finds it
            if attempt == 2:
                raise
    if receipt.record.device is not None:
        apply_in_order(device=receipt.record.device)
        receipt.record.refresh_from_db()
    return receipt


@transaction.atomic
def _keep(
    uuid: uuids.UUID,
    body: bytes,
    by: User,
    received_at: dt.datetime,
    phone_now: dt.datetime | None,
    imported_by: User | None,
) -> Receipt:
    raw, text = _parsed(body)
    read = read_record(raw, WORDS)
    offset_s = clock_offset_s(phone_now, received_at)
    device = _device(read, by, received_at, offset_s)
    digest = hashlib.sha256(f"{by.pk}\n{text}".encode()).hexdigest()
    known = list(InboxRecord.objects.filter(uuid=uuid).select_related("device"))
    same = next((row for row in known if row.digest == digest), None)
    if same is not None:
        return Receipt(same, fresh=False)
    entry = InboxRecord(
        uuid=uuid,
        digest=digest,
        twin_of=known[0] if known else None,
        device=device,
        sequence=read.sequence,
        schema=read.schema,
        kind=read.kind,
        visit=Visit.objects.filter(uuid=read.visit).first() if read.visit else None,
        body=text,
        phone_time=read.recorded_at,
        clock_offset_s=offset_s,
        happened_at=put_right(read.recorded_at, offset_s, received_at) if read.recorded_at else None,
        received_at=received_at,
        sender=by,
        imported_by=imported_by,
        errors=read.errors,
    )
    entry.state, entry.reason = _first_state(read, by, bool(known))
    entry.save()
    return Receipt(entry, fresh=True)


def _parsed(body: bytes) -> tuple[Any, str]:
    """The JSON value, None if there is none, and the one text that equal contents share."""
    try:
        raw = parse_body(body)
        text = json.dumps(raw, sort_keys=True, separators=(",", ":"))
    except ValueError:
        return None, body.decode("utf-8", "replace").replace("\x00", "\ufffd")
    return raw, text


def _device(read: FieldRecord, by: User, now: dt.datetime, offset_s: int) -> FieldDevice | None:
    """The sender's device, locked until the record is kept; None if the record does not say."""
    if read.device is None:
        return None
    FieldDevice.objects.get_or_create(uuid=read.device, user=by, defaults={"last_seen_at": now})
    device = FieldDevice.objects.select_for_update().get(uuid=read.device, user=by)
    device.last_seen_at, device.clock_offset_s = now, offset_s
    device.save(update_fields=["last_seen_at", "clock_offset_s"])
    return device


def _first_state(read: FieldRecord, by: User, known: bool) -> tuple[str, str]:
    if known:
        return State.FOR_PERSON, OTHER_CONTENT
    if not has_access(by):
        return State.HELD, "The sender's access was withdrawn."
    if read.schema is not None and not read.of_known_schema:
        return State.FOR_PERSON, f"Written by a page of version {read.schema}, which is not known here."
    if read.errors:
        return State.REFUSED, "Some fields cannot be read."
    return State.WAITING, ""


def apply_in_order(*, device: FieldDevice) -> None:
    """Apply the device's records from its next number on, each in its own transaction, up to the first gap."""
    while _apply_next(device.pk):
        pass


@transaction.atomic
def _apply_next(device_pk: int) -> bool:
    """Apply one waiting record whose turn it is, or step over a number that is settled; False if none is there."""
    device = FieldDevice.objects.select_for_update().get(pk=device_pk)
    due = device.records.filter(sequence__lte=device.next_sequence, state=State.WAITING, twin_of=None)
    entry = due.order_by("sequence", "pk").first()
    if entry is not None:
        _settle(entry)
        return True
    if not device.records.filter(sequence=device.next_sequence).exists():
        return False
    device.next_sequence += 1
    device.save(update_fields=["next_sequence"])
    return True


def _settle(entry: InboxRecord) -> None:
    """Apply a record; whatever stands against it becomes words for a person, never a lost record."""
    try:
        with transaction.atomic():
            apply_data(entry=entry, read=read_again(entry), by=entry.sender)
        entry.state, entry.reason = State.APPLIED, ""
    except OperationalError:
        raise  # the database is away: the phone tries again
    except (NeedsPerson, ValidationError) as error:
        entry.state, entry.reason = State.FOR_PERSON, " ".join(error.messages)
    except Exception:
        log.exception("inbox record could not be applied", record=entry.pk)
        entry.state, entry.reason = State.FOR_PERSON, COULD_NOT_APPLY
    entry.save(update_fields=["state", "reason"])


def read_again(entry: InboxRecord) -> FieldRecord:
    return read_record(_parsed(entry.body.encode())[0], WORDS)


def apply_waiting() -> int:
    """Apply what is due on every device: finishes what a killed process left. Returns how many records."""
    waiting = InboxRecord.objects.filter(state=State.WAITING)
    before = waiting.count()
    for device in FieldDevice.objects.filter(records__state=State.WAITING).distinct():
        apply_in_order(device=device)
    return before - waiting.count()


@transaction.atomic
def decide(*, entry: InboxRecord, apply: bool, by: User) -> InboxRecord:
    """Apply a kept record although something stood against it, or set it aside for good. It is never deleted.

    Deciding on a record that waits for an earlier one gives the earlier one up: those after it go on by themselves.
    ValidationError if it is settled already, or what it asks for still cannot be done.
    """
    entry = InboxRecord.objects.select_for_update().get(pk=entry.pk)
    if entry.state not in InboxRecord.TO_DECIDE:
        raise ValidationError(f"This record is {entry.get_state_display()} already.")
    if apply:
        read = read_again(entry)
        if read.errors or not read.of_known_schema:
            raise ValidationError(
                "This record cannot be read. Enter by hand what it says, then choose “Do not apply”."
            )
        apply_data(entry=entry, read=read, by=entry.sender, decided_by=by)
    waited = entry.state == State.WAITING
    entry.state = State.APPLIED if apply else State.NOT_APPLIED
    entry.decided_by, entry.decided_at = by, timezone.now()
    entry.save(update_fields=["state", "decided_by", "decided_at"])
    audit(by=by, verb=f"inbox record {entry.get_state_display()}", subject=entry, uuid=str(entry.uuid))
    if waited and entry.device is not None:
        FieldDevice.objects.filter(pk=entry.device.pk, next_sequence__lt=entry.sequence).update(
            next_sequence=entry.sequence
        )
        apply_in_order(device=entry.device)
    return entry


def apply_all(*, visit: Visit, by: User) -> tuple[int, list[str]]:
    """Apply every kept record of a visit in the order it was entered; returns how many, and why others were not.

    Each stands for itself: one that cannot be applied stays for a person and holds up no other.
    """
    entries = InboxRecord.objects.filter(visit=visit, state__in=InboxRecord.TO_DECIDE)
    applied, problems = 0, []
    for entry in entries.order_by("happened_at", "pk"):
        try:
            with transaction.atomic():
                decide(entry=entry, apply=True, by=by)
        except ValidationError as error:
            problems.append(f"{entry.kind.replace('_', ' ')}: {' '.join(error.messages)}")
        else:
            applied += 1
    return applied, problems


@dataclass(frozen=True)
class Imported:
    new: int
    known: int
    problems: list[str]


def import_export(*, text: bytes, by: User) -> Imported:
    """Take in what a phone exported as a file: the same as if the phone had sent it, at most once.

    ValidationError if the file is no such export. A record that cannot be read is kept as refused.
    """
    try:
        parcel = parse_body(text)
        sender = User.objects.get(pk=int(parcel["user"]["id"]))
        entries = [(uuids.UUID(entry["id"]), entry["body"]) for entry in parcel["records"]]
        phone_now = dt.datetime.fromisoformat(parcel["exported_at"])
    except (ValueError, TypeError, KeyError, OverflowError, User.DoesNotExist) as error:
        raise ValidationError("This is not a file that the field page exported.") from error
    if not may_send(sender):
        raise ValidationError("The person who exported this file never worked in the field here.")
    new, known, problems = 0, 0, []
    for uuid, body in entries:
        # The phone's clock at export says nothing about now: times stay as the phone had them.
        receipt = receive(
            uuid=uuid,
            body=json.dumps(body).encode(),
            by=sender,
            received_at=timezone.now(),
            imported_by=by,
        )
        new, known = new + receipt.fresh, known + (not receipt.fresh)
        if receipt.clash or receipt.record.state != State.APPLIED:
            problems.append(f"{receipt.record}: {receipt.record.get_state_display()}. {receipt.record.reason}")
    audit(by=by, verb="field records imported", subject=sender, new=new, exported_at=phone_now.isoformat())
    return Imported(new, known, problems)
