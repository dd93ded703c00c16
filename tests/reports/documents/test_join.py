"""Joined files read like their parts one behind the other, and the joiner holds one part at a time."""

import tracemalloc
from io import BytesIO

import pypdfium2 as pdfium
import pytest
from pypdf import PdfReader

from reports.documents.kit.join import Joiner, NotJoinable
from reports.documents.season_report import season_report_pdf
from reports.documents.service_sheet import VisitKind, service_sheet_pdf
from tests.reports.documents import sample_documents as samples


def joined(parts: list[bytes], title: str = "Sheets") -> bytes:
    file = BytesIO()
    joiner = Joiner(file, title=title, lang="en-GB")
    for part in parts:
        joiner.add(part)
    joiner.close()
    return file.getvalue()


def texts(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(BytesIO(pdf), strict=True).pages]


def pictures(pdf: bytes) -> list[bytes]:
    return [page.render(scale=0.5).to_pil().tobytes() for page in pdfium.PdfDocument(pdf)]


def test_pages_of_joined_documents_read_and_look_like_their_parts():
    parts = [service_sheet_pdf(samples.blank_sheet(kind, 5)) for kind in VisitKind]
    parts += [service_sheet_pdf(samples.completed_sheet()), season_report_pdf(samples.season_report())]

    whole = joined(parts, title="Sheets of 14 April, Łódź")

    assert texts(whole) == [text for part in parts for text in texts(part)]
    assert pictures(whole) == [picture for part in parts for picture in pictures(part)]
    reader = PdfReader(BytesIO(whole), strict=True)
    assert reader.metadata.title == "Sheets of 14 April, Łódź"
    assert reader.trailer["/Root"]["/Lang"] == "en-GB"


def test_a_part_that_is_no_pdf_of_ours_is_refused():
    joiner = Joiner(BytesIO())
    for wrong in (b"", b"%PDF-1.7 nonsense", b"startxref\n0\n%%EOF"):
        with pytest.raises(NotJoinable):
            joiner.add(wrong)


def test_nothing_to_join_is_an_error():
    with pytest.raises(ValueError, match="no document"):
        Joiner(BytesIO()).close()


def test_memory_does_not_grow_with_the_number_of_parts():
    part = service_sheet_pdf(samples.blank_sheet())

    class Sink:
        def write(self, data: bytes) -> None:
            pass

    def peak(count: int) -> int:
        tracemalloc.start()
        joiner = Joiner(Sink())
        for _ in range(count):
            joiner.add(part)
        joiner.close()
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return most

    peak(2)
    assert peak(200) - peak(20) < 200 * len(part) / 10
