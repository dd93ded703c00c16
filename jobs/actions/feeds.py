"""The private calendar address of a technician: made, replaced, revoked."""

import hashlib
import secrets

from django.db import transaction

from jobs.models import CalendarFeed
from sites.actions.audit import record
from sites.models import User

TOKEN_BYTES = 32


def token_hash(token: str) -> str:
    """What is kept of a token. It is random and long, so a plain hash cannot be turned back."""
    return hashlib.sha256(token.encode()).hexdigest()


@transaction.atomic
def make_feed(*, technician: User, by: User) -> str:
    """A new address for this technician's calendar; the earlier one stops working. Returns the token, never kept."""
    CalendarFeed.objects.filter(technician=technician).delete()
    token = secrets.token_urlsafe(TOKEN_BYTES)
    feed = CalendarFeed.objects.create(technician=technician, token_sha256=token_hash(token))
    record(by=by, verb="calendar address made", subject=feed, technician=technician.pk)
    return token


@transaction.atomic
def revoke_feed(*, technician: User, by: User) -> None:
    for feed in CalendarFeed.objects.filter(technician=technician):
        record(by=by, verb="calendar address revoked", subject=feed, technician=technician.pk)
        feed.delete()
