"""Where phones put records and pictures. Answers are always JSON, so that a phone never takes a page for success."""

import datetime as dt
import re
import uuid as uuids
from collections.abc import Callable
from functools import wraps

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, JsonResponse, UnreadablePostError
from django.utils import timezone

from jobs.actions.inbox import LARGEST_BODY_BYTES, receive
from jobs.actions.inbox_photos import LARGEST_PIECE_BYTES, OtherUpload, PieceReceipt, receive_piece
from jobs.core.field_records import moment
from jobs.models import InboxRecord, PhotoUpload
from jobs.views.field_sender import sender_of
from sites.access import Request
from sites.models import User

PIECE = re.compile(r"bytes (?:(\d{1,9})-(\d{1,9})|\*)/(\d{1,9})")


def from_phone(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """401 and 403 as JSON, never a way to the sign-in page; then PUT only."""

    @wraps(view)
    @login_not_required
    def guarded(request: Request, uuid: uuids.UUID) -> HttpResponse:
        person, _ = sender_of(request)
        if person is None and request.user.is_authenticated:
            return _answer(uuid, 403, reason="This account does not work in the field.")
        if person is None:
            return _answer(uuid, 401, reason="Sign in again; what you entered stays on the phone.")
        if request.method != "PUT":
            return JsonResponse({"reason": "PUT only."}, status=405, headers={"Allow": "PUT"})
        return view(request, uuid, person)

    return guarded


def _answer(uuid: uuids.UUID, status: int, **more: object) -> JsonResponse:
    return JsonResponse({"uuid": str(uuid), **more}, status=status)


def _whole_body(request: HttpRequest, largest: int) -> bytes | HttpResponse:
    """The body, all of it. A cut connection ends it early without any error: that piece must not be taken for it."""
    try:
        # A body without a length, sent in chunks, cannot be told from a cut one.
        length = int(request.headers.get("Content-Length") or (-1 if "Transfer-Encoding" in request.headers else 0))
    except ValueError:
        length = -1
    if not 0 <= length <= largest:
        return JsonResponse({"reason": f"At most {largest // 1024} kB, with Content-Length."}, status=413)
    try:
        body = request.body
    except UnreadablePostError:
        body = b""
    return body if len(body) == length else JsonResponse({"reason": "Cut off on the way. Send again."}, status=408)


@from_phone
def record(request: HttpRequest, uuid: uuids.UUID, person: User) -> HttpResponse:
    """201 new, 200 the same again, 409 same id with other content (both kept), 400 unreadable (kept as refused)."""
    body = _whole_body(request, LARGEST_BODY_BYTES)
    if isinstance(body, HttpResponse):
        return body
    receipt = receive(uuid=uuid, body=body, by=person, received_at=timezone.now(), phone_now=_phone_now(request))
    told = {"state": receipt.record.state, "reason": _told(receipt.record)}
    if receipt.clash:
        return _answer(uuid, 409, **told)
    if receipt.refused and receipt.record.state == InboxRecord.State.REFUSED:
        return _answer(uuid, 400, errors=receipt.record.errors, **told)
    return _answer(uuid, 201 if receipt.fresh else 200, clock_offset_s=receipt.record.clock_offset_s, **told)


def _told(entry: InboxRecord) -> str:
    """What the phone may know: that the office looks at it, not what is recorded of other people's visits."""
    if entry.state == InboxRecord.State.FOR_PERSON:
        return "Kept. The office decides."
    if entry.state == InboxRecord.State.HELD:
        return "Kept for the office."
    return entry.reason


def _phone_now(request: HttpRequest) -> dt.datetime | None:
    try:
        return moment(request.headers.get("X-Phone-Time"))
    except (ValueError, OverflowError):
        return None


@from_phone
def photo(request: HttpRequest, uuid: uuids.UUID, person: User) -> HttpResponse:
    """A piece of a picture by Content-Range. 202 and where to go on, 201 complete, 200 complete before."""
    piece = PIECE.fullmatch(request.headers.get("Content-Range", ""))
    if piece is None or not int(piece[3]):
        reason = "The file is empty. Take or choose the photo again." if piece else "Content-Range is missing."
        return _answer(uuid, 400, reason=reason)
    body = _whole_body(request, LARGEST_PIECE_BYTES)
    if isinstance(body, HttpResponse):
        return body
    try:
        receipt = _piece(request, body, uuid, person, piece)
    except OtherUpload:
        return _answer(uuid, 409, reason="This id belongs to another picture.")
    except ValidationError as error:
        return _answer(uuid, 400, reason=" ".join(error.messages))
    if receipt.upload.state == PhotoUpload.State.REFUSED:
        return _answer(uuid, 400, reason=receipt.upload.reason)
    status = 202 if not receipt.complete else 201 if receipt.fresh else 200
    return _answer(uuid, status, next=receipt.next_byte)


def _piece(request: HttpRequest, body: bytes, uuid: uuids.UUID, person: User, piece: re.Match) -> PieceReceipt:
    start, total = None if piece[1] is None else int(piece[1]), int(piece[3])
    data = b"" if start is None else body
    if start is not None and (len(data) != int(piece[2]) - start + 1 or start + len(data) > total):
        raise ValidationError("The piece and its Content-Range do not agree.")
    try:
        record_uuid = uuids.UUID(request.headers.get("X-Record", ""))
    except ValueError as error:
        raise ValidationError("X-Record is missing: the id of the fault's record.") from error
    upload = PhotoUpload(
        uuid=uuid,
        record_uuid=record_uuid,
        total_bytes=total,
        caption=request.headers.get("X-Caption", "")[:200],
        taken_at=min(_taken_at(request), timezone.now()),
        sender=person,
    )
    return receive_piece(upload=upload, start=start, data=data)


def _taken_at(request: HttpRequest) -> dt.datetime:
    try:
        return moment(request.headers.get("X-Taken-At"))
    except (ValueError, OverflowError):
        return timezone.now()
