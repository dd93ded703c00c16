"""What a mail says, from the document it carries."""

from dataclasses import dataclass

from django.utils.text import slugify

from reports.models import Document
from sites.models import Firm


@dataclass(frozen=True)
class MailText:
    subject: str
    body: str
    reply_to: str
    file_name: str


def season_report_mail(document: Document) -> MailText:
    """The mail that carries a season report. Names are one line each: a header cannot be broken by a name."""
    firm = Firm.current()
    site = document.site
    greeting = one_line(site.client.contact_name or site.client.name)
    subject = one_line(f"Season report {document.season_year} for {site.name}")
    signature = "\n".join(one_line(part) for part in (firm.name, firm.phone, firm.email) if part)
    body = (
        f"Dear {greeting},\n\n"
        f"attached is the irrigation season report {document.season_year} for {one_line(site.name)}: "
        "how the season was, how much water went where, what we did and found, and what we suggest.\n\n"
        "If something in it is not clear, just answer this mail.\n\n"
        f"{signature}\n"
    )
    return MailText(
        subject=subject,
        body=body,
        reply_to=firm.email,
        file_name=f"season-report-{document.season_year}-{slugify(site.name) or site.pk}.pdf",
    )


def one_line(text: str) -> str:
    return " ".join(text.split())
