"""Repair proposal: what was found, what repairing it costs line by line, and what accepting it means.

Every string is finished by the caller, in the language `lang`; headings come from the catalogue of that language.
"""

from dataclasses import dataclass

from reports.documents.kit import look
from reports.documents.kit.blocks import Block, Boxed, Section, Text, Title, Together, bullets, caution, paragraph
from reports.documents.kit.page import Document, Firm, pdf_bytes
from reports.documents.kit.table import Cell, Column, facts, table
from reports.documents.words import Language, language


@dataclass(frozen=True)
class FoundFault:
    """One fault the proposal would repair."""

    what: str
    where: str
    severity: str
    found: str
    words: str = ""


@dataclass(frozen=True)
class Line:
    """One priced line; `repairs` names the fault in words."""

    what: str
    repairs: str
    quantity: str
    price: str
    amount: str


@dataclass(frozen=True)
class Proposal:
    """`total` is a bare figure in `currency`, the sum of the lines' amounts. `draft` marks one that was not sent."""

    firm: Firm
    number: str
    client_name: str
    site_name: str
    site_address_lines: tuple[str, ...]
    made_on: str
    valid_until: str
    currency: str
    faults: tuple[FoundFault, ...]
    lines: tuple[Line, ...]
    total: str
    note: str = ""
    supersedes: str = ""
    care: tuple[str, ...] = ()
    lang: str = "en-GB"
    draft: bool = False


def order_words(words: Language, *, total: str, until: str) -> list[str]:
    """What accepting means, a paragraph each; the page behind the link says the same."""
    return [
        words.say("proposal.order_is", total=total, until=until),
        words.say("proposal.order_then"),
        words.say("proposal.order_else"),
    ]


def proposal_pdf(proposal: Proposal) -> bytes:
    """The proposal as PDF bytes."""
    words = language(proposal.lang)
    blocks = [
        *_opening(proposal, words),
        *_faults(proposal, words),
        *_lines(proposal, words),
        *_note(proposal, words),
        _order(proposal, words),
        caution(words.say("proposal.care"), proposal.care),
    ]
    title = words.say("proposal.full_title", number=proposal.number, site=proposal.site_name)
    reference = words.say("proposal.reference", number=proposal.number, site=proposal.site_name)
    return pdf_bytes([Document(proposal.firm, title, reference, tuple(blocks))])


def _opening(proposal: Proposal, words: Language) -> list[Block]:
    address = ", ".join(line for line in proposal.site_address_lines if line.strip())
    earlier = words.say("proposal.earlier", number=proposal.supersedes) if proposal.supersedes else ""
    blocks: list[Block] = [Title(words.say("proposal.title", number=proposal.number), proposal.site_name, address)]
    if proposal.draft:
        blocks.append(Text(((words.say("proposal.draft"), look.STRONG),), after=6.0))
    blocks.append(
        facts(
            [
                (words.say("proposal.for"), proposal.client_name),
                (words.say("proposal.date"), proposal.made_on),
                (words.say("proposal.valid_until"), proposal.valid_until),
                (words.say("proposal.supersedes"), earlier),
            ],
            across=4 if earlier else 3,
        )
    )
    return blocks


def _faults(proposal: Proposal, words: Language) -> list[Block]:
    if not proposal.faults:
        return []
    columns = [
        Column(words.say("proposal.fault"), share=1.0),
        Column(words.say("proposal.where"), width=112.0),
        Column(words.say("proposal.severity"), width=78.0),
        Column(words.say("proposal.found"), width=80.0),
    ]
    rows: list[list[Cell]] = []
    for fault in proposal.faults:
        said = [(fault.what, look.CELL_STRONG), *([(fault.words, look.CELL)] if fault.words.strip() else [])]
        rows.append([Text(tuple(said)), fault.where, fault.severity, fault.found])
    return [Section(words.say("proposal.faults")), table(columns, rows)]


def _lines(proposal: Proposal, words: Language) -> list[Block]:
    currency = proposal.currency
    columns = [
        Column(words.say("proposal.what"), share=1.3, style=look.CELL_STRONG),
        Column(words.say("proposal.repairs"), share=1.0),
        Column(words.say("proposal.quantity"), width=62.0, align="right"),
        Column(words.say("proposal.price", currency=currency), width=70.0, align="right"),
        Column(words.say("proposal.amount", currency=currency), width=76.0, align="right"),
    ]
    rows: list[list[Cell]] = [
        [line.what, line.repairs, line.quantity, line.price, line.amount] for line in proposal.lines
    ]
    total = Text(((words.say("proposal.total", currency=currency), look.CELL_STRONG),))
    rows.append([total, "", "", "", Text(((proposal.total, look.CELL_STRONG),), "right")])
    return [Section(words.say("proposal.lines")), table(columns, rows)]


def _note(proposal: Proposal, words: Language) -> list[Block]:
    if not proposal.note.strip():
        return []
    return [Together((Section(words.say("proposal.note")), paragraph(proposal.note)), before=13.0)]


def _order(proposal: Proposal, words: Language) -> Block:
    said = order_words(words, total=f"{proposal.total} {proposal.currency}", until=proposal.valid_until)
    return Boxed(words.say("proposal.order"), tuple(bullets(said, look.BODY)), caution=False, before=10.0)
