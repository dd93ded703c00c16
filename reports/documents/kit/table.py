"""Data tables: columns with fixed or shared widths, rows of blocks, headers that repeat after a break."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby

from reports.documents.kit import look
from reports.documents.kit.blocks import Block, Gap, Text
from reports.documents.kit.look import Style
from reports.documents.kit.pen import Pen
from reports.documents.kit.text import one_line, width_of, wrap

_PAD_X = 3.5
_PAD_Y = 2.6
_GRID_GAP = 14.0


@dataclass(frozen=True)
class Column:
    """One column: a `width` in points, or a `share` of what the fixed columns leave.

    `group` sets a second heading over neighbouring columns of the same group; `write` frames its empty
    cells as room to write in; `mark` draws the shape of a chart series before the title.
    """

    title: str
    share: float = 0.0
    width: float = 0.0
    align: str = "left"
    group: str = ""
    style: Style = look.CELL
    write: bool = False
    mark: str = ""


@dataclass(frozen=True, eq=False)
class Writing(Block):
    """An empty cell framed by the table as room to write in."""

    def height(self, width: float) -> float:
        return 0.0

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        return


@dataclass(frozen=True, eq=False)
class TickBox(Block):
    """A cell with a box to tick, or a ticked one, and words beside it."""

    ticked: bool = False
    words: tuple[str, ...] = ("",)

    def height(self, width: float) -> float:
        return look.CELL.leading

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        step = width / len(self.words)
        for number, word in enumerate(self.words):
            left = x + number * step
            pen.tick_box(left, top - 9.6, 8.0, ticked=self.ticked)
            pen.text(left + 11.0, pen.baseline(top, look.CELL), one_line(word, look.CELL, step - 11.0), look.CELL)


Cell = Block | str
Row = tuple[Block, ...]


@dataclass(frozen=True, eq=False)
class Table(Block):
    """Rows under a header. `row_least` is the least row height: 20 leaves room for handwriting."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    row_least: float = 0.0
    ruled: bool = True
    before: float = 0.0
    after: float = 7.0
    keep_with_next: bool = False
    _heights: dict[float, list[float]] = field(default_factory=dict, repr=False)

    @property
    def _pad(self) -> float:
        """Cells of a ruled table keep clear of its rules, those of a grid stand flush with the text."""
        return _PAD_X if self.ruled else 0.0

    def _inner(self, wide: float) -> float:
        return wide - (2 * _PAD_X if self.ruled else _GRID_GAP)

    def widths(self, width: float) -> list[float]:
        fixed = sum(column.width for column in self.columns)
        shares = sum(column.share for column in self.columns) or 1.0
        return [column.width or (width - fixed) * column.share / shares for column in self.columns]

    def _header_text(self, column: Column) -> Text:
        return Text(((column.title, look.CELL_HEAD),), column.align)

    def _header_height(self, width: float) -> float:
        if not any(column.title for column in self.columns):
            return 0.0
        titles = max(
            self._header_text(column).height(wide - 2 * _PAD_X)
            for column, wide in zip(self.columns, self.widths(width), strict=True)
        )
        return titles + 4.0 + self._group_height(width)

    def _groups(self, width: float) -> list[tuple[str, float, float]]:
        """Group headings with their left edge and width."""
        found, x = [], 0.0
        pairs = zip(self.columns, self.widths(width), strict=True)
        for name, members in groupby(pairs, key=lambda pair: pair[0].group):
            wide = sum(width for _, width in members)
            found.append((name, x, wide))
            x += wide
        return found

    def _group_height(self, width: float) -> float:
        tall = [len(wrap(name, look.CELL_HEAD, wide - 2 * _PAD_X)) for name, _, wide in self._groups(width) if name]
        return max(tall) * look.CELL_HEAD.leading + 3.0 if tall else 0.0

    def _row_height(self, row: Row, widths: list[float]) -> float:
        tallest = max(cell.height(self._inner(wide)) for cell, wide in zip(row, widths, strict=True))
        return max(tallest + 2 * _PAD_Y, self.row_least)

    def row_heights(self, width: float) -> list[float]:
        if width not in self._heights:
            widths = self.widths(width)
            self._heights[width] = [self._row_height(row, widths) for row in self.rows]
        return self._heights[width]

    def height(self, width: float) -> float:
        return self._header_height(width) + sum(self.row_heights(width))

    def least(self, width: float) -> float:
        return self._header_height(width) + sum(self.row_heights(width)[:2])

    def split(self, width: float, room: float, *, force: bool = False) -> "tuple[Table, Table] | None":
        left = room - self._header_height(width)
        heights = self.row_heights(width)
        fit = 0
        while fit < len(heights) and heights[fit] <= left:
            left -= heights[fit]
            fit += 1
        if fit == len(heights):
            return None
        if fit >= 3 and len(heights) - fit == 1:
            fit -= 1
        if fit >= (1 if force else 2):
            return self._with(self.rows[:fit], last=False), self._with(self.rows[fit:], last=True)
        return self._split_first_row(width, left) if force else None

    def _with(self, rows: tuple[Row, ...], *, last: bool) -> "Table":
        before, after = (0.0, self.after) if last else (self.before, 0.0)
        return Table(self.columns, rows, self.row_least, self.ruled, before, after)

    def _split_first_row(self, width: float, room: float) -> "tuple[Table, Table] | None":
        head: list[Block] = []
        rest: list[Block] = []
        for cell, wide in zip(self.rows[0], self.widths(width), strict=True):
            inner = self._inner(wide)
            cut = None
            if cell.height(inner) > room - 2 * _PAD_Y:
                cut = cell.split(inner, room - 2 * _PAD_Y, force=True)
            head.append(cut[0] if cut else cell)
            rest.append(cut[1] if cut else Gap())
        if all(isinstance(cell, Gap) for cell in rest):
            return None
        return self._with((tuple(head),), last=False), self._with((tuple(rest), *self.rows[1:]), last=True)

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        widths = self.widths(width)
        y = top - self._header_height(width)
        if y < top:
            self._draw_header(pen, x, top, width)
        for row, height in zip(self.rows, self.row_heights(width), strict=True):
            left = x
            for cell, wide in zip(row, widths, strict=True):
                cell.draw(pen, left + self._pad, y - _PAD_Y, self._inner(wide))
                if isinstance(cell, Writing):
                    pen.box(left + 1.0, y - height + 1.5, wide - 2.0, height - 3.0, stroke=look.RULE)
                left += wide
            y -= height
            if self.ruled:
                pen.line(x, y, x + width, y, look.RULE, 0.4)

    def _draw_header(self, pen: Pen, x: float, top: float, width: float) -> None:
        bottom = top - self._header_height(width)
        for name, left, wide in self._groups(width):
            if not name:
                continue
            text = Text(((name, look.CELL_HEAD),), "centre")
            text.draw(pen, x + left + _PAD_X, top, wide - 2 * _PAD_X)
            y = top - self._group_height(width) + 1.5
            pen.line(x + left + _PAD_X, y, x + left + wide - _PAD_X, y, look.RULE, 0.5)
        left = x
        for column, wide in zip(self.columns, self.widths(width), strict=True):
            title = self._header_text(column)
            inner = wide - 2 * _PAD_X
            title.draw(pen, left + _PAD_X, bottom + 3.0 + title.height(inner), inner)
            if column.mark:
                first = title.lines(inner)[0][0]
                edge = left + _PAD_X + inner - width_of(first, look.CELL_HEAD)
                pen.series_mark(edge - 9.5, bottom + 3.0 + title.height(inner), column.mark)
            left += wide
        pen.line(x, bottom, x + width, bottom, look.INK, 0.8)


def table(columns: Sequence[Column], rows: Iterable[Sequence[Cell]], *, row_least: float = 0.0) -> Table:
    """A ruled table; a string cell takes the style and alignment of its column.

    An empty string in a `write` column becomes room to write in.
    """
    made = tuple(tuple(_cell(cell, column) for column, cell in zip(columns, row, strict=True)) for row in rows)
    return Table(tuple(columns), made, row_least)


def _cell(cell: Cell, column: Column) -> Block:
    if isinstance(cell, Block):
        return cell
    if column.write and not cell:
        return Writing()
    return Text(((cell, column.style),), column.align)


def grid(cells: Sequence[Block], across: int) -> Table:
    """Blocks side by side, `across` in a row, without header or rules."""
    filled = [*cells, *[Gap() for _ in range(-len(cells) % across)]]
    rows = tuple(tuple(filled[start : start + across]) for start in range(0, len(filled), across))
    return Table(tuple(Column("", share=1.0) for _ in range(across)), rows, ruled=False)


def facts(pairs: Sequence[tuple[str, str]], across: int = 3, *, keep_with_next: bool = False) -> Table:
    """Key-value block: a small label over each value; pairs without a value are left out."""
    cells = [Text(((label, look.LABEL), (value, look.BODY))) for label, value in pairs if value.strip()]
    return replace(grid(cells, across), keep_with_next=keep_with_next)


def checklist(items: Sequence[tuple[str, str]]) -> Table:
    """Things to do, each with a box to tick, its caution in small print and a line for a remark."""
    columns = (Column("", width=18.0), Column("", share=1.0), Column("", width=130.0, write=True))
    rows = [
        (
            TickBox(),
            Text(((text, look.CELL), *((("Caution: " + care, look.SMALL),) if care else ()))),
            Writing(),
        )
        for text, care in items
    ]
    return Table(columns, tuple(rows), 20.0)
