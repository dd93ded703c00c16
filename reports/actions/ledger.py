"""The mail ledger: every mail that must go out once is a row, sent at most once by itself.

Between the end of a message and the server's answer nobody can know whether it was taken (RFC 1047). A mail
whose connection breaks there, or whose sender dies, becomes "unknown" and waits for a person; it is never sent
again by itself. Everything before that point is safe to repeat. Each kind of mail is a model built on
`reports.models.MailRow` and brings a function that writes its message.
"""

import datetime as dt
from collections.abc import Callable
from email.utils import make_msgid
from typing import Final, TypeVar

import structlog
from django.conf import settings
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend
from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from reports.models import MailRow
from reports.outside.mail import LineBroke, Refused, Unreachable, hand_over, line
from sites.actions.audit import record
from sites.models import User

log = structlog.get_logger("rillbook.deliveries")

MOST_TRIES: Final = 5
BACK_OFF_MIN: Final = (1, 5, 30, 120)
# A sender that said "sending" this long ago is dead: its outcome is unknown.
DEAD_AFTER_MIN: Final = 15
State = MailRow.State
Kind = type[MailRow]
Mail = TypeVar("Mail", bound=MailRow)


class NotSendable(Exception):
    """The mail cannot be asked for: the words say why."""


def new_message_id() -> str:
    """A Message-ID of the firm's own domain, kept in the row so that every try carries the same."""
    return make_msgid(domain=mail_domain())


def mail_domain() -> str:
    return settings.DEFAULT_FROM_EMAIL.rpartition("@")[2].strip("> ") or "localhost"


def due(*, kind: Kind, now: dt.datetime) -> list[int]:
    """Ids of mails that a sender may take now, oldest first."""
    ready = Q(try_after=None) | Q(try_after__lte=now)
    return list(kind._default_manager.filter(ready, state=State.WAITING).order_by("pk").values_list("pk", flat=True))


def send_due(*, kind: type[Mail], message_of: Callable[[Mail], EmailMessage], now: dt.datetime) -> int:
    """Send everything that waits and settle what dead senders left; returns how many were accepted."""
    settle_dead_senders(kind=kind, now=now)
    return sum(send_one(kind=kind, pk=pk, message_of=message_of, now=now) for pk in due(kind=kind, now=now))


def settle_dead_senders(*, kind: Kind, now: dt.datetime) -> int:
    """Mails that a sender claimed and never finished become "unknown"; returns how many."""
    dead = kind._default_manager.filter(
        state=State.SENDING, claimed_at__lt=now - dt.timedelta(minutes=DEAD_AFTER_MIN)
    )
    return dead.update(
        state=State.UNKNOWN,
        last_error="The sender stopped while sending. Ask the client, then choose: send again or count as sent.",
    )


def send_one(*, kind: type[Mail], pk: int, message_of: Callable[[Mail], EmailMessage], now: dt.datetime) -> bool:
    """Send one waiting mail; True where the server accepted it. Safe to call from two senders at once."""
    delivery = kind._default_manager.get(pk=pk)
    try:
        message = message_of(delivery)
    except Exception as error:  # noqa: BLE001 - whatever is wrong with one mail must not hold up those behind it
        log.error("mail cannot be written", kind=delivery._meta.label_lower, delivery=pk, error=_words(error))
        words = (
            f"Not sent: the mail could not be written ({type(error).__name__}, see the server's log). Send it again."
        )
        kind._default_manager.filter(pk=pk, state=State.WAITING).update(state=State.FAILED, last_error=words)
        return False
    try:
        with line() as connection:  # before the claim: a server that is down leaves the row waiting
            claimed = kind._default_manager.filter(pk=pk, state=State.WAITING).update(
                state=State.SENDING, claimed_at=now, attempts=delivery.attempts + 1
            )
            return bool(claimed) and _hand_over(delivery, message, connection, now)
    except Unreachable as error:
        _try_later(kind, pk, error, now)
        return False


def _hand_over(delivery: MailRow, message: EmailMessage, connection: BaseEmailBackend, now: dt.datetime) -> bool:
    """Give the message to the open connection and write down what the server said."""
    mine = type(delivery)._default_manager.filter(pk=delivery.pk, state=State.SENDING)
    try:
        hand_over(message, connection)
    except Refused as refusal:
        _refused(mine, delivery, refusal, now)
        return False
    except LineBroke as error:
        mine.update(
            state=State.UNKNOWN,
            last_error=f"The connection broke while sending ({error}). It may or may not have arrived.",
        )
        return False
    mine.update(state=State.SENT, sent_at=now, last_error="")
    log.info("delivered", kind=delivery._meta.label_lower, delivery=delivery.pk, message_id=delivery.message_id)
    return True


def _refused(mine: QuerySet[MailRow], delivery: MailRow, refusal: Refused, now: dt.datetime) -> None:
    """The server answered no: for now, or for good."""
    if refusal.for_now and delivery.attempts + 1 < MOST_TRIES:
        mine.update(
            state=State.WAITING,
            try_after=_next_try(delivery.attempts, now),
            last_error=f"The mail server asked to try later: {refusal}",
        )
    else:
        mine.update(state=State.FAILED, last_error=f"The mail server refused it: {refusal}")


def _try_later(kind: Kind, pk: int, error: Unreachable, now: dt.datetime) -> None:
    """The server could not be reached: nothing was sent. Try again later, give up after some tries."""
    row = kind._default_manager.filter(pk=pk, state=State.WAITING)
    attempts = row.values_list("attempts", flat=True).first()
    if attempts is None:
        return
    if attempts + 1 >= MOST_TRIES:
        row.update(
            state=State.FAILED,
            attempts=attempts + 1,
            last_error=f"The mail server could not be reached: {error}",
        )
    else:
        row.update(
            attempts=attempts + 1,
            try_after=_next_try(attempts, now),
            last_error=f"The mail server could not be reached: {error}",
        )


def _next_try(attempts: int, now: dt.datetime) -> dt.datetime:
    return now + dt.timedelta(minutes=BACK_OFF_MIN[min(attempts, len(BACK_OFF_MIN) - 1)])


def _words(error: Exception) -> str:
    return " ".join(str(error).split())[:200] or type(error).__name__


def send_again(*, delivery: MailRow, by: User) -> None:
    """A person decides that an unknown or refused delivery is to be sent again."""
    with transaction.atomic():
        changed = (
            type(delivery)
            ._default_manager.filter(pk=delivery.pk, state__in=[State.UNKNOWN, State.FAILED, State.BOUNCED])
            .update(state=State.WAITING, try_after=None, attempts=0)
        )
        if not changed:
            raise NotSendable("Only a delivery that failed, came back or is unknown can be sent again.")
        record(by=by, verb="sent again", subject=delivery)


def count_as_sent(*, delivery: MailRow, by: User) -> None:
    """A person knows that an unknown delivery did arrive."""
    with transaction.atomic():
        changed = (
            type(delivery)
            ._default_manager.filter(pk=delivery.pk, state=State.UNKNOWN)
            .update(state=State.SENT, sent_at=timezone.now(), last_error="Settled by hand.")
        )
        if not changed:
            raise NotSendable("Only an unknown delivery can be settled by hand.")
        record(by=by, verb="counted as sent", subject=delivery)
