"""Reads a finished PDF back: its text, and where every line of text stands."""

from dataclasses import dataclass
from functools import cache
from io import BytesIO

import pdfplumber
import pypdfium2 as pdfium
from pypdf import PdfReader

MARGIN = 36.0


@dataclass(frozen=True)
class Box:
    page: int
    text: str
    left: float
    right: float
    bottom: float
    top: float
    page_width: float
    page_height: float


@cache
def text_of(pdf: bytes) -> str:
    """All text with runs of white space as one space."""
    pages = PdfReader(BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def squeezed(text: str) -> str:
    """Without any white space: what is left when lines were broken."""
    return "".join(text.split())


def pages_of(pdf: bytes) -> int:
    return len(PdfReader(BytesIO(pdf)).pages)


@cache
def boxes(pdf: bytes) -> tuple[Box, ...]:
    """One box for each printed piece of text, as tight as its letters; y counts from the foot of the page."""
    document = pdfium.PdfDocument(pdf)
    found = []
    for number, page in enumerate(document, start=1):
        text_page = page.get_textpage()
        wide, high = page.get_size()
        for index in range(text_page.count_rects()):
            left, bottom, right, top = text_page.get_rect(index)
            text = text_page.get_text_bounded(left, bottom, right, top).strip()
            found.append(Box(number, text, left, right, bottom, top, wide, high))
    document.close()
    return tuple(found)


def outside(pdf: bytes) -> list[Box]:
    """Text that leaves the printable part of the page."""
    return [
        box
        for box in boxes(pdf)
        if box.left < MARGIN
        or box.right > box.page_width - MARGIN
        or box.bottom < 20.0
        or box.top > box.page_height - 20.0
    ]


def words_outside(pdf: bytes) -> list[str]:
    """The same question asked of a second, slower library that reads words by their font boxes."""
    found = []
    with pdfplumber.open(BytesIO(pdf)) as document:
        for page in document.pages:
            for word in page.extract_words():
                across = word["x0"] < MARGIN or word["x1"] > float(page.width) - MARGIN
                if across or word["top"] < 20.0 or word["bottom"] > float(page.height) - 20.0:
                    found.append(word["text"])
    return found


def overlapping(pdf: bytes) -> list[tuple[Box, Box]]:
    """Pairs of texts of one page that are printed over each other."""
    found = []
    by_page: dict[int, list[Box]] = {}
    for box in boxes(pdf):
        by_page.setdefault(box.page, []).append(box)
    for texts in by_page.values():
        texts.sort(key=lambda box: box.bottom)
        for index, first in enumerate(texts):
            for second in texts[index + 1 :]:
                if second.bottom + 0.2 >= first.top:
                    break
                if first.left + 0.2 < second.right and second.left + 0.2 < first.right:
                    found.append((first, second))
    return found


def into_the_foot(pdf: bytes) -> list[Box]:
    """Text between the last line the blocks may use and the rule of the page foot."""
    return [box for box in boxes(pdf) if 45.0 < box.bottom < 57.0]
