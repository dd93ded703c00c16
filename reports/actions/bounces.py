"""Mail that came back: found by its Message-ID in the ledger and marked, once."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from django.db import transaction

from reports.models import AppointmentMail, Delivery, MailRow
from sites.actions.audit import record

# What a sender can know: accepted, or not known. A mail that never left cannot come back.
MAY_BOUNCE = (MailRow.State.SENT, MailRow.State.UNKNOWN, MailRow.State.SENDING)


@dataclass(frozen=True)
class Bounce:
    """A report that one message did not reach one address. `recipient` may be empty where the report names none."""

    message_id: str
    recipient: str
    reason: str


def record_bounce(*, bounce: Bounce, now: dt.datetime) -> bool:
    """Mark the mail as come back; False where it is not ours, goes to another address or is marked already."""
    return any(_mark(kind, bounce, now) for kind in (Delivery, AppointmentMail))


def _mark(kind: type[MailRow], bounce: Bounce, now: dt.datetime) -> bool:
    rows = kind._default_manager.filter(message_id=bounce.message_id, state__in=MAY_BOUNCE)
    if bounce.recipient:
        rows = rows.filter(recipient__iexact=bounce.recipient)
    with transaction.atomic():
        row = rows.select_for_update().first()
        if row is None:
            return False
        reason = " ".join(bounce.reason.split())[:240] or "no reason given"
        row.state, row.bounced_at, row.last_error = MailRow.State.BOUNCED, now, f"It came back: {reason}"
        row.save(update_fields=["state", "bounced_at", "last_error"])
        record(by=None, verb="recorded bounce", subject=row, reason=reason)
    return True


def record_all(*, bounces: Iterator[Bounce], now: dt.datetime) -> tuple[int, int]:
    """(reports read, mails marked)."""
    read = marked = 0
    for bounce in bounces:
        read += 1
        marked += record_bounce(bounce=bounce, now=now)
    return read, marked
