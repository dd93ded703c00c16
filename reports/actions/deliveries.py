"""Documents to addresses: one row per document and address in the mail ledger (`reports.actions.ledger`)."""

import datetime as dt
from dataclasses import asdict

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils import timezone

from jobs.models import Proposal
from reports.actions import ledger
from reports.actions.ledger import NotSendable, count_as_sent, new_message_id, send_again
from reports.actions.links import delivery_link, link_end, make_link
from reports.models import Delivery, Document
from reports.outside.mail import MailError, send
from reports.queries.messages import MailText, season_report_mail
from reports.queries.proposal import proposal_data, proposal_mail
from sites.actions.audit import record
from sites.models import Client, User

__all__ = ["NotSendable", "count_as_sent", "queue_delivery", "preview", "send_again", "send_due", "send_test"]


def queue_delivery(*, document: Document, recipients: list[str], by: User | None) -> list[Delivery]:
    """Publish `document` to its client and queue one delivery an address.

    An address that already has one for this document keeps it: asking twice sends once.
    """
    if not recipients:
        raise NotSendable("There is no email address to send to. Enter one, or add it to the client.")
    proposal = document.proposal
    if proposal is not None and proposal.state != Proposal.State.SENT:
        raise NotSendable(f"{proposal} is {proposal.get_state_display()}: it can no longer be sent.")
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
                record(by=by, verb="queued delivery", subject=delivery, recipient=address)
            made.append(delivery)
    return made


def send_due(*, now: dt.datetime) -> int:
    """Send every waiting delivery; returns how many the server accepted."""
    return ledger.send_due(kind=Delivery, message_of=_message, now=now)


def goes_as_link(document: Document) -> bool:
    """The client's choice; a proposal always, since it is answered there. A report made before there was a page for
    it goes as a file."""
    if document.kind == Document.Kind.PROPOSAL:
        return True
    return document.site.client.report_as == Client.ReportAs.LINK and document.content is not None


def shared_url(token: str) -> str:
    """Where a link's token is handed in; the path stands in `reports.urls`."""
    return f"{settings.PUBLIC_URL}/r/{token}/"


def preview(document: Document, *, now: dt.datetime) -> MailText:
    """The mail as it would go out now; in place of a link's token stands a row of dots."""
    if goes_as_link(document):
        return _text(document, shared_url("…"), link_end(document, now))
    return season_report_mail(document)


def _text(document: Document, link: str, ends_at: dt.datetime) -> MailText:
    if document.kind == Document.Kind.PROPOSAL:
        return proposal_mail(document, link=link)
    return season_report_mail(document, link=link, until=timezone.localdate(ends_at))


def _message(delivery: Delivery) -> EmailMessage:
    """Exactly what goes out; the preview page shows the same words."""
    document = delivery.document
    if goes_as_link(document):
        link, token = delivery_link(delivery=delivery, now=timezone.now())
        text = _text(document, shared_url(token), link.expires_at)
    else:
        text = season_report_mail(document)
    return _mail(document, text, delivery.recipient, {"Message-ID": delivery.message_id})


def _mail(document: Document, text: MailText, recipient: str, headers: dict[str, str]) -> EmailMessage:
    message = EmailMessage(
        subject=text.subject,
        body=text.body,
        from_email=settings.DEFAULT_FROM_EMAIL,
        to=[recipient],
        reply_to=[text.reply_to] if text.reply_to else None,
        headers=headers,
    )
    if text.file_name:
        with document.pdf.open("rb") as file:
            message.attach(text.file_name, file.read(), "application/pdf")
    return message


def send_test(*, document: Document, now: dt.datetime, by: User) -> str:
    """Send the mail to the person who asks, not to the client; returns the address. Not in the ledger."""
    if not by.email:
        raise NotSendable("Your account has no email address to send a test to.")
    text = season_report_mail(document)
    if goes_as_link(document):
        link, token = make_link(document=document, label=f"test to {by.email}", now=now, by=by)
        text = _text(document, shared_url(token), link.expires_at)
    try:
        send(_mail(document, text, by.email, {}))
    except (OSError, MailError) as error:
        raise NotSendable(f"The test could not be sent: {error}") from error
    record(by=by, verb="sent test", subject=document, recipient=by.email)
    return by.email


def unsent_proposal_mail(proposal: Proposal, *, today: dt.date) -> MailText:
    """The mail a draft would go out with."""
    content = asdict(proposal_data(proposal, today=today))
    document = Document(kind=Document.Kind.PROPOSAL, site=proposal.site, proposal=proposal, content=content)
    return proposal_mail(document, link=shared_url("…"))
