"""The season in figures, for the owner: one document, and the same tables as rows for XLSX and CSV.

All figures are finished strings but for those a spreadsheet computes with: `Table.rows` hold numbers as numbers.
"""

import csv
import io
from dataclasses import dataclass

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font

from reports.documents.kit.blocks import Block, Section, Title, paragraph
from reports.documents.kit.charts import big_figure
from reports.documents.kit.page import Document, Firm, pdf_bytes
from reports.documents.kit.table import Column, facts, grid, table

Value = str | float | int | None


@dataclass(frozen=True)
class Figure:
    """A headline: "94 %", "visits on time", "47 of 50"."""

    value: str
    label: str
    note: str = ""


@dataclass(frozen=True)
class Table:
    """A named table; a number None is not known. `note` says what the figures mean and where they come from."""

    key: str
    title: str
    note: str
    head: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]
    empty: str = "Nothing to report."


@dataclass(frozen=True)
class Fleet:
    """The whole summary; `made` in words."""

    firm: Firm
    season: str
    made: str
    figures: tuple[Figure, ...]
    tables: tuple[Table, ...]


def shown(value: Value) -> str:
    """A value as people read it: one decimal where there is a fraction, a dash where nothing is known."""
    if value is None:
        return "–"
    if isinstance(value, float):
        return f"{value:,.0f}" if value == int(value) or abs(value) >= 1000 else f"{value:,.1f}"
    return f"{value:,}" if isinstance(value, int) else value


def fleet_pdf(fleet: Fleet) -> bytes:
    """The summary as PDF bytes."""
    blocks: list[Block] = [
        Title("The season in figures", f"Season {fleet.season}", fleet.firm.name),
        facts([("As of", fleet.made)]),
    ]
    if fleet.figures:
        made = [big_figure(figure.value, figure.label, figure.note) for figure in fleet.figures]
        blocks.append(grid(made, min(len(made), 4)))
    for part in fleet.tables:
        blocks.append(Section(part.title, part.note))
        blocks.append(_table(part) if part.rows else paragraph(part.empty))
    title = f"The season in figures, {fleet.season}"
    return pdf_bytes([Document(fleet.firm, title, f"Season {fleet.season}, as of {fleet.made}", tuple(blocks))])


def _table(part: Table) -> Block:
    numeric = [any(isinstance(row[index], int | float) for row in part.rows) for index in range(len(part.head))]
    columns = [
        Column(name, width=62.0, align="right") if number else Column(name, share=1.0)
        for name, number in zip(part.head, numeric, strict=True)
    ]
    return table(columns, [[shown(value) for value in row] for row in part.rows])


def fleet_csv(fleet: Fleet) -> bytes:
    """All tables one below the other, each under its title; UTF-8 with a mark so that spreadsheets read it so."""
    file = io.StringIO()
    writer = csv.writer(file)
    for part in fleet.tables:
        writer.writerow([guarded(part.title)])
        writer.writerow([guarded(name) for name in part.head])
        writer.writerows([[guarded(value) for value in row] for row in part.rows])
        writer.writerow([])
    return file.getvalue().encode("utf-8-sig")


def fleet_xlsx(fleet: Fleet) -> bytes:
    """One worksheet a table. Text is stored as text, whatever it begins with; numbers stay numbers."""
    book = Workbook(write_only=True)
    for part in fleet.tables:
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
        return WriteOnlyCell(sheet, value=value)
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
