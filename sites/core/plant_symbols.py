"""The symbols of the plant drawings: process-diagram and wiring shapes in our own hand, each at its middle (x, y)."""

import math

from sites.core.drawing import Disc, Line, Mark, Shape, Tone, Words, box

SIZE = 13.0  # half the width of a symbol


def valve(x: float, y: float, *, upright: bool = False, master: bool = False, tone: Tone = "ink") -> list[Mark]:
    """Two triangles tip to tip along the pipe, with a coil on a stem; the master valve is filled."""
    s, h = SIZE, SIZE * 0.62
    fill: Tone = tone if master else "white"
    if upright:
        first, second = ((x - h, y - s), (x + h, y - s), (x, y)), ((x - h, y + s), (x + h, y + s), (x, y))
        stem = Line(((x, y), (x - s - 3, y)), tone)
        coil = box(x - s - 11, y - 5, 8, 10, stroke=tone)
    else:
        first, second = ((x - s, y - h), (x - s, y + h), (x, y)), ((x + s, y - h), (x + s, y + h), (x, y))
        stem = Line(((x, y), (x, y - s - 2)), tone)
        coil = box(x - 5, y - s - 9, 10, 8, stroke=tone)
    return [stem, coil, Shape(first, fill, tone), Shape(second, fill, tone)]


def supply(x: float, y: float) -> list[Mark]:
    """A disc with two waves."""
    waves = []
    for lift in (-3.5, 4.5):
        points = tuple((x - 9 + step, y + lift + 2.4 * math.sin(step / 18 * 4 * math.pi)) for step in range(0, 19, 1))
        waves.append(Line(points, "water", 1.6))
    return [Disc(x, y, SIZE + 2), *waves]


def pump(x: float, y: float) -> list[Mark]:
    """A disc with a triangle that points the way the water goes: down."""
    s = SIZE + 2
    arrow = ((x - s * 0.8, y - s * 0.55), (x + s * 0.8, y - s * 0.55), (x, y + s * 0.95))
    return [Disc(x, y, s), Shape(arrow, "ink", "ink", 1.0)]


def backflow(x: float, y: float) -> list[Mark]:
    """Two check valves in one body: each a triangle against a bar."""
    marks: list[Mark] = [box(x - 15, y - 18, 30, 36)]
    for top in (y - 14, y + 2):
        marks.append(Shape(((x - 7, top), (x + 7, top), (x, top + 10)), "ink", "ink", 1.0))
        marks.append(Line(((x - 8, top + 11), (x + 8, top + 11)), "ink", 2.0))
    return marks


def coil(x: float, y: float) -> list[Mark]:
    """A box with a stroke across: the winding of a valve or a relay."""
    return [box(x - SIZE, y - 8, 2 * SIZE, 16), Line(((x - 5, y + 8), (x + 5, y - 8)))]


def contact(x: float, y: float) -> list[Mark]:
    """An open switch of 26 units from x to the right."""
    lever = Line(((x + 4, y), (x + 22, y - 9)))
    return [Disc(x + 4, y, 2, "ink"), lever, Disc(x + 24, y, 2, "ink")]


def transformer(x: float, y: float) -> list[Mark]:
    """Two rings that overlap."""
    return [Disc(x - 7, y, 12, "none"), Disc(x + 7, y, 12, "none")]


def battery(x: float, y: float) -> list[Mark]:
    return [Line(((x - 4, y - 13), (x - 4, y + 13))), Line(((x + 4, y - 7), (x + 4, y + 7)), width=4)]


def missing(x: float, y: float) -> list[Mark]:
    """What the register does not know: a dashed ring with a question mark."""
    return [
        Disc(x, y, SIZE + 2, "white", "soft", dashed=True),
        Words(x, y + 5, "?", 15, bold=True, anchor="middle", tone="soft"),
    ]


def fault(x: float, y: float) -> list[Mark]:
    """A triangle with an exclamation mark."""
    corners = ((x - 7, y + 6), (x + 7, y + 6), (x, y - 7))
    return [
        Shape(corners, "white", "alert", 1.6),
        Line(((x, y - 2.5), (x, y + 2)), "alert", 1.6),
        Disc(x, y + 4, 0.9, "alert", "alert", 0.4),
    ]


def legend(entries: list[tuple[list[Mark], str]], *, x: float, y: float, width: float) -> tuple[list[Mark], float]:
    """Symbols drawn around (0, 0) with their names, in columns; the marks and the height they take."""
    across = max(1, int((width + 10) // 190))
    wide = width / across
    marks: list[Mark] = []
    for number, (symbol, name) in enumerate(entries):
        left, top = x + (number % across) * wide, y + (number // across) * 42
        marks += [moved(mark, left + 24, top + 24) for mark in symbol]
        marks.append(Words(left + 50, top + 28, name, 12, tone="soft"))
    return marks, 42.0 * -(-len(entries) // across) + 8


def moved(mark: Mark, dx: float, dy: float) -> Mark:
    """The mark shifted."""
    if isinstance(mark, Line):
        return Line(tuple((x + dx, y + dy) for x, y in mark.points), mark.tone, mark.width, mark.dashed)
    if isinstance(mark, Shape):
        points = tuple((x + dx, y + dy) for x, y in mark.points)
        return Shape(points, mark.fill, mark.stroke, mark.width, mark.dashed)
    if isinstance(mark, Disc):
        return Disc(mark.x + dx, mark.y + dy, mark.radius, mark.fill, mark.stroke, mark.width, mark.dashed)
    return Words(mark.x + dx, mark.y + dy, mark.text, mark.size, mark.bold, mark.anchor, mark.tone)
