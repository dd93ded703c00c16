"""One-off run of a controller: the timeline that the person at it follows, command by command."""

from dataclasses import dataclass

from reports.documents.kit import look
from reports.documents.kit.blocks import (
    Block,
    NotesLines,
    Section,
    Text,
    Title,
    Together,
    bullets,
    caution,
    paragraph,
)
from reports.documents.kit.drawing import DrawingBlock
from reports.documents.kit.page import Document, Firm, pdf_bytes
from reports.documents.kit.table import Cell, Column, TickBox, facts, table
from sites.core.cautions import BY_HAND, CABINET
from sites.core.drawing import Drawing


@dataclass(frozen=True)
class OneOffStep:
    """One command: `clock` ("10:02:05"), `after` the start ("2:05"), what to `do`, how long it then `runs`."""

    clock: str
    after: str
    do: str
    terminal: str = ""
    runs: str = ""


@dataclass(frozen=True)
class OneOffRun:
    """All of one run in finished words. Without `safe` no step is printed: there is nothing to follow.

    `margins` explain the numbers in the chart; `story` tells how the run breaks a rule; `know` what the plan had to
    decide; `mishaps` what a lost command does.
    """

    firm: Firm
    reference: str
    site_name: str
    controller: str
    location: str
    what: str
    date: str
    starts: str
    ends: str
    verdict: str
    safe: bool
    steps: tuple[OneOffStep, ...] = ()
    story: tuple[str, ...] = ()
    know: tuple[str, ...] = ()
    mishaps: tuple[str, ...] = ()
    pump_rule: str = ""
    call: tuple[str, ...] = ()
    margins: tuple[str, ...] = ()
    chart: Drawing | None = None


CAUTIONS = (
    BY_HAND,
    "Nobody at the heads, no open pit, no open enclosure; whoever is on site releases water and pump.",
    "A pump must not work against closed valves: if no water comes soon after it starts, stop it first, then look.",
    CABINET,
)


def one_off_run_pdf(run: OneOffRun) -> bytes:
    """The run as PDF bytes."""
    title = f"One-off run, {run.controller}, {run.site_name}"
    return pdf_bytes([Document(run.firm, title, run.reference, tuple(_blocks(run)))])


def _blocks(run: OneOffRun) -> list[Block]:
    about = " · ".join(part for part in (run.site_name, run.location) if part.strip())
    blocks: list[Block] = [
        Title("One-off run", run.controller, about),
        facts([("Run", run.what), ("On", run.date), ("From", run.starts), ("To about", run.ends)], across=4),
    ]
    if run.safe:
        blocks.append(paragraph(run.verdict))
    else:
        blocks.append(caution("Do not run this", [run.verdict, *run.story]))
    blocks.append(caution("Before you start", CAUTIONS))
    if run.know:
        blocks += [Section("What to know"), *bullets(run.know)]
    if run.pump_rule.strip():
        blocks.append(paragraph(f"Pump: {run.pump_rule}"))
    if run.safe and run.steps:
        blocks += [
            Section(
                "Command by command",
                "Times are a guide, the sequence is the rule; start later and every time moves along.",
            ),
            _steps(run),
        ]
    if run.chart is not None:
        blocks.append(DrawingBlock(run.chart, most_height=620.0))
        blocks += [paragraph(line, look.CELL, after=1.0) for line in run.margins]
    if run.mishaps:
        blocks += [Section("If a command is lost or the power fails"), *bullets(run.mishaps)]
    if run.call:
        blocks.append(Text((("Who to call", look.STRONG), *((line, look.BODY) for line in run.call))))
    blocks.append(Together((Section("Seen during the run"), NotesLines(3)), before=10.0))
    return blocks


def _steps(run: OneOffRun) -> Block:
    columns = [
        Column("", width=20.0),
        Column("Clock", width=58.0, style=look.CELL_STRONG),
        Column("After start", width=56.0, align="right"),
        Column("Terminal", width=50.0, align="right"),
        Column("Do", share=1.0),
        Column("Then on for", width=64.0, align="right"),
    ]
    rows: list[list[Cell]] = [
        [TickBox(), step.clock, step.after, step.terminal, step.do, step.runs] for step in run.steps
    ]
    return table(columns, rows)
