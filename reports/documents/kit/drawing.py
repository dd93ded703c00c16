"""A drawing of geometry on paper, the same that the page shows as SVG."""

from dataclasses import dataclass

from reportlab.pdfgen.pathobject import PDFPathObject

from reports.documents.kit import look
from reports.documents.kit.blocks import Block
from reports.documents.kit.look import Ink, Style
from reports.documents.kit.pen import Pen
from reports.documents.kit.text import plain, width_of
from sites.core.drawing import TONES, Disc, Drawing, Line, Mark, Tone, Words


@dataclass(frozen=True, eq=False)
class DrawingBlock(Block):
    """The drawing as wide as the column, smaller where it would be higher than `most_height` points."""

    drawing: Drawing
    most_height: float = 600.0
    before: float = 4.0
    after: float = 8.0

    def _scale(self, width: float) -> float:
        return min(width / self.drawing.width, self.most_height / self.drawing.height, 1.0)

    def height(self, width: float) -> float:
        return self.drawing.height * self._scale(width)

    def draw(self, pen: Pen, x: float, top: float, width: float) -> None:
        scale = self._scale(width)
        for mark in self.drawing.marks:
            _draw(pen, mark, x, top, scale)


def _draw(pen: Pen, mark: Mark, left: float, top: float, scale: float) -> None:
    if isinstance(mark, Words):
        style = Style(
            look.SEMIBOLD if mark.bold else look.REGULAR, mark.size * scale, mark.size * scale, _ink(mark.tone)
        )
        text = plain(mark.text).replace("\n", " ")
        back = {"start": 0.0, "middle": 0.5, "end": 1.0}[mark.anchor] * width_of(text, style)
        pen.text(left + mark.x * scale - back, top - mark.y * scale, text, style)
        return
    canvas = pen.canvas
    canvas.setLineWidth(mark.width * scale)
    canvas.setDash([4 * scale, 3 * scale] if mark.dashed else [])
    if isinstance(mark, Line):
        canvas.setStrokeColorRGB(*_ink(mark.tone))
        canvas.drawPath(_path(pen, mark.points, left, top, scale), stroke=1, fill=0)
    else:
        if mark.fill != "none":
            canvas.setFillColorRGB(*_ink(mark.fill))
        if mark.stroke != "none":
            canvas.setStrokeColorRGB(*_ink(mark.stroke))
        paint = {"stroke": int(mark.stroke != "none"), "fill": int(mark.fill != "none")}
        if isinstance(mark, Disc):
            canvas.circle(left + mark.x * scale, top - mark.y * scale, mark.radius * scale, **paint)
        else:
            path = _path(pen, mark.points, left, top, scale)
            path.close()
            canvas.drawPath(path, **paint)
    canvas.setDash([])


def _path(pen: Pen, points: tuple[tuple[float, float], ...], left: float, top: float, scale: float) -> PDFPathObject:
    path = pen.canvas.beginPath()
    (x, y), *others = points
    path.moveTo(left + x * scale, top - y * scale)
    for x, y in others:
        path.lineTo(left + x * scale, top - y * scale)
    return path


def _ink(tone: Tone) -> Ink:
    red, green, blue = TONES[tone]
    return red / 255, green / 255, blue / 255
