"""Tables as files for a spreadsheet: CSV and XLSX. Numbers and dates stay such; text never runs as a formula."""

import csv
import datetime as dt
import io
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font

Value = str | float | int | Decimal | dt.date | None


@dataclass(frozen=True)
class Table:
    """A named table; a number None is not known. `note` says what the figures mean and where they come from."""

    key: str
    title: str
    note: str
    head: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]
    empty: str = "Nothing to report."


def csv_bytes(tables: Sequence[Table], *, titled: bool) -> bytes:
    """Tables one below the other, `titled` each under its title; UTF-8 with a mark by which spreadsheets know it."""
    file = io.StringIO()
    writer = csv.writer(file)
    for part in tables:
        if titled:
            writer.writerow([guarded(part.title)])
        writer.writerow([guarded(name) for name in part.head])
        writer.writerows([[guarded(value) for value in row] for row in part.rows])
        if titled:
            writer.writerow([])
    return file.getvalue().encode("utf-8-sig")


def xlsx_bytes(tables: Sequence[Table]) -> bytes:
    """One worksheet a table. Text is stored as text, whatever it begins with; numbers stay numbers."""
    book = Workbook(write_only=True)
    for part in tables:
        sheet = book.create_sheet(part.title[:31])
        sheet.freeze_panes = "A2"
        sheet.append([_bold(sheet, name) for name in part.head])
        for row in part.rows:
            sheet.append([_cell(sheet, value) for value in row])
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def _bold(sheet: object, text: str) -> WriteOnlyCell:
    cell = _cell(sheet, text)
    cell.font = Font(bold=True)
    return cell


def _cell(sheet: object, value: Value) -> WriteOnlyCell:
    if not isinstance(value, str):
        cell = WriteOnlyCell(sheet, value=value)
        if isinstance(value, Decimal):
            cell.number_format = "0.00" if value == round(value, 2) else "0.0000"
        return cell
    cell = WriteOnlyCell(sheet, value=guarded("".join(char for char in value if char >= " " or char == "\n")))
    cell.data_type = "s"  # never a formula
    return cell


# A cell that begins so is a formula to some spreadsheet (also in its full-width form), or breaks out of its cell.
_LIVE = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def guarded(value: Value) -> Value:
    """Text that a spreadsheet would run gets an apostrophe in front; numbers stay numbers."""
    if isinstance(value, str) and value.lstrip(" ").startswith(_LIVE):
        return f"'{value}"
    return value
