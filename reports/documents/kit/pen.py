"""The pen: the few strokes the blocks are drawn with, on a ReportLab canvas."""

from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from reports.documents.kit import look
from reports.documents.kit.look import Ink, Style
from reports.documents.kit.text import MISSING, plain, width_of


class Pen:
    """Draws cleaned text and simple shapes; remembers whether a character had to be replaced."""

    def __init__(self, canvas: Canvas) -> None:
        self.canvas = canvas
        self.fell_back = False
        self._entries = 0

    def baseline(self, top: float, style: Style) -> float:
        """Baseline of a line whose box hangs from `top`."""
        return top - (style.leading - style.size) / 2 - style.size * 0.80

    def text(self, x: float, y: float, text: str, style: Style) -> None:
        """One line of text that has been through `plain` (by `wrap` or `one_line`)."""
        if not text:
            return
        self.fell_back = self.fell_back or MISSING in text
        self.canvas.setFont(style.face, style.size)
        self.canvas.setFillColorRGB(*style.ink)
        self.canvas.drawString(x, y, text)

    def aligned(self, x: float, y: float, width: float, text: str, style: Style, align: str) -> None:
        """One line placed "left", "right" or "centre" in `width`."""
        slack = width - width_of(text, style) if align != "left" else 0.0
        self.text(x + (slack if align == "right" else slack / 2), y, text, style)

    def line(self, x1: float, y1: float, x2: float, y2: float, ink: Ink, thick: float) -> None:
        """A straight rule."""
        self.canvas.setStrokeColorRGB(*ink)
        self.canvas.setLineWidth(thick)
        self.canvas.line(x1, y1, x2, y2)

    def polyline(self, points: list[tuple[float, float]], ink: Ink, thick: float, *, dashed: bool = False) -> None:
        """A line through points, dashed where two lines must stay apart in grey."""
        if len(points) < 2:
            return
        self.canvas.setStrokeColorRGB(*ink)
        self.canvas.setLineWidth(thick)
        self.canvas.setDash([3, 2] if dashed else [])
        path = self.canvas.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        self.canvas.drawPath(path, stroke=1, fill=0)
        self.canvas.setDash([])

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        fill: Ink | None = None,
        stroke: Ink | None = None,
    ) -> None:
        """A rectangle from its lower left corner."""
        if fill:
            self.canvas.setFillColorRGB(*fill)
        if stroke:
            self.canvas.setStrokeColorRGB(*stroke)
            self.canvas.setLineWidth(0.7)
        self.canvas.rect(x, y, width, height, stroke=int(bool(stroke)), fill=int(bool(fill)))

    def tick_box(self, x: float, y: float, size: float, *, ticked: bool = False) -> None:
        """A box to tick by pen, or one that is ticked."""
        self.box(x, y, size, size, stroke=look.INK)
        if ticked:
            corner = [(x + size * 0.2, y + size * 0.5), (x + size * 0.42, y + size * 0.24)]
            self.polyline([*corner, (x + size * 0.86, y + size * 0.84)], look.INK, 1.4)

    def warning(self, x: float, y: float) -> None:
        """A triangle with an exclamation mark, drawn so that no typeface is needed."""
        self.canvas.setStrokeColorRGB(*look.INK)
        self.canvas.setLineWidth(1.1)
        self.canvas.setLineJoin(1)
        path = self.canvas.beginPath()
        path.moveTo(x, y)
        path.lineTo(x + 10.0, y)
        path.lineTo(x + 5.0, y + 9.5)
        path.close()
        self.canvas.drawPath(path, stroke=1, fill=0)
        self.line(x + 5.0, y + 3.2, x + 5.0, y + 6.4, look.INK, 1.2)
        self.line(x + 5.0, y + 1.3, x + 5.0, y + 2.3, look.INK, 1.2)

    def series_mark(self, x: float, top: float, shape: str) -> None:
        """The shape a chart series is drawn in, 7 points wide: "dark", "pale" or "tick"."""
        if shape == "dark":
            self.box(x, top - 7.6, 7.0, 5.5, fill=look.ACCENT)
        elif shape == "pale":
            self.box(x, top - 7.2, 7.0, 4.5, fill=look.PALE, stroke=look.SOFT)
        elif shape == "tick":
            self.line(x + 4.0, top - 9.0, x + 4.0, top - 1.0, look.INK, 1.5)

    def modules(self, x: float, top: float, size: float, rows: tuple[tuple[bool, ...], ...]) -> None:
        """Squares of a code from its upper left corner; neighbours in a row are one rectangle, without seams."""
        self.canvas.setFillColorRGB(*look.INK)
        path = self.canvas.beginPath()
        for number, row in enumerate(rows):
            y = top - (number + 1) * size
            start = None
            for index, dark in enumerate((*row, False)):
                if dark and start is None:
                    start = index
                elif not dark and start is not None:
                    path.rect(x + start * size, y, (index - start) * size, size * 1.01)
                    start = None
        self.canvas.drawPath(path, stroke=0, fill=1)

    def photo(self, image: ImageReader, x: float, y: float, width: float, height: float) -> None:
        """A photo with a hairline round it."""
        self.canvas.drawImage(image, x, y, width, height)
        self.box(x, y, width, height, stroke=look.RULE)

    def outline(self, title: str, top: float) -> None:
        """An entry of the reader's outline that leads here."""
        self._entries += 1
        key = f"part-{self._entries}"
        self.canvas.bookmarkHorizontal(key, 0, top + 12)
        self.canvas.addOutlineEntry(plain(title).replace("\n", " "), key, 0)
