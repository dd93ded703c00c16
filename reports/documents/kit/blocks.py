"""Building blocks: text, sections, facts, figures, cautions, checklists, notes and signatures.

A block knows its height for a width, can be cut to fit the room left on a page, and draws itself from a
top left corner. All lengths are points; y grows upwards, as in PDF.
"""

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO

from reportlab.lib.utils import ImageReader
from reportlab.pdfbase.pdfdoc import PDFError
from reportlab.pdfbase.pdfutils import readJPEGInfo

from reports.documents.kit import look
from reports.documents.kit.look import Style
from reports.documents.kit.pen import Pen
from reports.documents.kit.text import one_line, wrap


class Block:
    """What the page asks of anything it places."""

    before: float = 0.0
    after: float = 0.0
    keep_with_next: bool = False

    def height(self, width: float) -> float:
        """Height of the whole block at this width."""
        raise NotImplementedError

    def least(self, width: float) -> float:
        """Height of the smallest part worth starting on a page."""
        return self.height(width)

    def split(self, width: float, room: float, *, force: bool = False) -> "tuple[Block, Block] | None":
        """A part no higher than `room` and the rest; None where no good cut exists.

        `force` is set on an empty page: then an ugly cut is better than text outside the page.
        """
        return None

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        """Draw inside the box that hangs from (x, top)."""
        raise NotImplementedError


@dataclass(frozen=True, eq=False)
class Gap(Block):
    """Empty space of a given height."""

    points: float = 0.0

    def height(self, width: float) -> float:
        return self.points

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        return


Part = tuple[str, Style]


@dataclass(frozen=True, eq=False)
class Text(Block):
    """Wrapped text: one or more parts, each with its own style and starting on a new line."""

    parts: tuple[Part, ...]
    align: str = "left"
    before: float = 0.0
    after: float = 0.0
    keep_with_next: bool = False
    bullet: str = ""

    @property
    def indent(self) -> float:
        return 10.0 if self.bullet else 0.0

    def lines(self, width: float) -> list[Part]:
        inner = max(width - self.indent, 1.0)
        return [(line, style) for text, style in self.parts for line in wrap(text, style, inner)]

    def height(self, width: float) -> float:
        return sum(style.leading for _, style in self.lines(width))

    def least(self, width: float) -> float:
        return sum(style.leading for _, style in self.lines(width)[:2])

    def split(self, width: float, room: float, *, force: bool = False) -> tuple[Block, Block] | None:
        lines = self.lines(width)
        fit, used = 0, 0.0
        while fit < len(lines) and used + lines[fit][1].leading <= room:
            used += lines[fit][1].leading
            fit += 1
        if not force and len(lines) - fit == 1:
            fit -= 1
        if fit < (1 if force else 2) or fit >= len(lines):
            return None
        # A line that was wrapped at this width stays one line when it is wrapped again.
        head = Text(tuple(lines[:fit]), self.align, self.before, 0.0, bullet=self.bullet)
        rest = Text(tuple(lines[fit:]), self.align, 0.0, self.after, bullet=" " if self.bullet else "")
        return head, rest

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        y = top
        lines = self.lines(width)
        if lines and self.bullet.strip():
            pen.text(x, pen.baseline(y, lines[0][1]), self.bullet, lines[0][1])
        for line, style in lines:
            pen.aligned(x + self.indent, pen.baseline(y, style), width - self.indent, line, style, self.align)
            y -= style.leading


def paragraph(text: str, style: Style = look.BODY, *, after: float = 5.0) -> Text:
    """Running text."""
    return Text(((text, style),), after=after)


def bullets(texts: Sequence[str], style: Style = look.BODY) -> list[Block]:
    """One block per point."""
    return [Text(((text, style),), after=2.0, bullet="–") for text in texts]


def _at_most(count: int, text: str, style: Style, width: float) -> Text:
    """Text for blocks that cannot be cut: lines past `count` end in an ellipsis."""
    lines = wrap(text, style, width)
    if len(lines) <= count:
        return Text(((text, style),))
    last = one_line(" ".join(lines[count - 1 : count + 1]), style, width)
    return Text(tuple((line, style) for line in (*lines[: count - 1], last)))


@dataclass(frozen=True, eq=False)
class Section(Block):
    """Heading of a part of the document; also an entry of the outline."""

    title: str
    note: str = ""
    before: float = 13.0
    after: float = 5.0
    keep_with_next: bool = True

    def _text(self) -> Text:
        note = ((self.note, look.SMALL),) if self.note else ()
        return Text(((self.title, look.SECTION), *note))

    def height(self, width: float) -> float:
        return self._text().height(width)

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        pen.outline(self.title, top)
        self._text().draw(pen, x, top, width)


@dataclass(frozen=True, eq=False)
class Title(Block):
    """What the document is, whose it is, and a line about it."""

    kind: str
    name: str
    about: str = ""
    after: float = 10.0

    def _text(self, width: float) -> Text:
        about = ((self.about, look.LEAD),) if self.about else ()
        style = look.TITLE if len(wrap(self.name, look.TITLE, width)) <= 2 else look.TITLE_LONG
        return Text(((self.kind, look.SUBSECTION), (self.name, style), *about))

    def height(self, width: float) -> float:
        return self._text(width).height(width)

    def split(self, width: float, room: float, *, force: bool = False) -> tuple[Block, Block] | None:
        return self._text(width).split(width, room, force=force)

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        self._text(width).draw(pen, x, top, width)


@dataclass(frozen=True, eq=False)
class Together(Block):
    """Blocks that stay on one page where they fit on one."""

    blocks: tuple[Block, ...]
    before: float = 0.0
    after: float = 0.0

    def height(self, width: float) -> float:
        inside = sum(block.height(width) + block.before + block.after for block in self.blocks)
        return inside - (self.blocks[0].before if self.blocks else 0.0)

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        y = top
        for number, block in enumerate(self.blocks):
            y -= block.before if number else 0.0
            block.draw(pen, x, y, width)
            y -= block.height(width) + block.after


@dataclass(frozen=True, eq=False)
class Boxed(Block):
    """Blocks in a frame; `caution` adds the warning triangle and a heavy edge that survives greyscale."""

    heading: str
    blocks: tuple[Block, ...]
    caution: bool = True
    before: float = 4.0
    after: float = 6.0
    _PAD = 7.0
    _EDGE = 22.0

    def _head(self) -> Text:
        return Text(((self.heading, look.STRONG),), after=2.0)

    def _inner(self, width: float) -> float:
        return width - self._PAD - self._EDGE

    def _stack(self) -> tuple[Block, ...]:
        return (self._head(), *self.blocks)

    def height(self, width: float) -> float:
        inner = self._inner(width)
        return sum(block.height(inner) + block.after for block in self._stack()) + 2 * self._PAD

    def least(self, width: float) -> float:
        inner = self._inner(width)
        first = self.blocks[0].height(inner) if self.blocks else 0.0
        return self._head().height(inner) + first + 2 * self._PAD + 4.0

    def split(self, width: float, room: float, *, force: bool = False) -> tuple[Block, Block] | None:
        inner = self._inner(width)
        left = room - 2 * self._PAD - self._head().height(inner) - self._head().after
        for number, block in enumerate(self.blocks):
            needed = block.height(inner) + block.after
            if needed <= left:
                left -= needed
                continue
            cut = block.split(inner, left, force=True) if force and number == 0 else None
            if cut:
                return self._parts((cut[0],), (cut[1], *self.blocks[1:]))
            return self._parts(self.blocks[:number], self.blocks[number:]) if number else None
        return None

    def _parts(self, head: tuple[Block, ...], rest: tuple[Block, ...]) -> tuple[Block, Block]:
        return (
            Boxed(self.heading, head, self.caution, self.before, 0.0),
            Boxed(self.heading, rest, self.caution, 0.0, self.after),
        )

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        height = self.height(width)
        pen.box(x, top - height, width, height, fill=look.WASH)
        if self.caution:
            pen.box(x, top - height, 3.0, height, fill=look.INK)
            pen.warning(x + 8.5, top - self._PAD - 10.5)
        y = top - self._PAD
        for block in self._stack():
            block.draw(pen, x + self._EDGE, y, self._inner(width))
            y -= block.height(self._inner(width)) + block.after


def caution(heading: str, points: Sequence[str]) -> Boxed:
    """Caution box with one point per sentence."""
    return Boxed(heading, tuple(bullets(points, look.CELL)))


@dataclass(frozen=True, eq=False)
class NotesLines(Block):
    """Ruled lines to write on."""

    count: int = 5
    pitch: float = 19.0
    after: float = 4.0

    def height(self, width: float) -> float:
        return self.count * self.pitch

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        for number in range(1, self.count + 1):
            y = top - number * self.pitch + 3.0
            pen.line(x, y, x + width, y, look.RULE, 0.6)


@dataclass(frozen=True, eq=False)
class Signature(Block):
    """A line to sign on, or the name of the person who signed and when."""

    role: str
    name: str = ""
    signed: str = ""
    _ROOM = 30.0

    def _role(self, width: float) -> Text:
        return _at_most(3, self.role, look.LABEL, width * 0.62)

    def height(self, width: float) -> float:
        return self._ROOM + 2.0 + self._role(width).height(width * 0.62)

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        base = top - self._ROOM
        date_x, date_width = x + width * 0.66, width * 0.34
        pen.text(x, base + 4.0, one_line(self.name, look.BODY, width * 0.62), look.BODY)
        pen.text(date_x, base + 4.0, one_line(self.signed, look.CELL, date_width), look.CELL)
        pen.line(x, base, x + width * 0.62, base, look.INK, 0.8)
        pen.line(date_x, base, date_x + date_width, base, look.INK, 0.8)
        self._role(width).draw(pen, x, base - 2.0, width * 0.62)
        pen.text(date_x, pen.baseline(base - 2.0, look.LABEL), "Date and time", look.LABEL)


@dataclass(frozen=True, eq=False)
class Figure(Block):
    """A JPEG photo with its caption; bytes that are no JPEG give a box that says so."""

    jpeg: bytes
    caption: str
    most_height: float = 118.0

    def _size(self, width: float) -> tuple[float, float] | None:
        """Drawn width and height, from the header only: the picture itself is never decoded here."""
        try:
            wide, high = readJPEGInfo(BytesIO(self.jpeg))[:2]
            ImageReader(BytesIO(self.jpeg))
        except (PDFError, OSError, ValueError, TypeError, IndexError, SyntaxError, struct.error):
            return None
        if not wide or not high:
            return None
        scale = min(width / wide, self.most_height / high)
        return wide * scale, high * scale

    def _caption(self, width: float) -> Text:
        return _at_most(4, self.caption, look.SMALL, width)

    def height(self, width: float) -> float:
        size = self._size(width)
        return (size[1] if size else 40.0) + 4.0 + self._caption(width).height(width)

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        size = self._size(width)
        if size:
            pen.photo(ImageReader(BytesIO(self.jpeg)), x, top - size[1], *size)
        else:
            pen.box(x, top - 40.0, width, 40.0, stroke=look.RULE)
            unread = one_line("Photo could not be read", look.SMALL, width - 10.0)
            pen.text(x + 5.0, top - 23.0, unread, look.SMALL)
        self._caption(width).draw(pen, x, top - (size[1] if size else 40.0) - 4.0, width)
