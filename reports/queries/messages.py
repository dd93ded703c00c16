"""What a mail says, from the document it carries, in the language the document is written in."""

import datetime as dt
from dataclasses import dataclass

from django.utils.text import slugify

from reports.documents.words import Language, language
from reports.models import Document
from sites.models import Firm


@dataclass(frozen=True)
class MailText:
    """`file_name` is the attachment's, empty where the mail carries a link instead."""

    subject: str
    body: str
    reply_to: str
    file_name: str


def document_words(document: Document) -> Language:
    """The language the document was written in."""
    return language((document.content or {}).get("lang", "en"))


def season_report_mail(document: Document, *, link: str = "", until: dt.date | None = None) -> MailText:
    """The mail with a season report attached, or with a link to it that is good until a day.

    Names are one line each: a header cannot be broken by a name.
    """
    firm = Firm.current()
    site, words = document.site, document_words(document)
    name = one_line(site.name)
    said = {
        "greeting": one_line(site.client.contact_name or site.client.name),
        "season": document.season_year,
        "site": name,
        "signature": "\n".join(one_line(part) for part in (firm.name, firm.phone, firm.email) if part),
    }
    if link:
        body = words.say("mail.linked", link=link, until=words.date(until), **said)
    else:
        body = words.say("mail.attached", **said)
    return MailText(
        subject=one_line(words.say("mail.subject", season=document.season_year, site=name)),
        body=body,
        reply_to=firm.email,
        file_name="" if link else f"{report_file_name(document)}.pdf",
    )


def report_file_name(document: Document) -> str:
    site = document.site
    return document_words(document).say(
        "mail.file_name", season=document.season_year, site=slugify(site.name) or site.pk
    )


def one_line(text: str) -> str:
    return " ".join(text.split())
