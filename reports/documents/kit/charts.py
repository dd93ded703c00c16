"""Vector graphics of the reports, drawn with plain rules and boxes and labelled where the eye already is.

Shapes, not colours, tell series apart: a solid dark bar, a pale bar with an outline, a tick, a dashed
line. Every printed figure is the caller's finished text; the value beside it only sets a length.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from reports.documents.kit import look
from reports.documents.kit.blocks import Block, Text
from reports.documents.kit.pen import Pen
from reports.documents.kit.table import Cell, Column, Table, table
from reports.documents.kit.text import one_line, width_of


@dataclass(frozen=True)
class Amount:
    """A charted figure: `value` sets the length drawn (never negative), `text` is what is printed."""

    value: float
    text: str


@dataclass(frozen=True, eq=False)
class Bars(Block):
    """Cell of a bar table: a dark bar, a pale one under it, a tick across both; fractions of the width."""

    dark: float | None
    pale: float | None
    tick: float | None
    _HIGH = 6.0

    def height(self, width: float) -> float:
        return 2 * self._HIGH + 1.0

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        if self.dark is not None:
            high = self._HIGH if self.pale is not None else 2 * self._HIGH
            pen.box(x, top - high, max(self.dark * width, 0.4), high, fill=look.ACCENT)
        if self.pale is not None:
            wide = max(self.pale * width, 0.4)
            high = self._HIGH - 1.5
            pen.box(x, top - self._HIGH - 0.8 - high, wide, high, fill=look.PALE, stroke=look.SOFT)
        if self.tick is not None:
            pen.line(x + self.tick * width, top + 1.2, x + self.tick * width, top - 13.4, look.INK, 1.5)


@dataclass(frozen=True)
class BarRow:
    """One row: a name, then the figures of the dark bar, the pale bar and the tick (None: not known)."""

    name: str
    dark: Amount | None
    pale: Amount | None = None
    tick: Amount | None = None


@dataclass(frozen=True)
class BarNames:
    """Headings of a bar table; an empty name drops that series (the unit belongs into the name)."""

    first: str
    dark: str
    pale: str = ""
    tick: str = ""


NOT_KNOWN = "–"


def bar_table(names: BarNames, rows: Sequence[BarRow], *, name_width: float = 120.0) -> Table:
    """Horizontal bars with their figures in columns beside them; breaks over pages like any table."""
    most = max((amount.value for row in rows for amount in _amounts(row)), default=0.0)
    series = [
        (shape, title) for shape, title in (("dark", names.dark), ("tick", names.tick), ("pale", names.pale)) if title
    ]
    columns = [
        Column(names.first, width=name_width, style=look.CELL),
        Column("", share=1.0),
        *[Column(title, width=68.0, align="right", mark=shape) for shape, title in series],
    ]
    made: list[list[Cell]] = []
    for row in rows:
        figures: list[Block] = []
        for shape, _ in series:
            amount: Amount | None = getattr(row, shape)
            style = look.CELL_STRONG if shape == "dark" else look.CELL
            figures.append(Text(((amount.text if amount else NOT_KNOWN, style),), "right"))
        bars = Bars(*[_part(getattr(row, shape), most) for shape in ("dark", "pale", "tick")])
        made.append([row.name, bars, *figures])
    return table(columns, made)


def _amounts(row: BarRow) -> list[Amount]:
    return [amount for amount in (row.dark, row.pale, row.tick) if amount]


def _part(amount: Amount | None, most: float) -> float | None:
    if amount is None:
        return None
    return min(max(amount.value / most, 0.0), 1.0) if most > 0 else 0.0


@dataclass(frozen=True)
class CurvePoint:
    """One step of a season curve (a week, say): a label for the foot or "", and depths in one unit."""

    label: str
    line: float
    dashed: float | None = None
    bar: float = 0.0


@dataclass(frozen=True, eq=False)
class Curve(Block):
    """A line, a dashed line to compare with, and bars from the foot; each named at its right end.

    `scale` is the one rule across the chart, for example Amount(40, "40 mm a week").
    """

    points: tuple[CurvePoint, ...]
    line_name: str
    dashed_name: str
    bar_name: str
    scale: Amount
    before: float = 2.0
    after: float = 8.0
    _HIGH = 112.0
    _FOOT = 14.0
    _NAMES = 96.0

    def height(self, width: float) -> float:
        return self._HIGH

    def _most(self) -> float:
        tops = [max(point.line, point.dashed or 0.0, point.bar) for point in self.points]
        return max([self.scale.value, *tops]) * 1.08 or 1.0

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        if not self.points:
            return
        foot = top - self._HIGH + self._FOOT
        # The scale's words stand in a gutter: inside the plot a bar may run through them.
        gutter = width_of(self._scale_text(width), look.LABEL) + 5.0
        x, plot_width = x + gutter, width - self._NAMES - gutter
        step = plot_width / len(self.points)
        up = (self._HIGH - self._FOOT) / self._most()
        middles = [x + (number + 0.5) * step for number in range(len(self.points))]
        scale_y = foot + self.scale.value * up
        pen.line(x, scale_y, x + plot_width, scale_y, look.RULE, 0.5)
        pen.text(x - gutter, scale_y - 2.5, self._scale_text(width), look.LABEL)
        for middle, point in zip(middles, self.points, strict=True):
            if point.bar > 0:
                pen.box(middle - step * 0.32, foot, step * 0.64, point.bar * up, fill=look.PALE, stroke=look.SOFT)
        self._draw_feet(pen, x, foot, step)
        dashed = [
            (m, foot + p.dashed * up) for m, p in zip(middles, self.points, strict=True) if p.dashed is not None
        ]
        pen.polyline(dashed, look.INK, 0.9, dashed=True)
        line = [(m, foot + p.line * up) for m, p in zip(middles, self.points, strict=True)]
        pen.polyline(line, look.ACCENT, 1.9)
        pen.line(x, foot, x + plot_width, foot, look.INK, 0.7)
        ends = [(self.line_name, line[-1][1], look.CELL_STRONG)]
        if dashed:
            ends.append((self.dashed_name, dashed[-1][1], look.CELL))
        ends.append((self.bar_name, foot + self.points[-1].bar * up / 2, look.CELL))
        self._draw_names(pen, x + plot_width, foot, ends)

    def _scale_text(self, width: float) -> str:
        return one_line(self.scale.text, look.LABEL, width / 4)

    def _draw_feet(self, pen: Pen, x: float, foot: float, step: float) -> None:
        free = x
        for number, point in enumerate(self.points):
            left = x + number * step
            if point.label and left >= free:
                label = one_line(point.label, look.LABEL, 60.0)
                pen.line(left, foot, left, foot - 3.5, look.INK, 0.6)
                pen.text(left + 2.0, foot - 10.0, label, look.LABEL)
                free = left + width_of(label, look.LABEL) + 8.0

    def _draw_names(self, pen: Pen, x: float, foot: float, ends: list[tuple[str, float, look.Style]]) -> None:
        """Names beside the ends of their series, pushed apart from below so that none overlap."""
        lowest = foot - 2.0
        for name, y, style in sorted(ends, key=lambda end: end[1]):
            at = max(y - 2.5, lowest)
            pen.line(x - 2.0, y, x + 6.0, at + 2.5, look.SOFT, 0.5)
            pen.text(x + 9.0, at, one_line(name, style, self._NAMES - 9.0), style)
            lowest = at + style.leading


def big_figure(value: str, label: str, note: str = "") -> Text:
    """A headline figure: large value, what it is, and a line of comparison."""
    return Text(((value, look.BIG), (label, look.CELL_STRONG), *(((note, look.SMALL),) if note else ())))
