"""A repair proposal as the dataclass its PDF and its page are drawn from, in the client's language."""

import datetime as dt
from decimal import Decimal
from typing import Final

from django.utils.text import slugify

from jobs.models import Fault, ProposalLine
from jobs.models import Proposal as ProposalRow
from jobs.queries.proposals import faults_to_repair
from reports.documents import proposal as paper
from reports.models import Document
from reports.queries.letterhead import address_lines, date_at, letterhead_in
from reports.queries.messages import MailText, document_words, one_line, report_file_name
from reports.queries.telling import Telling
from sites.core.writing import NOTHING, money, short_number, written_for
from sites.models import Firm

Kind = Fault.Kind
# Where the mains side may be concerned; the 24 V side of valves is not.
MAINS_KINDS: Final = {Kind.CONTROLLER, Kind.PUMP, Kind.LOW_VOLTAGE}


def proposal_data(row: ProposalRow, *, today: dt.date) -> paper.Proposal:
    """The proposal of `row`; a draft is dated `today` and marked."""
    telling = Telling.of(Firm.current(), row.site.client.language)
    with written_for(telling.words.code):
        return _proposal(row, today, telling)


def _proposal(row: ProposalRow, today: dt.date, telling: Telling) -> paper.Proposal:
    site, firm, words = row.site, telling.firm, telling.words
    faults = [found.fault for found in faults_to_repair(row)]
    draft = row.state == ProposalRow.State.DRAFT
    return paper.Proposal(
        firm=letterhead_in(firm, words.code),
        number=str(row.number),
        client_name=site.client.name,
        site_name=site.name,
        site_address_lines=address_lines(site),
        made_on=words.date(today if draft or row.sent_at is None else date_at(row.sent_at, site)),
        valid_until=words.date(row.valid_until),
        currency=row.currency,
        faults=tuple(
            paper.FoundFault(
                what=telling.fault(fault),
                where=telling.place(fault),
                severity=telling.severity(fault),
                found=words.date(date_at(fault.found_at, site)),
                words=fault.description,
            )
            for fault in faults
        ),
        lines=tuple(_line(line, telling) for line in row.lines.all()),
        total=figure(row.total),
        note=row.note,
        supersedes=str(row.supersedes.number) if row.supersedes else "",
        care=tuple(words.say(f"proposal.{key}") for key in care_keys(faults)),
        lang=words.code,
        draft=draft,
    )


def figure(amount: Decimal | None) -> str:
    """ "1,234.50"; a dash while a price is open."""
    return NOTHING if amount is None else money(amount)


def _line(line: ProposalLine, telling: Telling) -> paper.Line:
    words = telling.words
    repairs = (
        f"{telling.fault(line.fault)}, {telling.place(line.fault)}" if line.fault else words.say("proposal.whole")
    )
    return paper.Line(
        what=line.text,
        repairs=repairs,
        quantity=f"{short_number(line.quantity, 2)} {words.say(f'unit.{line.unit}')}",
        price=figure(line.unit_price),
        amount=figure(line.amount),
    )


def care_keys(faults: list[Fault]) -> list[str]:
    """Which cautions the faults call for; the general one always."""
    keys = []
    if any(fault.severity == Fault.Severity.UNSAFE for fault in faults):
        keys.append("care_unsafe")
    if any(fault.kind in MAINS_KINDS for fault in faults):
        keys.append("care_mains")
    if any(fault.kind == Kind.BACKFLOW or fault.supply_id for fault in faults):
        keys.append("care_backflow")
    return [*keys, "care_codes"]


def proposal_mail(document: Document, *, link: str) -> MailText:
    """The mail with the proposal attached and the link behind which it is answered."""
    firm, site, content = Firm.current(), document.site, document.content or {}
    words = document_words(document)
    number, name = content["number"], one_line(site.name)
    body = words.say(
        "proposal.mail.body",
        greeting=one_line(site.client.contact_name or site.client.name),
        site=name,
        number=number,
        total=f"{content['total']} {content['currency']}",
        until=content["valid_until"],
        link=link,
        signature="\n".join(one_line(part) for part in (firm.name, firm.phone, firm.email) if part),
    )
    return MailText(
        subject=one_line(words.say("proposal.mail.subject", number=number, site=name)),
        body=body,
        reply_to=firm.email,
        file_name=f"{proposal_file_name(document)}.pdf",
    )


def proposal_file_name(document: Document) -> str:
    site, number = document.site, (document.content or {})["number"]
    words = document_words(document)
    return words.say("proposal.mail.file_name", number=number, site=slugify(site.name) or site.pk)


def document_file_name(document: Document) -> str:
    """What a mailed document is called when it is saved, without its ending."""
    return proposal_file_name(document) if document.kind == Document.Kind.PROPOSAL else report_file_name(document)
