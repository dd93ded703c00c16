"""Pictures from the phones, piece by piece: kept until complete, written again, hung on their fault once."""

import io
from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction

from jobs.models import Fault, InboxRecord, PhotoPiece, PhotoUpload
from sites.actions.audit import record as audit
from sites.actions.photos import LARGEST_BYTES, checked_picture, clean_jpeg, store_photo
from sites.models import User

LARGEST_PIECE_BYTES = 1024 * 1024
UNFINISHED_AT_ONCE = 200  # of one person; more is no day's work

State = PhotoUpload.State


class OtherUpload(Exception):
    """This id belongs to another picture."""


@dataclass(frozen=True)
class PieceReceipt:
    """`next_byte`: where the phone goes on. `fresh`: this piece completed the picture."""

    upload: PhotoUpload
    next_byte: int
    fresh: bool = False

    @property
    def complete(self) -> bool:
        return self.upload.state in (State.WAITING, State.STORED)


@transaction.atomic
def receive_piece(*, upload: PhotoUpload, start: int | None, data: bytes) -> PieceReceipt:
    """Keep a piece of an upload, saved before or not; the last one makes the picture. `start` None only asks where to
    go on.

    A piece that is known, or begins after a gap, adds nothing. Raises OtherUpload if the id was used for another
    picture or by another person, ValidationError with words for a size or picture that is not accepted: the same
    answer every time it is sent.
    """
    total_bytes, by = upload.total_bytes, upload.sender
    if total_bytes > LARGEST_BYTES:
        raise ValidationError(f"The file is larger than {LARGEST_BYTES // 2**20} MB. Send a smaller picture.")
    upload = _kept(upload)
    if upload.state == State.REFUSED:
        return PieceReceipt(upload, 0)
    if upload.state != State.RECEIVING:
        return PieceReceipt(upload, total_bytes)
    have = sum(len(piece.data) for piece in upload.pieces.all())
    if start is not None and start <= have < start + len(data):
        PhotoPiece.objects.create(upload=upload, start=have, data=data[have - start :])
        have = start + len(data)
    if have < total_bytes or start is None:
        return PieceReceipt(upload, have)
    _complete(upload, by)
    return PieceReceipt(upload, have, fresh=True)


def _kept(sent: PhotoUpload) -> PhotoUpload:
    upload = PhotoUpload.objects.select_for_update().filter(uuid=sent.uuid).first()
    if upload is None:
        if PhotoUpload.objects.filter(sender=sent.sender, state=State.RECEIVING).count() >= UNFINISHED_AT_ONCE:
            raise ValidationError("Too many unfinished pictures. Finish sending those first.")
        # The first piece may come twice at once: the later one waits for the row of the earlier.
        words = {
            name: getattr(sent, name) for name in ("record_uuid", "sender", "total_bytes", "caption", "taken_at")
        }
        upload, _ = PhotoUpload.objects.select_for_update().get_or_create(uuid=sent.uuid, defaults=words)
    same = ("record_uuid", "sender_id", "total_bytes")
    if any(getattr(upload, name) != getattr(sent, name) for name in same):
        raise OtherUpload
    return upload


def _complete(upload: PhotoUpload, by: User) -> None:
    """Judge the whole file; hang it on its fault if that is there already."""
    whole = _whole(upload)
    try:
        with transaction.atomic():
            fault = Fault.objects.filter(uuid=upload.record_uuid).first()
            if fault is not None and _of_same_sender(upload):
                _attach(upload, fault, whole)
            else:
                clean_jpeg(checked_picture(io.BytesIO(whole)))
                upload.state = State.WAITING
    except ValidationError as error:
        upload.state, upload.reason = State.REFUSED, " ".join(error.messages)
        upload.pieces.all().delete()  # what is no picture is not kept; the phone still has it
    upload.save(update_fields=["state", "reason", "photo"])


def _whole(upload: PhotoUpload) -> bytes:
    return b"".join(bytes(piece.data) for piece in upload.pieces.order_by("start"))


def _of_same_sender(upload: PhotoUpload) -> bool:
    """Only the fault's own author adds to it this way."""
    return InboxRecord.objects.filter(uuid=upload.record_uuid, sender=upload.sender_id, twin_of=None).exists()


def _attach(upload: PhotoUpload, fault: Fault, whole: bytes) -> None:
    photo = store_photo(
        site=fault.site,
        upload=io.BytesIO(whole),
        caption=upload.caption or fault.get_kind_display(),
        taken_at=upload.taken_at,
        by=upload.sender,
    )
    fault.photos.add(photo)
    audit(by=upload.sender, verb="photo added", subject=fault, photo=photo.pk)
    upload.state, upload.photo = State.STORED, photo
    upload.pieces.all().delete()


def attach_waiting(*, fault: Fault) -> None:
    """Hang pictures that arrived before their fault on it. Call inside the fault's transaction."""
    for upload in PhotoUpload.objects.select_for_update().filter(record_uuid=fault.uuid, state=State.WAITING):
        if _of_same_sender(upload):
            _attach(upload, fault, _whole(upload))
            upload.save(update_fields=["state", "photo"])
