"""Controller card: what is set at one controller, to hang inside its door.

Every figure is a finished string with its unit ("12 min", "80 %"); "" means not known and is left out.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from reports.documents.kit import look
from reports.documents.kit.blocks import Block, Gap, Section, Text, Title, caution, paragraph
from reports.documents.kit.page import Document, Firm, pdf_bytes
from reports.documents.kit.table import Column, Table, facts, table
from reports.documents.plant import power, pump_rule, who_to_call
from sites.core.cautions import CABINET
from sites.core.plant import Controller, SitePlant


@dataclass(frozen=True)
class ZoneMinutes:
    """Run time of one zone: `minutes` as set ("12 min"), `cycles` as set ("2 x 6 min, 30 min apart" or "")."""

    zone: str
    name: str
    minutes: str
    cycles: str = ""


@dataclass(frozen=True)
class Program:
    """One program of a controller: `days` ("Mon, Wed, Fri"), `start_times` ("05:00")."""

    controller: str
    name: str
    days: str
    start_times: str
    zones: tuple[ZoneMinutes, ...]
    total: str = ""


@dataclass(frozen=True)
class CardZone:
    """One output: its terminal, what it waters, what is set now ("A 12 min"), minutes a day in each month."""

    terminal: str
    name: str
    set_now: str
    months: tuple[str, ...] = ()


@dataclass(frozen=True)
class ControllerCard:
    """All of one controller. `revision` names the published schedule.

    With `zones` the card is one table of terminals, zones and months, on half paper for up to 8 of them;
    `months` heads its columns.
    """

    firm: Firm
    reference: str
    plant: SitePlant
    controller: Controller
    revision: str
    published_on: str
    programs: tuple[Program, ...]
    zones: tuple[CardZone, ...] = ()
    months: tuple[str, ...] = ()


MOST_ON_HALF_PAPER = 8


def program_blocks(program: Program, *, tick: bool = False) -> list[Block]:
    """A program as heading, days and start times, and its minutes by zone in two columns of zones."""
    heading = " · ".join(part for part in (program.controller, program.name) if part.strip())
    when = [("Days", program.days), ("Start times", program.start_times), ("Total", program.total)]
    about = Text(((heading, look.SUBSECTION),), before=6.0, after=1.0, keep_with_next=True)
    if not program.zones:
        return [about, facts(when), paragraph("No zone runs in this program.")]
    return [about, facts(when, keep_with_next=True), _minutes_table(program.zones, tick)]


def _minutes_table(zones: Sequence[ZoneMinutes], tick: bool) -> Table:
    """Zones down the left half, then down the right half, so that a long list stays short on paper."""
    halves = 2 if len(zones) > 3 else 1
    per_half = -(-len(zones) // halves)
    columns: list[Column] = []
    for number in range(halves):
        columns += [Column("Zone", width=30.0), Column("Name", share=1.0)]
        columns.append(Column("Set" if tick else "Run time", width=84.0, align="right"))
        if tick:
            columns.append(Column("As set", width=42.0, write=True))
        if number < halves - 1:
            columns.append(Column("", width=12.0))
    rows = []
    for row in range(per_half):
        cells: list[str | Block] = []
        for number in range(halves):
            index = row + number * per_half
            cells += _minutes_cells(zones[index] if index < len(zones) else None)
            if tick:
                cells.append("" if index < len(zones) else Gap())
            cells += [""] if number < halves - 1 else []
        rows.append(cells)
    return table(columns, rows, row_least=19.0 if tick else 0.0)


def _minutes_cells(zone: ZoneMinutes | None) -> list[str | Block]:
    if zone is None:
        return ["", "", ""]
    set_to = Text(((zone.minutes, look.CELL_STRONG), (zone.cycles, look.SMALL)), "right")
    return [Text(((zone.zone, look.CELL_STRONG),)), zone.name, set_to]


def controller_card_pdf(card: ControllerCard) -> bytes:
    """The card as PDF bytes."""
    firm = card.firm
    if 0 < len(card.zones) <= MOST_ON_HALF_PAPER:
        firm = replace(firm, paper=firm.paper.half)
    title = f"Controller card, {card.controller}, {card.plant.name}"
    return pdf_bytes([Document(firm, title, card.reference, tuple(_blocks(card)))])


def _blocks(card: ControllerCard) -> list[Block]:
    about = " · ".join(part for part in (card.plant.name, card.controller.location) if part.strip())
    pairs = [
        ("Schedule", card.revision),
        ("Published", card.published_on),
        ("Terminals", str(card.controller.terminals)),
        ("Supply", power(card.controller)),
    ]
    title: Block = Title("Controller card", card.controller.name, about)
    if card.zones:
        parts = (("Controller card", look.SUBSECTION), (card.controller.name, look.TITLE_LONG), (about, look.BODY))
        title = Text(parts, after=6.0)
    blocks: list[Block] = [title, facts(pairs, 4 if card.zones else 3)]
    if card.zones:
        blocks += [_program_line(program) for program in card.programs]
        blocks.append(_outputs(card))
    else:
        blocks.append(Section("Programs"))
        for program in card.programs:
            blocks += program_blocks(program)
    if not card.programs:
        blocks.append(paragraph("No program is set at this controller."))
    if rule := pump_rule(card.plant, card.controller):
        blocks.append(paragraph(f"Pump: {rule}", look.CELL))
    call = who_to_call(card.firm, card.plant, card.controller)
    blocks.append(Text((("Who to call", look.CELL_STRONG), *((line, look.CELL) for line in call)), after=4.0))
    blocks.append(caution("Before a cover comes off", CAUTIONS))
    return blocks


CAUTIONS = (
    CABINET,
    "After a power cut check clock and weekday, and that no second start time has appeared.",
)


def _program_line(program: Program) -> Text:
    parts = (program.name, program.days, program.start_times, program.total)
    return Text(((" · ".join(part for part in parts if part.strip()), look.CELL_STRONG),), after=1.0)


def _outputs(card: ControllerCard) -> Table:
    """Terminals with what hangs on them, what is set now, and by month minutes of a watering day × days a week."""
    columns = [
        Column("No.", width=24.0),
        Column("Zone", share=1.0),
        Column("Set now", width=64.0, align="right", style=look.CELL_STRONG),
        *(
            Column(month, width=24.0, align="right", group="Minutes on a watering day × days a week")
            for month in card.months
        ),
    ]
    rows = [[zone.terminal, zone.name, zone.set_now, *zone.months] for zone in card.zones]
    return table(columns, rows)
