"""Send a repair proposal: locked, kept as a document, and queued in the mail ledger, all of it or nothing."""

import datetime as dt

from django.core.exceptions import ValidationError
from django.db import transaction

from jobs.actions import proposals
from jobs.models import Proposal
from reports.actions.deliveries import NotSendable, queue_delivery
from reports.actions.documents import make_proposal
from reports.models import Document
from sites.models import User


@transaction.atomic
def send_proposal(
    *, proposal: Proposal, recipients: list[str], by: User | None, now: dt.datetime, today: dt.date
) -> Document:
    """Send a draft to these addresses. ValidationError with what is missing; nothing is changed then."""
    sent = proposals.mark_sent(proposal=proposal, by=by, now=now, today=today)
    document = make_proposal(proposal=sent, by=by)
    try:
        queue_delivery(document=document, recipients=recipients, by=by)
    except NotSendable as error:
        raise ValidationError(str(error)) from error
    return document
