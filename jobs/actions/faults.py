"""A fault's life: found, repaired or dismissed. It is never deleted."""

import datetime as dt
from collections.abc import Iterable

from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.utils import timezone

from jobs.models import Fault, Visit
from sites.actions.audit import record
from sites.actions.photos import store_photo
from sites.models import Controller, User, Valve, WaterSupply, Zone

Place = Valve | Zone | Controller | WaterSupply
PLACE_FIELDS: dict[type, str] = {Valve: "valve", Zone: "zone", Controller: "controller", WaterSupply: "supply"}


def at_place(place: Place | None) -> dict[str, Place]:
    """The place as the field of a fault that names it."""
    return {PLACE_FIELDS[type(place)]: place} if place else {}


@transaction.atomic
def record_fault(*, fault: Fault, by: User | None, uploads: Iterable[UploadedFile] = ()) -> tuple[Fault, list[str]]:
    """Keep an unsaved fault: what is wrong and where; one with `repair_note` was repaired on the spot.

    The same uuid again adds neither a fault nor pictures. Without `found_at` it was found now. Returns the fault and
    why pictures were refused, a sentence each. ValidationError if its place or visit belongs to another site or the
    uuid to another site's.
    """
    _check_site(fault)
    fault.found_by, fault.found_at = by, fault.found_at or timezone.now()
    fault.repair_note = fault.repair_note.strip()
    repaired = bool(fault.repair_note)
    if repaired:
        fault.state, fault.repaired_at, fault.repaired_on_visit = (
            Fault.State.REPAIRED,
            fault.found_at,
            fault.found_on_visit,
        )
    values = {field.name: getattr(fault, field.name) for field in Fault._meta.concrete_fields}
    del values["id"]
    kept, created = Fault.objects.get_or_create(uuid=values.pop("uuid"), defaults=values)
    if kept.site_id != fault.site_id:
        raise ValidationError("This form was already sent for another site. Nothing was saved; open the form again.")
    if not created:
        return kept, []
    record(by=by, verb="fault recorded", subject=kept, kind=kept.kind, severity=kept.severity, repaired=repaired)
    return kept, add_photos(fault=kept, uploads=uploads, by=by, taken_at=kept.found_at)


def _check_site(fault: Fault) -> None:
    for name in PLACE_FIELDS.values():
        place = getattr(fault, name)
        if place is not None and (place.controller if name == "valve" else place).site_id != fault.site_id:
            raise ValidationError({"place": "This belongs to another site."})
    if fault.found_on_visit is not None and fault.found_on_visit.site_id != fault.site_id:
        raise ValidationError("This visit belongs to another site.")


@transaction.atomic
def add_photos(
    *, fault: Fault, uploads: Iterable[UploadedFile], by: User | None, taken_at: dt.datetime | None = None
) -> list[str]:
    """Keep each picture that can be used; returns why the others were refused, a sentence each.

    One bad file costs neither the fault nor the other pictures.
    """
    refused = []
    for upload in uploads:
        try:
            with transaction.atomic():
                photo = store_photo(
                    site=fault.site,
                    upload=upload,
                    caption=fault.get_kind_display(),
                    taken_at=taken_at or timezone.now(),
                    by=by,
                )
                fault.photos.add(photo)
                record(by=by, verb="photo added", subject=fault, photo=photo.pk)
        except ValidationError as error:
            refused.append(f"{upload.name}: {' '.join(error.messages)}")
    return refused


@transaction.atomic
def repair_fault(
    *, fault: Fault, note: str, by: User | None, visit: Visit | None = None, repaired_at: dt.datetime | None = None
) -> Fault:
    """Mark an open fault repaired, with what was done. Repeating it on a repaired fault changes nothing."""
    fault = Fault.objects.select_for_update().get(pk=fault.pk)
    if fault.state == Fault.State.REPAIRED:
        return fault
    _close(fault, Fault.State.REPAIRED, note, "Say what was done.")
    fault.repaired_at = repaired_at or timezone.now()
    fault.repaired_on_visit = visit
    fault.save(update_fields=["state", "repair_note", "repaired_at", "repaired_on_visit"])
    record(by=by, verb="fault repaired", subject=fault, note=fault.repair_note)
    return fault


@transaction.atomic
def dismiss_fault(*, fault: Fault, reason: str, by: User | None) -> Fault:
    """Close an open fault that needs no repair, with the reason. Repeating it changes nothing."""
    fault = Fault.objects.select_for_update().get(pk=fault.pk)
    if fault.state == Fault.State.DISMISSED:
        return fault
    _close(fault, Fault.State.DISMISSED, reason, "Say why it needs no repair.")
    fault.save(update_fields=["state", "repair_note"])
    record(by=by, verb="fault dismissed", subject=fault, reason=fault.repair_note)
    return fault


def _close(fault: Fault, state: str, words: str, if_missing: str) -> None:
    if fault.state != Fault.State.OPEN:
        raise ValidationError(f"This fault is already {fault.get_state_display()}.")
    if not words.strip():
        raise ValidationError({"note": if_missing})
    fault.state = state
    fault.repair_note = words.strip()
