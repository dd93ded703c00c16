"""How every Rillbook document looks: typeface, sizes, inks, in points and RGB fractions."""

from dataclasses import dataclass
from functools import cache
from importlib import resources
from io import BytesIO

from reportlab import rl_config
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

Ink = tuple[float, float, float]

# The kit never passes an address or a file name to ReportLab. Should a later block do so by mistake,
# these two lines still keep the library from opening anything (".invalid" never resolves, RFC 2606).
rl_config.trustedHosts = ["nothing.invalid"]
rl_config.trustedSchemes = []
# Streams stay binary: the text armour only makes files a quarter larger.
rl_config.useA85 = 0

REGULAR = "Rillbook-Regular"
SEMIBOLD = "Rillbook-Semibold"
_FACES = {REGULAR: "SourceSansPro-Regular.ttf", SEMIBOLD: "SourceSansPro-Semibold.ttf"}

INK: Ink = (0.10, 0.13, 0.15)
SOFT: Ink = (0.36, 0.40, 0.43)
RULE: Ink = (0.74, 0.77, 0.78)
WASH: Ink = (0.945, 0.95, 0.95)
# One accent, dark enough (about 30 % grey) to stay apart from RULE and WASH on a black and white printer.
ACCENT: Ink = (0.09, 0.35, 0.40)
PALE: Ink = (0.78, 0.82, 0.83)
WHITE: Ink = (1.0, 1.0, 1.0)

MM = 72 / 25.4


@dataclass(frozen=True)
class Style:
    """One way of setting a line: face, size and leading in points, ink."""

    face: str = REGULAR
    size: float = 9.2
    leading: float = 12.4
    ink: Ink = INK


BODY = Style()
STRONG = Style(SEMIBOLD)
LABEL = Style(REGULAR, 7.6, 10.2, SOFT)
SMALL = Style(REGULAR, 7.8, 10.2, SOFT)
CELL = Style(REGULAR, 8.4, 10.8)
CELL_STRONG = Style(SEMIBOLD, 8.4, 10.8)
CELL_HEAD = Style(SEMIBOLD, 7.6, 9.6, SOFT)
TITLE = Style(SEMIBOLD, 20, 24)
TITLE_LONG = Style(SEMIBOLD, 13, 16.5)
LEAD = Style(REGULAR, 11, 15, SOFT)
SECTION = Style(SEMIBOLD, 11.6, 15, ACCENT)
SUBSECTION = Style(SEMIBOLD, 9.4, 12.6)
FIRM_NAME = Style(SEMIBOLD, 12.5, 15.5)
BIG = Style(SEMIBOLD, 17, 21, ACCENT)


@cache
def glyphs() -> frozenset[int]:
    """Register the faces once per process; return the code points that all of them can print."""
    covered: list[set[int]] = []
    for name, file_name in _FACES.items():
        file = resources.files("font_source_sans_pro").joinpath("files", file_name).read_bytes()
        font = TTFont(name, BytesIO(file))
        pdfmetrics.registerFont(font)
        covered.append(set(font.face.charToGlyph))
    return frozenset(set.intersection(*covered))
