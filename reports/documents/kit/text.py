"""The one place where user text is made fit for paper: cleaned, measured, broken into lines.

The kit has no markup at all: no string is ever parsed, so `<img src=...>` in a note is eleven printed
characters and nothing else. What a typeface cannot print is replaced by MISSING; the page foot says so.
"""

import unicodedata
from functools import lru_cache

from reportlab.pdfbase import pdfmetrics

from reports.documents.kit.look import Style, glyphs

MISSING = "\N{CURRENCY SIGN}"
ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"
_AS_OTHER = {
    "\t": " ",
    "\N{NARROW NO-BREAK SPACE}": "\N{NO-BREAK SPACE}",
    "\N{FIGURE SPACE}": "\N{NO-BREAK SPACE}",
    "\N{NON-BREAKING HYPHEN}": "-",
    "\N{HYPHEN}": "-",
}
_NEW_LINES = "\n\v\f\x85\N{LINE SEPARATOR}\N{PARAGRAPH SEPARATOR}"


class _Printable(dict[int, str]):
    """Translation table that fills itself: code point -> what is printed for it."""

    def __missing__(self, code: int) -> str:
        self[code] = printed = _printed(chr(code))
        return printed


def _printed(char: str) -> str:
    if char in _NEW_LINES:
        return "\n"
    if char in _AS_OTHER:
        return _AS_OTHER[char]
    category = unicodedata.category(char)
    # Cf holds the bidi overrides that could make a line read other than it is stored.
    if category in ("Cc", "Cf", "Cs") or 0xFE00 <= ord(char) <= 0xFE0F:
        return ""
    if ord(char) in glyphs():
        return char
    return " " if category == "Zs" else MISSING


_TABLE = _Printable()


def plain(text: str) -> str:
    """Clean text: composed (NFC), control and format characters gone, unprintable ones as MISSING."""
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    return unicodedata.normalize("NFC", text).translate(_TABLE)


def width_of(text: str, style: Style) -> float:
    """Width of cleaned text, points."""
    glyphs()
    return float(pdfmetrics.stringWidth(text, style.face, style.size))


@lru_cache(maxsize=8192)
def wrap(text: str, style: Style, width: float) -> tuple[str, ...]:
    """Lines of `text`, none wider than `width` points; words that do not fit are broken.

    Line ends in the text are kept, runs of empty lines become one. No text gives no lines.
    """
    lines: list[str] = []
    for paragraph in plain(text).split("\n"):
        words = paragraph.split(" ")
        broken = _wrap_words([word for word in words if word], style, width)
        if broken or (lines and lines[-1]):
            lines.extend(broken or [""])
    while lines and not lines[-1]:
        lines.pop()
    return tuple(lines)


def _wrap_words(words: list[str], style: Style, width: float) -> list[str]:
    lines: list[str] = []
    line, used = "", 0.0
    space = width_of(" ", style)
    for word in words:
        for piece in _pieces(word, style, width):
            piece_width = width_of(piece, style)
            if line and used + space + piece_width <= width:
                line, used = f"{line} {piece}", used + space + piece_width
            else:
                if line:
                    lines.append(line)
                line, used = piece, piece_width
    return [*lines, line] if line else lines


def _pieces(word: str, style: Style, width: float) -> list[str]:
    """A word cut into parts that fit; at least one character each, so that a tiny width still ends."""
    if width_of(word, style) <= width:
        return [word]
    pieces, piece, used = [], "", 0.0
    for char in word:
        char_width = width_of(char, style)
        if piece and used + char_width > width:
            pieces.append(piece)
            piece, used = "", 0.0
        piece, used = piece + char, used + char_width
    return [*pieces, piece]


def one_line(text: str, style: Style, width: float) -> str:
    """The text on a single line, cut with an ellipsis where it does not fit."""
    lines = wrap(" ".join(plain(text).split("\n")), style, width)
    if len(lines) <= 1:
        return lines[0] if lines else ""
    line = lines[0]
    while line and width_of(line + ELLIPSIS, style) > width:
        line = line[:-1]
    return line.rstrip() + ELLIPSIS
