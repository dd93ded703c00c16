"""The season in figures, for the owner: one document, and the same tables as rows for XLSX and CSV.

All figures are finished strings but for those a spreadsheet computes with: `Table.rows` hold numbers as numbers.
"""

from dataclasses import dataclass

from reports.documents.kit.blocks import Block, Section, Title, paragraph
from reports.documents.kit.charts import big_figure
from reports.documents.kit.page import Document, Firm, pdf_bytes
from reports.documents.kit.table import Column, facts, grid, table
from reports.documents.spreadsheet import Table, Value, csv_bytes, xlsx_bytes
from sites.core.writing import NOTHING, number


@dataclass(frozen=True)
class Figure:
    """A headline: "94 %", "visits on time", "47 of 50"."""

    value: str
    label: str
    note: str = ""


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
        return NOTHING
    if isinstance(value, float):
        return number(value, 0 if value == int(value) or abs(value) >= 1000 else 1)
    return number(value) if isinstance(value, int) else str(value)


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
        Column(name, width=62.0, align="right") if right else Column(name, share=1.0)
        for name, right in zip(part.head, numeric, strict=True)
    ]
    return table(columns, [[shown(value) for value in row] for row in part.rows])


def fleet_csv(fleet: Fleet) -> bytes:
    """All tables one below the other, each under its title."""
    return csv_bytes(fleet.tables, titled=True)


def fleet_xlsx(fleet: Fleet) -> bytes:
    """One worksheet a table."""
    return xlsx_bytes(fleet.tables)
