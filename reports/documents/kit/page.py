"""Paper, letterhead, page breaking and the finished file."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from io import BytesIO

from reportlab.pdfgen.canvas import Canvas

from reports.documents.kit import look
from reports.documents.kit.blocks import Block, Together
from reports.documents.kit.pen import Pen
from reports.documents.kit.text import MISSING, one_line, plain
from reports.documents.words import language


class Paper(StrEnum):
    """Paper sizes a firm may print on."""

    A4 = "a4"
    LETTER = "letter"
    A5 = "a5"
    HALF_LETTER = "half_letter"

    @property
    def size(self) -> tuple[float, float]:
        """Width and height, points."""
        return {"a4": (595.28, 841.89), "letter": (612.0, 792.0), "a5": (419.53, 595.28)}.get(
            self.value, (396.0, 612.0)
        )

    @property
    def half(self) -> "Paper":
        """The paper that two pages of this one are printed on, cut once."""
        return Paper.A5 if self in (Paper.A4, Paper.A5) else Paper.HALF_LETTER

    @property
    def side(self) -> float:
        """Margin left and right: narrower on half paper."""
        return SIDE if self in (Paper.A4, Paper.LETTER) else 11 * look.MM


@dataclass(frozen=True)
class Firm:
    """The contractor whose paper it is. Empty strings are left out. `licence` is a line of the firm's own
    wording; `lang` is the BCP 47 tag written into the file."""

    name: str
    address_lines: tuple[str, ...] = ()
    phone: str = ""
    email: str = ""
    website: str = ""
    licence: str = ""
    paper: Paper = Paper.A4
    lang: str = "en-GB"


@dataclass(frozen=True)
class Document:
    """One document: `title` goes into the running head and the file's metadata, `reference` to the foot."""

    firm: Firm
    title: str
    reference: str
    blocks: tuple[Block, ...]


SIDE = 18 * look.MM
_TOP_FIRST = 33 * look.MM
_TOP_NEXT = 23 * look.MM
_BOTTOM = 21 * look.MM


@dataclass(frozen=True)
class Placed:
    """A block and the y of its top edge."""

    block: Block
    top: float


def room(paper: Paper, page_number: int) -> tuple[float, float]:
    """Top edge and bottom edge of the room for blocks on a page (numbered from 1)."""
    return paper.size[1] - (_TOP_FIRST if page_number == 1 else _TOP_NEXT), _BOTTOM


def paginate(blocks: Sequence[Block], paper: Paper) -> list[list[Placed]]:
    """Blocks distributed over pages; a block is cut where it has to be and can be."""
    width = paper.size[0] - 2 * paper.side
    queue = deque(blocks)
    pages: list[list[Placed]] = [[]]
    y, bottom = room(paper, 1)
    while queue:
        block = queue.popleft()
        empty = not pages[-1]
        top = y if empty else y - block.before
        high = block.height(width)
        if isinstance(block, Together) and high > _whole_page(paper):
            queue.extendleft(reversed(block.blocks))
            continue
        fits = high <= top - bottom
        if fits and (empty or _needed(block, queue, width) <= top - bottom):
            pages[-1].append(Placed(block, top))
            y = top - high - block.after
            continue
        cut = None if fits else block.split(width, top - bottom, force=empty)
        if cut or empty:
            # On an empty page a block that cannot be cut is drawn as it is, over the foot: never lost.
            pages[-1].append(Placed(cut[0] if cut else block, top))
        if cut or not empty:
            queue.appendleft(cut[1] if cut else block)
        if queue:
            pages.append([])
            y, bottom = room(paper, len(pages))
    return pages


def _whole_page(paper: Paper) -> float:
    top, bottom = room(paper, 2)
    return top - bottom


def _needed(block: Block, following: deque[Block], width: float) -> float:
    """Height that must be free: the block, and what its heading must not be parted from."""
    needed = block.height(width)
    chain = [block, *list(following)[:3]]
    for this, after in zip(chain, chain[1:], strict=False):
        if not this.keep_with_next:
            break
        needed += this.after + after.before
        needed += after.height(width) if after.keep_with_next else after.least(width)
    return needed


def pdf_bytes(documents: Sequence[Document]) -> bytes:
    """One PDF of one or many documents, each with its own page numbers; same documents, same bytes.

    Metadata (title, author, language) come from the first document. All documents of a file share its
    embedded typefaces. Raises ValueError when there is no document.
    """
    if not documents:
        raise ValueError("There is no document to print.")
    first = documents[0]
    buffer = BytesIO()
    look.glyphs()
    canvas = Canvas(buffer, pagesize=first.firm.paper.size, invariant=1, lang=first.firm.lang, pageCompression=1)
    canvas.setTitle(plain(first.title).replace("\n", " "))
    canvas.setAuthor(plain(first.firm.name).replace("\n", " "))
    canvas.setSubject(plain(first.reference).replace("\n", " "))
    canvas.setCreator("Rillbook")
    for document in documents:
        _draw_document(canvas, document)
    canvas.save()
    return buffer.getvalue()


def _draw_document(canvas: Canvas, document: Document) -> None:
    paper = document.firm.paper
    width = paper.size[0] - 2 * paper.side
    pages = paginate(document.blocks, paper)
    pen = Pen(canvas)
    for number, placed in enumerate(pages, start=1):
        canvas.setPageSize(paper.size)
        if number == 1:
            _draw_letterhead(pen, document.firm, paper)
        else:
            _draw_running_head(pen, document, paper)
        for item in placed:
            item.block.draw(pen, paper.side, item.top, width)
        _draw_foot(pen, document, number, len(pages))
        canvas.showPage()


def _draw_letterhead(pen: Pen, firm: Firm, paper: Paper) -> None:
    wide, high = paper.size
    inner = wide - 2 * paper.side
    top = high - 13 * look.MM
    half = inner / 2 - 6
    name = one_line(firm.name, look.FIRM_NAME, half)
    pen.text(paper.side, pen.baseline(top, look.FIRM_NAME), name, look.FIRM_NAME)
    pen.text(paper.side, top - 27.0, one_line(firm.licence, look.SMALL, half), look.SMALL)
    said = [", ".join(line for line in firm.address_lines if line.strip())]
    said += [" · ".join(part for part in (firm.phone, firm.email) if part.strip()), firm.website]
    for row, line in enumerate(line for line in said if line.strip()):
        text = one_line(line, look.SMALL, half)
        pen.aligned(wide / 2 + 6, top - 10.0 - row * 11.0, half, text, look.SMALL, "right")
    y = top - 40.0
    pen.line(paper.side, y, wide - paper.side, y, look.RULE, 0.6)
    pen.box(paper.side, y - 1.2, 34 * look.MM, 2.4, fill=look.ACCENT)


def _draw_running_head(pen: Pen, document: Document, paper: Paper) -> None:
    wide, high = paper.size
    y = high - 14 * look.MM
    half = (wide - 2 * paper.side) * 0.64
    pen.text(paper.side, y, one_line(document.title, look.SMALL, half), look.SMALL)
    firm = one_line(document.firm.name, look.SMALL, wide - 2 * paper.side - half - 10)
    pen.aligned(paper.side, y, wide - 2 * paper.side, firm, look.SMALL, "right")
    pen.line(paper.side, y - 6, wide - paper.side, y - 6, look.RULE, 0.5)


def _draw_foot(pen: Pen, document: Document, number: int, count: int) -> None:
    words = language(document.firm.lang)
    paper = document.firm.paper
    wide = paper.size[0]
    y = 12 * look.MM
    pen.line(paper.side, y + 10, wide - paper.side, y + 10, look.RULE, 0.5)
    reference = one_line(document.reference, look.SMALL, (wide - 2 * paper.side) * 0.7)
    pen.text(paper.side, y, reference, look.SMALL)
    pen.aligned(
        paper.side, y, wide - 2 * paper.side, words.say("page", number=number, count=count), look.SMALL, "right"
    )
    if number == count and pen.fell_back:
        pen.text(paper.side, y - 10, words.say("missing", sign=MISSING), look.SMALL)
