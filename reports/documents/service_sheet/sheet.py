"""Service sheet: dataclass in, PDF bytes out."""

from collections.abc import Sequence

from reports.documents.controller_card import program_blocks
from reports.documents.kit import look
from reports.documents.kit.blocks import (
    Block,
    Figure,
    NotesLines,
    Section,
    Signature,
    Text,
    Title,
    Together,
    bullets,
    caution,
    paragraph,
)
from reports.documents.kit.page import Document, pdf_bytes
from reports.documents.kit.qr import with_qr
from reports.documents.kit.table import Cell, Column, TickBox, checklist, facts, grid, table
from reports.documents.plant import water_and_power
from reports.documents.service_sheet.cautions import HEADINGS, POINTS
from reports.documents.service_sheet.data import ChecklistItem, FaultFound, Outcome, ServiceSheet, VisitKind
from reports.documents.service_sheet.zones import diagnosis_table, zone_table

KIND_NAMES = {
    VisitKind.STARTUP: "Spring startup",
    VisitKind.MID_SEASON: "Mid-season check",
    VisitKind.WINTERISATION: "Winterization",
    VisitKind.REPAIR: "Repair",
}


def service_sheet_pdf(sheet: ServiceSheet) -> bytes:
    """One service sheet as PDF bytes."""
    return pdf_bytes([_document(sheet)])


def service_sheets_pdf(sheets: Sequence[ServiceSheet]) -> bytes:
    """Many service sheets in one file, each with its own page numbers; ValueError when there is none."""
    return pdf_bytes([_document(sheet) for sheet in sheets])


def _document(sheet: ServiceSheet) -> Document:
    name = KIND_NAMES[sheet.kind]
    blocks = _completed(sheet, sheet.outcome) if sheet.outcome else _blank(sheet)
    done = "record" if sheet.outcome else "sheet"
    reference = " · ".join(part for part in (sheet.reference, name, sheet.planned) if part.strip())
    return Document(sheet.firm, f"Service {done}, {name}, {sheet.site.name}", reference, tuple(blocks))


def _blank(sheet: ServiceSheet) -> list[Block]:
    return [
        _title(sheet, "Service sheet"),
        _visit_facts(sheet),
        *_access(sheet),
        *([facts([("From the office", sheet.instructions)], across=1)] if sheet.instructions.strip() else []),
        caution(HEADINGS[sheet.kind], POINTS[sheet.kind]),
        *_water_and_power(sheet),
        *_known_before(sheet),
        *_blank_checklist(sheet.checklist),
        Section("Zones and valves", _zone_note(sheet)),
        *_zones(sheet),
        *_programs(sheet),
        *_room_to_write(sheet),
    ]


def _completed(sheet: ServiceSheet, outcome: Outcome) -> list[Block]:
    signatures = grid(
        [
            Signature("Technician", sheet.technician, outcome.technician_signed),
            Signature("For the client", outcome.client_name, outcome.client_signed),
        ],
        2,
    )
    return [
        _title(sheet, "Service record"),
        _visit_facts(sheet),
        *([paragraph(outcome.summary)] if outcome.summary.strip() else []),
        Section("Faults found"),
        *_faults_found(outcome.faults),
        Section("What was measured"),
        *_zones(sheet),
        *_answers(sheet.checklist),
        *_programs(sheet),
        # Kept in one piece so that nobody signs a page with nothing on it.
        Together((*_water_and_power(sheet), Section("Signatures"), signatures), before=13.0),
    ]


def _title(sheet: ServiceSheet, what: str) -> Block:
    title = Title(f"{what}: {KIND_NAMES[sheet.kind]}", sheet.site.name, _joined(sheet.site.address_lines))
    return with_qr(title, sheet.live_url, "this visit, live")


def _joined(lines: Sequence[str]) -> str:
    return ", ".join(line.strip() for line in lines if line.strip())


def _visit_facts(sheet: ServiceSheet) -> Block:
    outcome = sheet.outcome
    times = [("On site", f"{outcome.arrived} to {outcome.left}")] if outcome else []
    return facts(
        [
            ("Visit", sheet.reference),
            ("Done on" if outcome else "Planned", sheet.planned),
            *times,
            ("Technician", sheet.technician),
            ("Client", sheet.client.name),
            ("Phone", sheet.client.phone),
            ("Email", sheet.client.email),
            ("Client's address", _joined(sheet.client.address_lines)),
            ("Next visit", outcome.next_visit if outcome else ""),
        ]
    )


def _access(sheet: ServiceSheet) -> list[Block]:
    site = sheet.site
    pairs = [("Opening hours", site.opening_hours), ("Watering window", site.watering_window)]
    pairs.append(("Map point", site.position))
    notes = facts([("Access", site.access_notes)], across=1) if site.access_notes.strip() else None
    return [facts(pairs), *([notes] if notes else [])]


def _water_and_power(sheet: ServiceSheet) -> list[Block]:
    return water_and_power(sheet.plant, sheet.system, sheet.meters, sheet.as_of)


def _known_before(sheet: ServiceSheet) -> list[Block]:
    blocks: list[Block] = []
    if sheet.open_faults:
        columns = [
            Column("", width=18.0),
            Column("Where", width=120.0),
            Column("Open fault", share=1.0),
            Column("Since", width=70.0),
        ]
        rows: list[list[Cell]] = [[TickBox(), fault.where, fault.what, fault.since] for fault in sheet.open_faults]
        blocks += [Section("Open faults", "Tick when repaired."), table(columns, rows)]
    if sheet.findings:
        blocks += [Section("Findings of the last visit"), *bullets(sheet.findings)]
    if sheet.parts_likely:
        blocks += [Section("Parts to take along"), *bullets(sheet.parts_likely)]
    return blocks


def _blank_checklist(items: Sequence[ChecklistItem]) -> list[Block]:
    if not items:
        return []
    return [Section("Checklist"), checklist([(item.text, item.caution) for item in items])]


def _zone_note(sheet: ServiceSheet) -> str:
    if sheet.kind is VisitKind.WINTERISATION:
        return "One zone at a time, its valve open before the air. Write gauge reading and minutes of each pass."
    return "Coil: power off, wires off the terminals. Voltage: a live test, 24 V side only, mains covers on."


def _zones(sheet: ServiceSheet) -> list[Block]:
    if not sheet.zones:
        return [paragraph("No zone is recorded for this site.")]
    completed = sheet.outcome is not None
    blocks: list[Block] = [zone_table(sheet.kind, sheet.zones, sheet.system, completed=completed)]
    return [*blocks, *diagnosis_table(sheet.zones)] if completed else blocks


def _programs(sheet: ServiceSheet) -> list[Block]:
    if not sheet.programs:
        return []
    done = sheet.outcome is not None
    blocks: list[Block] = [Section("Run times set" if done else "Run times to set today")]
    for program in sheet.programs:
        blocks += program_blocks(program, tick=not done)
    return blocks


def _room_to_write(sheet: ServiceSheet) -> list[Block]:
    columns = [
        Column("Zone or part", width=110.0, write=True),
        Column("Fault found", share=1.0, write=True),
        Column("Repaired", width=44.0, align="centre"),
        Column("Parts used", width=110.0, write=True),
    ]
    rows: list[list[Cell]] = [["", "", TickBox(), ""] for _ in range(4)]
    faults = Together((Section("Faults found today"), table(columns, rows, row_least=23.0)), before=13.0)
    times = facts([("Arrived", "____ : ____"), ("Left", "____ : ____"), ("Next visit", "________________")])
    signatures = grid(
        [
            Signature(f"Technician: {sheet.technician}" if sheet.technician.strip() else "Technician"),
            Signature(f"For the client: {sheet.client.name}"),
        ],
        2,
    )
    last = (Section("Notes and times"), NotesLines(4), times, Section("Signatures"), signatures)
    return [faults, Together(last, before=13.0)]


def _faults_found(faults: Sequence[FaultFound]) -> list[Block]:
    if not faults:
        return [paragraph("None recorded on this visit.")]
    blocks: list[Block] = []
    for fault in faults:
        words: list[tuple[str, look.Style]] = [(f"{fault.where}: {fault.what}", look.STRONG)]
        words.append((fault.outcome, look.BODY))
        if fault.note.strip():
            words.append((fault.note, look.BODY))
        text = Text(tuple(words), before=4.0, after=3.0)
        photos = [Figure(photo.jpeg, photo.caption) for photo in fault.photos]
        blocks.append(Together((text, grid(photos, 3))) if photos else text)
    return blocks


def _answers(items: Sequence[ChecklistItem]) -> list[Block]:
    if not items:
        return []
    columns = [
        Column("Item", share=1.4),
        Column("Answer", width=74.0, style=look.CELL_STRONG),
        Column("Remark", share=1.0),
    ]
    rows = [[item.text, item.answer.strip() or "not answered", item.remark] for item in items]
    return [Section("Checklist"), table(columns, rows)]
