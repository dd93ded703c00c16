"""A drawing as plain geometry: what the page shows as SVG and the paper as PDF is one and the same.

Lengths are drawing units, x to the right and y DOWN from the upper left corner. A tone is the name of an ink; what is
told by a tone is also told by shape or words, so that everything reads in grey.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal
from xml.sax.saxutils import escape, quoteattr

Tone = Literal["none", "white", "ink", "soft", "rule", "wash", "pale", "water", "alert", "wait"]
Anchor = Literal["start", "middle", "end"]

# Inks as red, green, blue of 255. In grey: ink 15 %, alert 30 %, water 40 %, soft 42 %, wait 60 %, pale 83 %.
TONES: dict[str, tuple[int, int, int]] = {
    "white": (255, 255, 255),
    "ink": (28, 38, 36),
    "soft": (96, 106, 103),
    "rule": (188, 196, 193),
    "wash": (240, 243, 241),
    "pale": (207, 221, 219),
    "water": (23, 104, 102),
    "alert": (150, 40, 27),
    "wait": (178, 140, 70),
}
WIDTH_OF_EM, BOLD_OF_EM = 0.56, 0.62  # mean width of a letter, generous: no typeface may run out of its room


@dataclass(frozen=True)
class Line:
    """An open line through points."""

    points: tuple[tuple[float, float], ...]
    tone: Tone = "ink"
    width: float = 1.5
    dashed: bool = False


@dataclass(frozen=True)
class Shape:
    """A closed polygon."""

    points: tuple[tuple[float, float], ...]
    fill: Tone = "white"
    stroke: Tone = "ink"
    width: float = 1.5
    dashed: bool = False


@dataclass(frozen=True)
class Disc:
    x: float
    y: float
    radius: float
    fill: Tone = "white"
    stroke: Tone = "ink"
    width: float = 1.5
    dashed: bool = False


@dataclass(frozen=True)
class Words:
    """One line of text on its baseline."""

    x: float
    y: float
    text: str
    size: float = 13.0
    bold: bool = False
    anchor: Anchor = "start"
    tone: Tone = "ink"


Mark = Line | Shape | Disc | Words


@dataclass
class Drawing:
    """Marks in order of drawing. `title` is what the picture shows, in words, for those who do not see it."""

    width: float
    height: float
    title: str
    marks: list[Mark] = field(default_factory=list)

    def add(self, *marks: Mark) -> None:
        self.marks.extend(marks)

    def extend(self, marks: Iterable[Mark]) -> None:
        self.marks.extend(marks)


def box(
    x: float,
    y: float,
    width: float,
    height: float,
    *,
    fill: Tone = "white",
    stroke: Tone = "ink",
    line: float = 1.5,
    dashed: bool = False,
) -> Shape:
    """A rectangle from its upper left corner."""
    corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    return Shape(corners, fill, stroke, line, dashed)


def fitted(text: str, size: float, width: float, *, bold: bool = False) -> str:
    """The text cut with an ellipsis to what surely fits into the width."""
    most = max(1, int(width / (size * (BOLD_OF_EM if bold else WIDTH_OF_EM))))
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def svg(drawing: Drawing) -> str:
    """The drawing as an SVG document of its own: attributes only, no style, no script, no outside address."""
    body = "\n".join(_svg_mark(mark) for mark in drawing.marks)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {drawing.width:g} {drawing.height:g}" '
        f'width="{drawing.width:g}" height="{drawing.height:g}" role="img" '
        "font-family=\"system-ui, 'Helvetica Neue', Arial, sans-serif\">\n"
        f"<title>{escape(_printable(drawing.title))}</title>\n"
        f'<rect width="{drawing.width:g}" height="{drawing.height:g}" fill="#fff"/>\n{body}\n</svg>\n'
    )


def _svg_mark(mark: Mark) -> str:
    if isinstance(mark, Words):
        bold = ' font-weight="700"' if mark.bold else ""
        return (
            f'<text x="{mark.x:.1f}" y="{mark.y:.1f}" font-size="{mark.size:g}"{bold} text-anchor="{mark.anchor}" '
            f'fill="{_hex(mark.tone)}">{escape(_printable(mark.text))}</text>'
        )
    dashes = ' stroke-dasharray="4 3"' if mark.dashed else ""
    if isinstance(mark, Line):
        return (
            f'<polyline points="{_points(mark.points)}" fill="none" stroke="{_hex(mark.tone)}" '
            f'stroke-width="{mark.width:g}"{dashes}/>'
        )
    paint = f'fill="{_hex(mark.fill)}" stroke="{_hex(mark.stroke)}" stroke-width="{mark.width:g}"{dashes}'
    if isinstance(mark, Disc):
        return f'<circle cx="{mark.x:.1f}" cy="{mark.y:.1f}" r="{mark.radius:.1f}" {paint}/>'
    return f"<polygon points={quoteattr(_points(mark.points))} {paint}/>"


def _points(points: tuple[tuple[float, float], ...]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _hex(tone: Tone) -> str:
    return "none" if tone == "none" else "#{:02x}{:02x}{:02x}".format(*TONES[tone])


def _printable(text: str) -> str:
    """Without the control characters that no XML document may hold."""
    return "".join(char for char in text if char.isprintable())
