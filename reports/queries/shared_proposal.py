"""A proposal as the page behind a link shows it: what was sent, and where it stands now."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.utils import timezone

from jobs.models import Proposal
from reports.documents.proposal import order_words
from reports.documents.words import Language
from reports.models import Document
from reports.queries.messages import document_words


@dataclass(frozen=True)
class ProposalPage:
    """`content` is what the PDF was drawn from; `standing_text` is empty while the client may answer."""

    document: Document
    words: Language
    content: dict[str, Any]
    order: list[str]
    total: str
    standing: str
    standing_text: str

    @property
    def can_answer(self) -> bool:
        return self.standing == Proposal.State.SENT


def proposal_page(document: Document, today: dt.date) -> ProposalPage:
    content, words, row = document.content, document_words(document), document.proposal
    if content is None or row is None:
        raise ValueError("this document holds no proposal")
    total = f"{content['total']} {content['currency']}"
    standing = row.standing(today)
    said = {
        "date": words.date(timezone.localdate(row.answered_at)) if row.answered_at else "",
        "name": row.answered_by,
        "until": content["valid_until"],
    }
    return ProposalPage(
        document=document,
        words=words,
        content=content,
        order=order_words(words, total=total, until=content["valid_until"]),
        total=total,
        standing=standing,
        standing_text="" if standing == Proposal.State.SENT else words.say(f"proposal.is_{standing}", **said),
    )
