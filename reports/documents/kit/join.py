"""Puts finished documents of this kit one behind the other, holding one of them in memory at a time.

Reads only files that `pdf_bytes` wrote: plain numbered objects found through their cross-reference table
(ISO 32000-1, 7.5.4), no object streams, no encryption. Pages keep everything they have; the readers' outlines of the
single documents are left behind.
"""

import re
from typing import BinaryIO

_REFERENCE = re.compile(rb"\b(\d+) 0 R\b")
_HEADER = b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n"
# Objects 1 and 2 of the joined file: the catalogue and the root of the page tree.
_CATALOGUE, _ROOT = 1, 2


class NotJoinable(ValueError):
    """The bytes are no PDF of this kit."""


class Joiner:
    """Writes one PDF to `file` from many: `add` each, then `close`."""

    def __init__(self, file: BinaryIO, *, title: str = "", lang: str = "") -> None:
        self._file = file
        self._title, self._lang = title, lang
        self._at = 0
        self._offsets: dict[int, int] = {}
        self._next = 3
        self._trees: list[int] = []
        self.pages = 0
        self._write(_HEADER)

    def add(self, pdf: bytes) -> None:
        """Append all pages of `pdf`; NotJoinable where it is not one of ours."""
        offsets, root = _table(pdf)
        shift = self._next - 1
        tree = _reference_of(_object(pdf, offsets[root]), b"/Pages")
        for number, offset in offsets.items():
            if number == root:
                continue
            body = _shifted(_object(pdf, offset), shift)
            if number == tree:
                self.pages += _count_of(body)
                body = body.replace(b"/Type /Pages", b"/Type /Pages /Parent %d 0 R" % _ROOT, 1)
                self._trees.append(number + shift)
            self._put(number + shift, body)
        self._next += max(offsets)

    def close(self) -> None:
        """Write the page tree, the catalogue and the table; ValueError where nothing was added."""
        if not self._trees:
            raise ValueError("There is no document to join.")
        kids = b" ".join(b"%d 0 R" % number for number in self._trees)
        self._put(_ROOT, b"<< /Type /Pages /Count %d /Kids [ %s ] >>" % (self.pages, kids))
        lang = b" /Lang (%s)" % self._lang.encode("ascii", "ignore") if self._lang else b""
        self._put(_CATALOGUE, b"<< /Type /Catalog /Pages %d 0 R%s >>" % (_ROOT, lang))
        info = self._next
        title = b"\xfe\xff" + self._title.encode("utf-16-be")
        self._put(info, b"<< /Title <%s> /Creator (Rillbook) >>" % title.hex().encode())
        self._finish(info)

    def _finish(self, info: int) -> None:
        start, size = self._at, info + 1
        self._write(b"xref\n0 %d\n0000000000 65535 f \n" % size)
        for number in range(1, size):
            offset = self._offsets.get(number)
            self._write(b"%010d 00000 n \n" % offset if offset is not None else b"0000000000 65535 f \n")
        self._write(b"trailer\n<< /Size %d /Root %d 0 R /Info %d 0 R >>\n" % (size, _CATALOGUE, info))
        self._write(b"startxref\n%d\n%%%%EOF\n" % start)

    def _put(self, number: int, body: bytes) -> None:
        self._offsets[number] = self._at
        self._write(b"%d 0 obj\n%s\nendobj\n" % (number, body))

    def _write(self, data: bytes) -> None:
        self._file.write(data)
        self._at += len(data)


def _table(pdf: bytes) -> tuple[dict[int, int], int]:
    """Where each object starts, and the number of the catalogue."""
    last = pdf.rfind(b"startxref")
    found = re.match(rb"startxref\s+(\d+)", pdf[last:]) if last >= 0 else None
    if not found:
        raise NotJoinable("This is no PDF with a plain cross-reference table.")
    lines = pdf[int(found[1]) : last].split(b"trailer")[0].split(b"\n")
    head = re.match(rb"0 (\d+)", lines[1].strip()) if lines[0].strip() == b"xref" else None
    root = re.search(rb"/Root (\d+) 0 R", pdf[int(found[1]) :])
    if not head or not root:
        raise NotJoinable("This is no PDF with a plain cross-reference table.")
    entries = [line.split() for line in lines[2 : 2 + int(head[1])]]
    return {n: int(entry[0]) for n, entry in enumerate(entries) if entry[2] == b"n"}, int(root[1])


def _object(pdf: bytes, offset: int) -> bytes:
    """What stands between `obj` and `endobj`; a stream's length decides where it ends, never its content."""
    start = pdf.index(b"obj", offset) + 3
    stream, end = pdf.find(b"stream", start), pdf.find(b"endobj", start)
    if 0 <= stream < end:
        length = re.search(rb"/Length (\d+)", pdf[start:stream])
        if not length:
            raise NotJoinable("A stream does not tell its length.")
        end = pdf.index(b"endobj", stream + int(length[1]))
    return pdf[start:end].strip(b"\r\n ")


def _shifted(body: bytes, shift: int) -> bytes:
    """The object with the numbers it refers to moved up; what is in a stream stays as it is."""
    head, mark, rest = body.partition(b"stream")
    return _REFERENCE.sub(lambda found: b"%d 0 R" % (int(found[1]) + shift), head) + mark + rest


def _reference_of(body: bytes, key: bytes) -> int:
    found = re.search(re.escape(key) + rb" (\d+) 0 R", body)
    if not found:
        raise NotJoinable(f"The catalogue has no {key.decode()}.")
    return int(found[1])


def _count_of(body: bytes) -> int:
    found = re.search(rb"/Count (\d+)", body)
    return int(found[1]) if found else 0
