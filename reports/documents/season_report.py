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
from reports.documents.kit.qr import with_qr
from reports.documents.kit.table import Cell, Column, facts, grid, table
from reports.documents.words import Language, language


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
class BridgeLine:
    """One line from planned to used water; `strong` for a sum."""

    label: str
    amount: str
    strong: bool = False


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
    """The report. `period` in words ("1 April to 31 October 2026"); `water_total` closes the month table.

    `lang` is the language of the headings; the strings are already in it. `live_url` is printed as a QR code.
    """

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
    weather_estimated: str = ""
    water_text: str = ""
    water_months: tuple[WaterMonth, ...] = ()
    water_total: WaterMonth | None = None
    bridge: tuple[BridgeLine, ...] = ()
    zones: tuple[ZoneUse, ...] = ()
    visits: tuple[VisitDone, ...] = ()
    faults: tuple[FaultLine, ...] = ()
    recommendations: tuple[Recommendation, ...] = ()
    costs: tuple[CostLine, ...] = ()
    cost_total: str = ""
    cost_note: str = ""
    next_dates: tuple[NextDate, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    lang: str = "en-GB"
    live_url: str = ""


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
        *_bridge(report),
        *_zones(report),
        *_visits(report),
        *_faults(report),
        *_recommendations(report),
        *_costs(report),
        *_next_season(report),
        *_assumptions(report),
    ]
    title = _words(report).say("report.full_title", season=report.season, site=report.site_name)
    return Document(report.firm, title, report.reference, tuple(blocks))


def _words(report: SeasonReport) -> Language:
    return language(report.lang)


def _opening(report: SeasonReport) -> list[Block]:
    address = ", ".join(line for line in report.site_address_lines if line.strip())
    words = _words(report)
    prepared = report.prepared_on
    if report.prepared_by.strip():
        prepared = words.say("by", when=report.prepared_on, who=report.prepared_by)
    title = Title(words.say("report.title", season=report.season), report.site_name, address)
    blocks: list[Block] = [
        with_qr(title, report.live_url, words.say("report.live")),
        facts(
            [
                (words.say("report.for"), report.client_name),
                (words.say("report.season"), report.period),
                (words.say("report.prepared"), prepared),
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
    unit, words = report.depth_unit, _words(report)
    blocks: list[Block] = [Section(words.say("weather.title"))]
    if report.weather_text.strip():
        blocks.append(paragraph(report.weather_text))
    if report.weather_curve and report.weather_curve.weeks:
        curve = report.weather_curve
        need, normal, rain = (words.say(f"weather.{key}", unit=unit) for key in ("need", "normal_need", "rain_bars"))
        blocks.append(Curve(curve.weeks, need, normal, rain, curve.scale))
    months = report.weather_months
    if months:
        blocks.append(_weather_table(months, unit, words))
    if report.weather_estimated.strip():
        blocks.append(paragraph(report.weather_estimated, look.SMALL))
    if report.weather_source.strip():
        blocks.append(paragraph(report.weather_source, look.SMALL))
    return blocks


def _weather_table(months: Sequence[WeatherMonth], unit: str, words: Language) -> Block:
    """ET and rain with their normals; a normal nobody knows has no column."""
    this_season, normal = words.say("weather.this_season"), words.say("weather.normal")
    et, rain = words.say("weather.et", unit=unit), words.say("weather.rain", unit=unit)
    picks: list[tuple[str, str, Callable[[WeatherMonth], Amount | None]]] = [
        (this_season, et, lambda month: month.et),
        (normal, et, lambda month: month.et_normal),
        (this_season, rain, lambda month: month.rain),
        (normal, rain, lambda month: month.rain_normal),
    ]
    known = [pick for pick in picks if any(pick[2](month) for month in months)]
    columns = [Column(words.say("month"), share=1.0)]
    for title, group, _ in known:
        style = look.CELL_STRONG if title == this_season else look.CELL
        columns.append(Column(title, share=1.0, align="right", group=group, style=style))
    rows = [[month.month, *[_text(pick[2](month)) for pick in known]] for month in months]
    return table(columns, rows)


def _text(amount: Amount | None) -> str:
    return amount.text if amount else "–"


def _water(report: SeasonReport) -> list[Block]:
    if not (report.water_months or report.water_text.strip()):
        return []
    words = _words(report)
    blocks: list[Block] = [Section(words.say("water.title"))]
    if report.water_text.strip():
        blocks.append(paragraph(report.water_text))
    unit = report.volume_unit
    if report.water_months:
        rows = [BarRow(m.month, m.used, m.last_year, m.budget) for m in report.water_months]
        blocks.append(bar_table(_names(words, "month", rows, unit), rows, name_width=78.0))
    if report.water_total:
        total = report.water_total
        pairs = [("used", total.used), ("budget", total.budget), ("last_year", total.last_year)]
        said = [words.say(f"water.total_{name}", amount=f"{amount.text} {unit}") for name, amount in pairs if amount]
        line = words.say("water.total", name=total.month, parts=", ".join(said))
        blocks.append(Text(((line, look.STRONG),), after=4.0))
    return [Together(tuple(blocks), before=13.0)]


def _bridge(report: SeasonReport) -> list[Block]:
    """The one table that leads from the plan to the meter."""
    if not report.bridge:
        return []
    words = _words(report)
    columns = [Column("", share=1.0), Column(report.volume_unit, width=110.0, align="right")]
    rows: list[list[Cell]] = []
    for line in report.bridge:
        style = look.CELL_STRONG if line.strong else look.CELL
        rows.append([Text(((line.label, style),)), Text(((line.amount, style),), "right")])
    return [Together((Section(words.say("bridge.title")), table(columns, rows)), before=13.0)]


def _names(words: Language, first: str, rows: Sequence[BarRow], unit: str, used: str = "used") -> BarNames:
    """Headings for the series somebody knows; a series without any figure has none."""
    return BarNames(
        words.say(first),
        words.say(f"water.{used}", unit=unit),
        words.say("water.last_year", unit=unit) if any(row.pale for row in rows) else "",
        words.say("water.budget", unit=unit) if any(row.tick for row in rows) else "",
    )


def _zones(report: SeasonReport) -> list[Block]:
    if not report.zones:
        return []
    rows = [BarRow(f"{zone.zone}  {zone.name}", zone.used, zone.last_year, zone.budget) for zone in report.zones]
    words = _words(report)
    names = _names(words, "zone", rows, report.volume_unit, "expected")
    return [Section(words.say("zones.title")), bar_table(names, rows, name_width=150.0)]


def _visits(report: SeasonReport) -> list[Block]:
    words = _words(report)
    title = Section(words.say("visits.title"))
    if not report.visits:
        return [title, paragraph(words.say("visits.none"))]
    columns = [
        Column(words.say("visits.date"), width=72.0),
        Column(words.say("visits.visit"), width=104.0, style=look.CELL_STRONG),
        Column(words.say("visits.what"), share=1.0),
        Column(words.say("visits.technician"), width=84.0),
    ]
    rows = [[visit.date, visit.kind, visit.summary, visit.technician] for visit in report.visits]
    return [title, table(columns, rows)]


def _faults(report: SeasonReport) -> list[Block]:
    words = _words(report)
    title = Section(words.say("faults.title"))
    if not report.faults:
        return [title, paragraph(words.say("faults.none"))]
    columns = [
        Column(words.say("faults.found"), width=72.0),
        Column(words.say("faults.where"), width=104.0),
        Column(words.say("faults.fault"), share=1.0),
        Column(words.say("faults.outcome"), width=104.0, style=look.CELL_STRONG),
    ]
    rows = [[fault.found, fault.where, fault.what, fault.outcome] for fault in report.faults]
    return [title, table(columns, rows)]


def _recommendations(report: SeasonReport) -> list[Block]:
    if not report.recommendations:
        return []
    saves = any(line.saving.strip() for line in report.recommendations)
    costs = any(line.cost.strip() for line in report.recommendations)
    words = _words(report)
    columns = [Column(words.say("advice.what"), share=1.0)]
    columns += [Column(words.say("advice.saving"), width=104.0)] if saves else []
    columns += [Column(words.say("advice.cost"), width=84.0)] if costs else []
    rows: list[list[Cell]] = []
    for line in report.recommendations:
        row: list[Cell] = [Text(((line.title, look.CELL_STRONG), (line.reason, look.CELL)))]
        row += [line.saving.strip() or "–"] if saves else []
        row += [line.cost.strip() or "–"] if costs else []
        rows.append(row)
    return [Section(words.say("advice.title")), table(columns, rows)]


def _costs(report: SeasonReport) -> list[Block]:
    if not report.costs and not report.cost_total.strip():
        return []
    words = _words(report)
    columns = [
        Column(words.say("cost.item"), share=1.0),
        Column(words.say("cost.amount"), width=110.0, align="right"),
    ]
    rows: list[list[Cell]] = [[line.label, line.amount] for line in report.costs]
    if report.cost_total.strip():
        total = Text(((report.cost_total, look.CELL_STRONG),), "right")
        rows.append([Text(((words.say("cost.total"), look.CELL_STRONG),)), total])
    note = [paragraph(report.cost_note, look.SMALL)] if report.cost_note.strip() else []
    return [Section(words.say("cost.title")), table(columns, rows), *note]


def _next_season(report: SeasonReport) -> list[Block]:
    if not report.next_dates:
        return []
    return [
        Together(
            (
                Section(_words(report).say("next.title")),
                facts([(line.what, line.when) for line in report.next_dates]),
            ),
            before=13.0,
        )
    ]


def _assumptions(report: SeasonReport) -> list[Block]:
    words = _words(report)
    title = Section(words.say("assumed.title"), words.say("assumed.note"))
    if not report.assumptions:
        return [title, *bullets([words.say("assumed.none")])]
    columns = [
        Column(words.say("assumed.what"), share=1.0),
        Column(words.say("assumed.value"), width=110.0),
        Column(words.say("assumed.source"), share=1.0),
    ]
    rows = [[line.what, line.value, line.source] for line in report.assumptions]
    return [title, table(columns, rows)]
