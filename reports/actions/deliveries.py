"""Documents to addresses: one row per document and address in the mail ledger (`reports.actions.ledger`)."""

import datetime as dt

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils import timezone

from reports.actions import ledger
from reports.actions.ledger import NotSendable, count_as_sent, new_message_id, send_again
from reports.models import Delivery, Document
from reports.queries.messages import MailText, season_report_mail
from sites.actions.audit import record
from sites.models import User

__all__ = ["NotSendable", "count_as_sent", "order_delivery", "send_again", "send_due"]


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
                defaults={"created_by": by, "message_id": new_message_id()},
            )
            if new:
                record(by=by, verb="ordered delivery", subject=delivery, recipient=address)
            made.append(delivery)
    return made


def send_due(*, now: dt.datetime) -> int:
    """Send every waiting delivery; returns how many the server accepted."""
    return ledger.send_due(kind=Delivery, message_of=_message, now=now)


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
