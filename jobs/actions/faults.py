"""A fault's life: found, repaired or dismissed. It is never deleted."""

import datetime as dt
import uuid as uuids
from collections.abc import Iterable

from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import UploadedFile
from django.db import transaction
from django.utils import timezone

from jobs.models import Fault, Visit
from sites.actions.audit import record
from sites.actions.photos import store_photo
from sites.models import Controller, Site, User, Valve, WaterSupply, Zone

Place = Valve | Zone | Controller | WaterSupply
PLACE_FIELDS: dict[type, str] = {Valve: "valve", Zone: "zone", Controller: "controller", WaterSupply: "supply"}


def _site_id(place: Place) -> int:
    return place.controller.site_id if isinstance(place, Valve) else place.site_id


@transaction.atomic
def record_fault(
    *,
    site: Site,
    kind: str,
    severity: str,
    by: User | None,
    place: Place | None = None,
    description: str = "",
    part_needed: str = "",
    visit: Visit | None = None,
    repair_note: str = "",
    uuid: uuids.UUID | None = None,
    found_at: dt.datetime | None = None,
    uploads: Iterable[UploadedFile] = (),
) -> tuple[Fault, list[str]]:
    """Write down what is wrong and where; with `repair_note` it was repaired on the spot.

    The same uuid again adds neither a fault nor pictures. Returns the fault and why pictures were refused, a
    sentence each. ValidationError if `place` or `visit` belongs to another site or the uuid to another site's.
    """
    if place is not None and _site_id(place) != site.pk:
        raise ValidationError({"place": "This stands at another site."})
    if visit is not None and visit.site_id != site.pk:
        raise ValidationError("This visit belongs to another site.")
    now = found_at or timezone.now()
    repaired = bool(repair_note.strip())
    fault, created = Fault.objects.get_or_create(
        uuid=uuid or uuids.uuid4(),
        defaults={
            "site": site,
            "found_on_visit": visit,
            **({PLACE_FIELDS[type(place)]: place} if place else {}),
            "kind": kind,
            "severity": severity,
            "description": description,
            "part_needed": part_needed,
            "found_at": now,
            "found_by": by,
            "state": Fault.State.REPAIRED if repaired else Fault.State.OPEN,
            "repaired_at": now if repaired else None,
            "repaired_on_visit": visit if repaired else None,
            "repair_note": repair_note.strip(),
        },
    )
    if fault.site_id != site.pk:
        raise ValidationError("This form was used before at another site. Open it again.")
    if not created:
        return fault, []
    record(by=by, verb="fault recorded", subject=fault, kind=kind, severity=severity, repaired=repaired)
    return fault, add_photos(fault=fault, uploads=uploads, by=by, taken_at=now)


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
