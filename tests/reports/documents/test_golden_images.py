"""The three service sheets as pictures, against pictures that were looked at and kept.

After a change of looks: `RILLBOOK_KEEP_PICTURES=1 pytest tests/reports/documents/test_golden_images.py`, then look at
every picture before it is committed.
"""

import os
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest
from PIL import Image

from reports.documents.service_sheet import service_sheet_pdf
from reports.documents.service_sheet.data import VisitKind
from tests.reports.documents import sample_documents as samples

KEPT = Path(__file__).with_name("golden")
DPI = 60
# Greys of 0 to 255. Another version of the renderer smooths edges otherwise; a moved line or a lost box is much more.
SMOOTHED, MOST_CHANGED = 64, 0.002

SHEETS = {f"blank-{kind}": (samples.blank_sheet, kind) for kind in ("startup", "mid_season", "winterisation")}
SHEETS["completed-winterisation"] = (samples.completed_sheet, "winterisation")


def pictures(pdf: bytes) -> list[Image.Image]:
    return [page.render(scale=DPI / 72, grayscale=True).to_pil() for page in pdfium.PdfDocument(pdf)]


def changed(one: Image.Image, other: Image.Image) -> float:
    """The share of pixels that differ by more than smoothing."""
    return float((np.abs(np.asarray(one, np.int16) - np.asarray(other, np.int16)) > SMOOTHED).mean())


@pytest.mark.parametrize("name", SHEETS)
def test_a_sheet_looks_as_it_did_when_it_was_looked_at(name):
    make, kind = SHEETS[name]
    drawn = pictures(service_sheet_pdf(make(VisitKind(kind))))
    if os.environ.get("RILLBOOK_KEEP_PICTURES"):
        for number, picture in enumerate(drawn, start=1):
            picture.save(KEPT / f"{name}-{number}.png", optimize=True)
    kept = [Image.open(path) for path in sorted(KEPT.glob(f"{name}-*.png"))]
    assert [picture.size for picture in drawn] == [picture.size for picture in kept]
    assert [changed(one, other) <= MOST_CHANGED for one, other in zip(drawn, kept, strict=True)] == [True] * len(kept)


def test_a_lost_box_or_a_moved_line_is_seen():
    [page, *_] = pictures(service_sheet_pdf(samples.blank_sheet(VisitKind.STARTUP)))
    moved = Image.fromarray(np.roll(np.asarray(page), 3, axis=0))
    assert changed(page, moved) > MOST_CHANGED
    lost = page.copy()
    lost.paste(255, (0, 300, page.width, 340))
    assert changed(page, lost) > MOST_CHANGED
