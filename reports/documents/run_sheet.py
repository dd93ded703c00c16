"""Run sheet: a technician's day on paper. All times, distances and figures are finished strings."""

from dataclasses import dataclass

from reports.documents.kit import look
from reports.documents.kit.blocks import Block, NotesLines, Section, Text, Title, Together, bullets, paragraph
from reports.documents.kit.page import Document, Firm, pdf_bytes
from reports.documents.kit.table import Cell, Column, TickBox, facts, table


@dataclass(frozen=True)
class Stop:
    """One stop: arrival and leaving time, whose site, how to get in, what to do; `drive` from the last stop."""

    arrive: str
    leave: str
    site_name: str
    client_name: str = ""
    phone: str = ""
    address_lines: tuple[str, ...] = ()
    access_notes: str = ""
    visit: str = ""
    work: tuple[str, ...] = ()
    drive: str = ""
    caution: str = ""


@dataclass(frozen=True)
class RunSheet:
    """The day of one technician, stops in order."""

    firm: Firm
    reference: str
    technician: str
    date: str
    starts: str = ""
    ends: str = ""
    driving: str = ""
    stops: tuple[Stop, ...] = ()
    notes: str = ""
    warnings: tuple[str, ...] = ()


def run_sheet_pdf(sheet: RunSheet) -> bytes:
    """The run sheet as PDF bytes."""
    count = len(sheet.stops)
    blocks: list[Block] = [
        Title("Run sheet", sheet.technician, sheet.date),
        facts(
            [
                ("Stops", str(count)),
                ("Start", sheet.starts),
                ("Back", sheet.ends),
                ("Driving", sheet.driving),
            ],
            across=4,
        ),
    ]
    if sheet.notes.strip():
        blocks.append(paragraph(sheet.notes))
    blocks += bullets(sheet.warnings)
    blocks += [_stops(sheet)] if sheet.stops else [paragraph("No stop is planned for this day.")]
    blocks.append(Together((Section("Notes of the day"), NotesLines(4)), before=13.0))
    return pdf_bytes(
        [
            Document(
                sheet.firm,
                f"Run sheet, {sheet.technician}, {sheet.date}",
                sheet.reference,
                tuple(blocks),
            )
        ]
    )


def _stops(sheet: RunSheet) -> Block:
    columns = [
        Column("", width=20.0),
        Column("Arrive", width=92.0),
        Column("Where and how to get in", share=1.15),
        Column("Work", share=1.0),
        Column("Real times", width=66.0, write=True),
    ]
    rows: list[list[Cell]] = []
    for number, stop in enumerate(sheet.stops, start=1):
        when = Text(
            (
                (stop.arrive, look.STRONG),
                (f"to {stop.leave}" if stop.leave.strip() else "", look.SMALL),
                (f"drive {stop.drive}" if stop.drive.strip() else "", look.SMALL),
            )
        )
        rows.append([TickBox(), when, _where(number, stop), _work(stop), ""])
    return table(columns, rows, row_least=46.0)


def _where(number: int, stop: Stop) -> Text:
    who = " · ".join(part for part in (stop.client_name, stop.phone) if part.strip())
    address = ", ".join(line for line in stop.address_lines if line.strip())
    access = f"Access: {stop.access_notes}" if stop.access_notes.strip() else ""
    return Text(
        (
            (f"{number}  {stop.site_name}", look.CELL_STRONG),
            (address, look.CELL),
            (who, look.SMALL),
            (access, look.CELL),
        )
    )


def _work(stop: Stop) -> Text:
    care = f"Caution: {stop.caution}" if stop.caution.strip() else ""
    lines = [(stop.visit, look.CELL_STRONG), *[(f"– {line}", look.CELL) for line in stop.work]]
    return Text((*lines, (care, look.CELL_STRONG)))
