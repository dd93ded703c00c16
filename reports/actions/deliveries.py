"""The delivery ledger: one row per document and address, sent at most once by itself.

Between the end of a message and the server's answer nobody can know whether it was taken (RFC 1047). A delivery
whose connection breaks there, or whose sender dies, becomes "unknown" and waits for a person; it is never sent
again by itself. Everything before that point is safe to repeat.
"""

import datetime as dt
import smtplib
from email.utils import make_msgid
from typing import Final

import structlog
from django.conf import settings
from django.core.mail import EmailMessage, get_connection
from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from reports.models import Delivery, Document
from reports.queries.messages import MailText, season_report_mail
from sites.actions.audit import record
from sites.models import User

log = structlog.get_logger("rillbook.deliveries")

MOST_TRIES: Final = 5
BACK_OFF_MIN: Final = (1, 5, 30, 120)
# A sender that said "sending" this long ago is dead: its outcome is unknown.
DEAD_AFTER_MIN: Final = 15


class NotSendable(Exception):
    """The delivery cannot be asked for: the words say why."""


def order_delivery(*, document: Document, recipients: list[str], by: User | None) -> list[Delivery]:
    """Publish `document` to its client and queue one delivery an address.

    An address that already has one for this document keeps it: asking twice sends once.
    """
    if not recipients:
        raise NotSendable("There is no e-mail address to send to. Enter one, or add it to the client.")
    with transaction.atomic():
        if document.published_at is None:
            Document.objects.filter(pk=document.pk, published_at=None).update(published_at=timezone.now())
            document.refresh_from_db()
        made = []
        for address in dict.fromkeys(recipients):
            delivery, new = Delivery.objects.get_or_create(
                document=document,
                recipient=address,
                defaults={"created_by": by, "message_id": make_msgid(domain=_mail_domain())},
            )
            if new:
                record(by=by, verb="ordered delivery", subject=delivery, recipient=address)
            made.append(delivery)
    return made


def _mail_domain() -> str:
    return settings.DEFAULT_FROM_EMAIL.rpartition("@")[2].strip("> ") or "localhost"


def due_deliveries(now: dt.datetime) -> list[int]:
    """Ids of deliveries that a sender may take now, oldest first."""
    ready = Q(try_after=None) | Q(try_after__lte=now)
    return list(
        Delivery.objects.filter(ready, state=Delivery.State.WAITING).order_by("pk").values_list("pk", flat=True)
    )


def send_due(*, now: dt.datetime) -> int:
    """Send everything that waits and settle what dead senders left; returns how many were accepted."""
    settle_dead_senders(now=now)
    return sum(send_one(pk=pk, now=now) for pk in due_deliveries(now))


def settle_dead_senders(*, now: dt.datetime) -> int:
    """Deliveries that a sender claimed and never finished become "unknown"; returns how many."""
    return Delivery.objects.filter(
        state=Delivery.State.SENDING, claimed_at__lt=now - dt.timedelta(minutes=DEAD_AFTER_MIN)
    ).update(
        state=Delivery.State.UNKNOWN,
        last_error="The sender stopped while sending. Ask the client, then choose: send again or count as sent.",
    )


def send_one(*, pk: int, now: dt.datetime) -> bool:
    """Send one waiting delivery; True where the server accepted it. Safe to call from two senders at once."""
    delivery = Delivery.objects.select_related("document__site__client").get(pk=pk)
    message = _message(delivery)
    connection = get_connection()
    try:
        connection.open()  # before the claim: a server that is down leaves the row waiting
    except (OSError, smtplib.SMTPException) as error:
        _try_later(pk, error, now)
        return False
    try:
        claimed = Delivery.objects.filter(pk=pk, state=Delivery.State.WAITING).update(
            state=Delivery.State.SENDING, claimed_at=now, attempts=delivery.attempts + 1
        )
        return bool(claimed) and _hand_over(delivery, message, connection, now)
    finally:
        _close(connection)


def _hand_over(delivery: Delivery, message: EmailMessage, connection, now: dt.datetime) -> bool:
    """Give the message to the open connection and write down what the server said."""
    mine = Delivery.objects.filter(pk=delivery.pk, state=Delivery.State.SENDING)
    try:
        accepted = connection.send_messages([message])
    except (smtplib.SMTPSenderRefused, smtplib.SMTPRecipientsRefused, smtplib.SMTPDataError) as error:
        _refused(mine, delivery, error, now)
        return False
    except (OSError, smtplib.SMTPException) as error:
        mine.update(
            state=Delivery.State.UNKNOWN,
            last_error=f"The connection broke while sending ({_words(error)}). It may or may not have arrived.",
        )
        return False
    if accepted != 1:
        mine.update(state=Delivery.State.FAILED, last_error="The mail system took no message.")
        return False
    mine.update(state=Delivery.State.SENT, sent_at=now, last_error="")
    log.info("delivered", delivery=delivery.pk, message_id=delivery.message_id)
    return True


def _close(connection) -> None:
    try:
        connection.close()
    except (OSError, smtplib.SMTPException) as error:
        log.warning("mail connection did not close", error=_words(error))


def _refused(mine, delivery: Delivery, error: smtplib.SMTPException, now: dt.datetime) -> None:
    """The server answered no. A code of 400 to 499 means try later; anything else is final."""
    if 400 <= _code(error) < 500 and delivery.attempts + 1 < MOST_TRIES:
        mine.update(
            state=Delivery.State.WAITING,
            try_after=_next_try(delivery.attempts, now),
            last_error=f"The mail server asked to try later: {_words(error)}",
        )
    else:
        mine.update(state=Delivery.State.FAILED, last_error=f"The mail server refused it: {_words(error)}")


def _code(error: smtplib.SMTPException) -> int:
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return max((code for code, _ in error.recipients.values()), default=0)
    return int(getattr(error, "smtp_code", 0))


def _try_later(pk: int, error: Exception, now: dt.datetime) -> None:
    """The server could not be reached: nothing was sent. Try again later, give up after some tries."""
    row = Delivery.objects.filter(pk=pk, state=Delivery.State.WAITING)
    attempts = row.values_list("attempts", flat=True).first()
    if attempts is None:
        return
    if attempts + 1 >= MOST_TRIES:
        row.update(
            state=Delivery.State.FAILED,
            attempts=attempts + 1,
            last_error=f"The mail server could not be reached: {_words(error)}",
        )
    else:
        row.update(
            attempts=attempts + 1,
            try_after=_next_try(attempts, now),
            last_error=f"The mail server could not be reached: {_words(error)}",
        )


def _next_try(attempts: int, now: dt.datetime) -> dt.datetime:
    return now + dt.timedelta(minutes=BACK_OFF_MIN[min(attempts, len(BACK_OFF_MIN) - 1)])


def _words(error: Exception) -> str:
    return " ".join(str(error).split())[:200] or type(error).__name__


def _message(delivery: Delivery) -> EmailMessage:
    """Exactly what goes out; the preview page shows the same object."""
    text: MailText = season_report_mail(delivery.document)
    message = EmailMessage(
        subject=text.subject,
        body=text.body,
        from_email=settings.DEFAULT_FROM_EMAIL,
        to=[delivery.recipient],
        reply_to=[text.reply_to] if text.reply_to else None,
        headers={"Message-ID": delivery.message_id},
    )
    with delivery.document.pdf.open("rb") as file:
        message.attach(text.file_name, file.read(), "application/pdf")
    return message


def send_again(*, delivery: Delivery, by: User) -> None:
    """A person decides that an unknown or refused delivery is to be sent again."""
    with transaction.atomic():
        changed = Delivery.objects.filter(
            pk=delivery.pk, state__in=[Delivery.State.UNKNOWN, Delivery.State.FAILED]
        ).update(state=Delivery.State.WAITING, try_after=None, attempts=0)
        if not changed:
            raise NotSendable("Only a delivery that failed or is unknown can be sent again.")
        record(by=by, verb="sent again", subject=delivery)


def count_as_sent(*, delivery: Delivery, by: User) -> None:
    """A person knows that an unknown delivery did arrive."""
    with transaction.atomic():
        changed = Delivery.objects.filter(pk=delivery.pk, state=Delivery.State.UNKNOWN).update(
            state=Delivery.State.SENT, sent_at=timezone.now(), last_error="Settled by hand."
        )
        if not changed:
            raise NotSendable("Only an unknown delivery can be settled by hand.")
        record(by=by, verb="counted as sent", subject=delivery)
