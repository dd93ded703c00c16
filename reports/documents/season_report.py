"""Season report: the two to four pages a client reads at the end of the season.

Figures follow one rule: whatever is printed is the caller's finished string. A charted figure is an
`Amount(value, text)`: `value` (in the unit of its heading, never negative) sets the length of a bar,
`text` is printed. Units of charts and tables are named once, in `depth_unit` and `volume_unit`. None means
not known and prints a dash; a series that is not known for any row (say, last year) is left out.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from reports.documents.kit import look
from reports.documents.kit.blocks import Block, Section, Text, Title, Together, bullets, paragraph
from reports.documents.kit.charts import Amount, BarNames, BarRow, Curve, CurvePoint, bar_table, big_figure
from reports.documents.kit.page import Document, Firm, pdf_bytes
from reports.documents.kit.table import Cell, Column, facts, grid, table


@dataclass(frozen=True)
class Headline:
    """A figure for the top of the report: "1 240 m³", "water used", "12 % under budget"."""

    value: str
    label: str
    note: str = ""


@dataclass(frozen=True)
class WeatherMonth:
    """Reference ET and rain of one month, with their normals where known, all in `depth_unit`."""

    month: str
    et: Amount | None
    rain: Amount | None
    et_normal: Amount | None = None
    rain_normal: Amount | None = None


@dataclass(frozen=True)
class WeatherCurve:
    """Week by week: reference ET (line), its normal (dashed) and rain (bars), in `depth_unit`.

    `scale` is the one ruled height, for example Amount(40, "40 mm a week").
    """

    weeks: tuple[CurvePoint, ...]
    scale: Amount


@dataclass(frozen=True)
class WaterMonth:
    """Water of one month in `volume_unit`: used (None for a month to come), budget, last year."""

    month: str
    used: Amount | None
    budget: Amount | None = None
    last_year: Amount | None = None


@dataclass(frozen=True)
class ZoneUse:
    """Water of one zone over the season in `volume_unit`; `zone` as marked at the controller."""

    zone: str
    name: str
    used: Amount | None
    budget: Amount | None = None
    last_year: Amount | None = None


@dataclass(frozen=True)
class VisitDone:
    """One visit: date, what kind in words, who came, what was done."""

    date: str
    kind: str
    technician: str = ""
    summary: str = ""


@dataclass(frozen=True)
class FaultLine:
    """One fault: when and where it was found, what it was, and what became of it in words."""

    found: str
    where: str
    what: str
    outcome: str


@dataclass(frozen=True)
class Recommendation:
    """What we advise, why, and as finished strings what it would save and cost ("" when not known)."""

    title: str
    reason: str = ""
    saving: str = ""
    cost: str = ""


@dataclass(frozen=True)
class CostLine:
    """One line of the water cost: "Water, 1 240 m³" and "$1,912.40"."""

    label: str
    amount: str


@dataclass(frozen=True)
class NextDate:
    """A date of next season: "Spring startup", "week of 6 April 2027"."""

    what: str
    when: str


@dataclass(frozen=True)
class Assumption:
    """A default that stands for something nobody has measured, and where it comes from."""

    what: str
    value: str
    source: str = ""


@dataclass(frozen=True)
class SeasonReport:
    """The report. `period` in words ("1 April to 31 October 2026"); `water_total` closes the month table."""

    firm: Firm
    reference: str
    client_name: str
    site_name: str
    site_address_lines: tuple[str, ...]
    season: str
    period: str
    prepared_on: str
    prepared_by: str = ""
    summary: str = ""
    headlines: tuple[Headline, ...] = ()
    depth_unit: str = "mm"
    volume_unit: str = "m³"
    weather_text: str = ""
    weather_curve: WeatherCurve | None = None
    weather_months: tuple[WeatherMonth, ...] = ()
    weather_source: str = ""
    water_text: str = ""
    water_months: tuple[WaterMonth, ...] = ()
    water_total: WaterMonth | None = None
    zones: tuple[ZoneUse, ...] = ()
    visits: tuple[VisitDone, ...] = ()
    faults: tuple[FaultLine, ...] = ()
    recommendations: tuple[Recommendation, ...] = ()
    costs: tuple[CostLine, ...] = ()
    cost_total: str = ""
    next_dates: tuple[NextDate, ...] = ()
    assumptions: tuple[Assumption, ...] = ()


def season_report_pdf(report: SeasonReport) -> bytes:
    """One season report as PDF bytes."""
    return season_reports_pdf([report])


def season_reports_pdf(reports: Sequence[SeasonReport]) -> bytes:
    """Many season reports in one file, each with its own page numbers; ValueError when there is none."""
    return pdf_bytes([_document(report) for report in reports])


def _document(report: SeasonReport) -> Document:
    blocks = [
        *_opening(report),
        *_weather(report),
        *_water(report),
        *_zones(report),
        *_visits(report),
        *_faults(report),
        *_recommendations(report),
        *_costs(report),
        *_next_season(report),
        *_assumptions(report),
    ]
    title = f"Season report {report.season}, {report.site_name}"
    return Document(report.firm, title, report.reference, tuple(blocks))


def _opening(report: SeasonReport) -> list[Block]:
    address = ", ".join(line for line in report.site_address_lines if line.strip())
    blocks: list[Block] = [
        Title(f"Season report {report.season}", report.site_name, address),
        facts(
            [
                ("For", report.client_name),
                ("Season", report.period),
                ("Prepared", " by ".join(part for part in (report.prepared_on, report.prepared_by) if part)),
            ]
        ),
    ]
    if report.summary.strip():
        blocks.append(paragraph(report.summary))
    if report.headlines:
        figures = [big_figure(line.value, line.label, line.note) for line in report.headlines]
        blocks.append(grid(figures, min(len(figures), 4)))
    return blocks


def _weather(report: SeasonReport) -> list[Block]:
    if not (report.weather_text.strip() or report.weather_months or report.weather_curve):
        return []
    unit = report.depth_unit
    blocks: list[Block] = [Section("What the season was like")]
    if report.weather_text.strip():
        blocks.append(paragraph(report.weather_text))
    if report.weather_curve and report.weather_curve.weeks:
        curve = report.weather_curve
        names = (f"Water need (ET), {unit}", "ET, normal", f"Rain, {unit}")
        blocks.append(Curve(curve.weeks, *names, curve.scale))
    months = report.weather_months
    if months:
        blocks.append(_weather_table(months, unit))
    if report.weather_source.strip():
        blocks.append(paragraph(report.weather_source, look.SMALL))
    return blocks


def _weather_table(months: Sequence[WeatherMonth], unit: str) -> Block:
    """ET and rain with their normals; a normal nobody knows has no column."""
    picks: list[tuple[str, str, Callable[[WeatherMonth], Amount | None]]] = [
        ("this season", f"Reference ET, {unit}", lambda month: month.et),
        ("normal", f"Reference ET, {unit}", lambda month: month.et_normal),
        ("this season", f"Rain, {unit}", lambda month: month.rain),
        ("normal", f"Rain, {unit}", lambda month: month.rain_normal),
    ]
    known = [pick for pick in picks if any(pick[2](month) for month in months)]
    columns = [Column("Month", share=1.0)]
    for title, group, _ in known:
        style = look.CELL_STRONG if title == "this season" else look.CELL
        columns.append(Column(title, share=1.0, align="right", group=group, style=style))
    rows = [[month.month, *[_text(pick[2](month)) for pick in known]] for month in months]
    return table(columns, rows)


def _text(amount: Amount | None) -> str:
    return amount.text if amount else "–"


def _water(report: SeasonReport) -> list[Block]:
    if not (report.water_months or report.water_text.strip()):
        return []
    blocks: list[Block] = [Section("Where the water went, month by month")]
    if report.water_text.strip():
        blocks.append(paragraph(report.water_text))
    unit = report.volume_unit
    if report.water_months:
        rows = [BarRow(m.month, m.used, m.last_year, m.budget) for m in report.water_months]
        blocks.append(bar_table(_names("Month", rows, unit), rows, name_width=78.0))
    if report.water_total:
        total = report.water_total
        pairs = [("used", total.used), ("budget", total.budget), ("last year", total.last_year)]
        said = [f"{name} {amount.text} {unit}" for name, amount in pairs if amount]
        blocks.append(Text(((f"{total.month}: {', '.join(said)}.", look.STRONG),), after=4.0))
    return [Together(tuple(blocks), before=13.0)]


def _names(first: str, rows: Sequence[BarRow], unit: str) -> BarNames:
    """Headings for the series somebody knows; a series without any figure has none."""
    return BarNames(
        first,
        f"Used, {unit}",
        f"Last year, {unit}" if any(row.pale for row in rows) else "",
        f"Budget, {unit}" if any(row.tick for row in rows) else "",
    )


def _zones(report: SeasonReport) -> list[Block]:
    if not report.zones:
        return []
    rows = [BarRow(f"{zone.zone}  {zone.name}", zone.used, zone.last_year, zone.budget) for zone in report.zones]
    names = _names("Zone", rows, report.volume_unit)
    return [Section("Water by zone over the season"), bar_table(names, rows, name_width=150.0)]


def _visits(report: SeasonReport) -> list[Block]:
    if not report.visits:
        return [Section("What we did"), paragraph("No visit is recorded for this season.")]
    columns = [
        Column("Date", width=72.0),
        Column("Visit", width=104.0, style=look.CELL_STRONG),
        Column("What was done", share=1.0),
        Column("Technician", width=84.0),
    ]
    rows = [[visit.date, visit.kind, visit.summary, visit.technician] for visit in report.visits]
    return [Section("What we did"), table(columns, rows)]


def _faults(report: SeasonReport) -> list[Block]:
    if not report.faults:
        return [Section("Faults found and mended"), paragraph("No fault is recorded for this season.")]
    columns = [
        Column("Found", width=72.0),
        Column("Where", width=104.0),
        Column("Fault", share=1.0),
        Column("Outcome", width=104.0, style=look.CELL_STRONG),
    ]
    rows = [[fault.found, fault.where, fault.what, fault.outcome] for fault in report.faults]
    return [Section("Faults found and mended"), table(columns, rows)]


def _recommendations(report: SeasonReport) -> list[Block]:
    if not report.recommendations:
        return []
    money = any(line.saving.strip() or line.cost.strip() for line in report.recommendations)
    columns = [Column("Recommendation", share=1.0)]
    if money:
        columns += [Column("Would save", width=104.0), Column("Would cost", width=84.0)]
    rows: list[list[Cell]] = []
    for line in report.recommendations:
        said = Text(((line.title, look.CELL_STRONG), (line.reason, look.CELL)))
        rows.append([said, *([line.saving.strip() or "–", line.cost.strip() or "–"] if money else [])])
    return [Section("What we recommend"), table(columns, rows)]


def _costs(report: SeasonReport) -> list[Block]:
    if not report.costs and not report.cost_total.strip():
        return []
    columns = [Column("Item", share=1.0), Column("Amount", width=110.0, align="right")]
    rows: list[list[Cell]] = [[line.label, line.amount] for line in report.costs]
    if report.cost_total.strip():
        total = Text(((report.cost_total, look.CELL_STRONG),), "right")
        rows.append([Text((("Total", look.CELL_STRONG),)), total])
    return [Section("What the water cost"), table(columns, rows)]


def _next_season(report: SeasonReport) -> list[Block]:
    if not report.next_dates:
        return []
    return [
        Together(
            (Section("Next season"), facts([(line.what, line.when) for line in report.next_dates])),
            before=13.0,
        )
    ]


def _assumptions(report: SeasonReport) -> list[Block]:
    title = Section("Appendix: what was assumed", "Defaults used where nothing was measured on your site.")
    if not report.assumptions:
        return [title, *bullets(["No default is recorded for this report."])]
    columns = [
        Column("What", share=1.0),
        Column("Assumed value", width=110.0),
        Column("Source", share=1.0),
    ]
    rows = [[line.what, line.value, line.source] for line in report.assumptions]
    return [title, table(columns, rows)]
