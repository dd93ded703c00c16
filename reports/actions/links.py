"""Links that open one document without signing in: random, expiring, revocable, kept only as a hash."""

import base64
import datetime as dt
import secrets
from typing import Final

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.crypto import salted_hmac

from reports.models import Delivery, Document, ShareLink
from reports.queries.shared import token_hash
from sites.actions.audit import record
from sites.models import User

LINK_DAYS: Final = 90


def make_link(*, document: Document, label: str, now: dt.datetime, by: User | None) -> tuple[ShareLink, str]:
    """A new link with its token of 256 random bits, which is shown once and cannot be read back."""
    token = secrets.token_urlsafe(32)
    with transaction.atomic():
        link = ShareLink.objects.create(
            document=document,
            label=label,
            token_sha256=token_hash(token),
            created_by=by,
            expires_at=link_end(document, now),
        )
        record(by=by, verb="made link", subject=link, document=document.pk, label=label)
    return link, token


def delivery_link(*, delivery: Delivery, now: dt.datetime) -> tuple[ShareLink, str]:
    """The link that goes out with a delivery. Every try carries the same one.

    The token is derived from the secret key and the delivery's own Message-ID, so that a second try needs no copy of
    it in the database; without the key it cannot be told from random.
    """
    digest = salted_hmac("reports.delivery_link", delivery.message_id, algorithm="sha256").digest()
    token = base64.urlsafe_b64encode(digest).decode().rstrip("=")
    link, _ = ShareLink.objects.get_or_create(
        token_sha256=token_hash(token),
        defaults={
            "document": delivery.document,
            "delivery": delivery,
            "label": delivery.recipient,
            "created_by": delivery.created_by,
            "expires_at": link_end(delivery.document, now),
        },
    )
    return link, token


def link_end(document: Document, now: dt.datetime) -> dt.datetime:
    """When a link closes: some months from now. A proposal's stays open as long after its last day, so that who comes
    late is told, not shut out."""
    if document.proposal is None:
        return now + dt.timedelta(days=LINK_DAYS)
    last_day = max(document.proposal.valid_until, timezone.localdate(now))
    return timezone.make_aware(dt.datetime.combine(last_day + dt.timedelta(days=LINK_DAYS), dt.time()))


def revoke_link(*, link: ShareLink, now: dt.datetime, by: User) -> None:
    """Close a link; whoever has it open is out at the next request."""
    with transaction.atomic():
        if ShareLink.objects.filter(pk=link.pk, revoked_at=None).update(revoked_at=now):
            record(by=by, verb="revoked link", subject=link, document=link.document_id)


def count_view(*, link: ShareLink, now: dt.datetime) -> None:
    """The page behind the link was opened once more."""
    ShareLink.objects.filter(pk=link.pk).update(views=F("views") + 1, last_viewed_at=now)
