"""Zone tables of the service sheet: what to measure at a visit of each kind, or what was measured."""

from collections.abc import Callable, Sequence

from reports.documents.kit import look
from reports.documents.kit.blocks import Block, Text
from reports.documents.kit.charts import NOT_KNOWN
from reports.documents.kit.table import Cell, Column, Table, TickBox, table
from reports.documents.service_sheet.data import VisitKind, ZoneRow
from sites.core.units import System, unit_label

_WRITING_ROOM = 22.0
_NUMBER = 35.0


def zone_table(kind: VisitKind, zones: Sequence[ZoneRow], system: System, *, completed: bool) -> Table:
    """The table of zones for a visit of this kind."""
    winter = kind is VisitKind.WINTERISATION
    if completed:
        return _winter_done(zones, system) if winter else _measured(zones, system)
    return _winter_blank(zones, system) if winter else _to_measure(zones, system)


def _name(zone: ZoneRow) -> list[Cell]:
    about = ((zone.emitter, look.SMALL),) if zone.emitter.strip() else ()
    return [Text(((zone.numbers, look.CELL_STRONG),)), Text(((zone.name, look.CELL), *about))]


def _names() -> list[Column]:
    return [Column("Zone", width=31.0), Column("Name and emitter", share=1.0)]


def _figure(title: str, group: str, *, write: bool = False, strong: bool = False) -> Column:
    style = look.CELL_STRONG if strong else look.CELL
    return Column(title, width=_NUMBER, align="right", group=group, write=write, style=style)


def _or_dash(text: str) -> str:
    return text.strip() or NOT_KNOWN


def _triple(group: str, *, write: bool) -> list[Column]:
    return [
        _figure("new", group),
        _figure("last", group),
        _figure("now", group, write=write, strong=not write),
    ]


def _heads(system: System) -> tuple[str, str, str, str]:
    return (
        "Coil, ohm",
        "Voltage, V",
        f"Flow, {unit_label('flow', system)}",
        f"Pressure, {unit_label('pressure', system)}",
    )


def _to_measure(zones: Sequence[ZoneRow], system: System) -> Table:
    coil, voltage, flow, pressure = _heads(system)
    columns = [
        *_names(),
        *_triple(coil, write=True),
        Column(voltage, width=47.0, write=True),
        *_triple(flow, write=True),
        Column(pressure, width=46.0, write=True),
        Column("Opens, closes", width=34.0, align="centre"),
    ]
    rows = [
        [
            *_name(zone),
            _or_dash(zone.as_new.resistance),
            _or_dash(zone.last.resistance),
            "",
            "",
            _or_dash(zone.as_new.flow),
            _or_dash(zone.last.flow),
            "",
            "",
            TickBox(words=("", "")),
        ]
        for zone in zones
    ]
    return table(columns, rows, row_least=_WRITING_ROOM)


def _measured(zones: Sequence[ZoneRow], system: System) -> Table:
    coil, voltage, flow, pressure = _heads(system)
    columns = [
        *_names(),
        *_triple(coil, write=False),
        Column(voltage, width=41.0, align="right"),
        *_triple(flow, write=False),
        Column(pressure, width=45.0, align="right"),
        Column("Opens, closes", width=44.0, align="centre"),
    ]
    values: list[Callable[[ZoneRow], str]] = [
        lambda zone: zone.as_new.resistance,
        lambda zone: zone.last.resistance,
        lambda zone: zone.now.resistance,
        lambda zone: zone.now.voltage,
        lambda zone: zone.as_new.flow,
        lambda zone: zone.last.flow,
        lambda zone: zone.now.flow,
        lambda zone: zone.now.pressure,
        lambda zone: zone.now.works,
    ]
    return table(columns, [[*_name(zone), *[_or_dash(value(zone)) for value in values]] for zone in zones])


def _winter_blank(zones: Sequence[ZoneRow], system: System) -> Table:
    columns = [
        *_names(),
        Column("Pipe and its most air", width=92.0),
        Column("Air used", width=52.0, group=unit_label("pressure", system), write=True),
        Column("1st pass", width=46.0, group="Minutes", write=True),
        Column("2nd pass", width=46.0, group="Minutes", write=True),
        Column("Mist seen", width=34.0, align="centre"),
        Column("Remark", width=90.0, write=True),
    ]
    rows: list[list[Cell]] = [[*_name(zone), _or_dash(zone.pipe), "", "", "", TickBox(), ""] for zone in zones]
    return table(columns, rows, row_least=_WRITING_ROOM)


def _winter_done(zones: Sequence[ZoneRow], system: System) -> Table:
    """Coils and valves as measured; the air columns only where a zone's air was written down."""
    coil, voltage, _, _ = _heads(system)
    by_zone = any(zone.now.air_pressure.strip() or zone.now.air_minutes.strip() for zone in zones)
    air = [
        Column("Air used", width=46.0, align="right", group=unit_label("pressure", system)),
        Column("Air on, min", width=46.0, align="right"),
    ]
    columns = [
        *_names(),
        Column("Pipe and its most air", width=92.0),
        *(air if by_zone else []),
        *_triple(coil, write=False),
        Column(voltage, width=41.0, align="right"),
        Column("Opens, closes", width=44.0, align="centre"),
    ]
    rows: list[list[Cell]] = [
        [
            *_name(zone),
            _or_dash(zone.pipe),
            *([_or_dash(zone.now.air_pressure), _or_dash(zone.now.air_minutes)] if by_zone else []),
            _or_dash(zone.as_new.resistance),
            _or_dash(zone.last.resistance),
            _or_dash(zone.now.resistance),
            _or_dash(zone.now.voltage),
            _or_dash(zone.now.works),
        ]
        for zone in zones
    ]
    return table(columns, rows)


def diagnosis_table(zones: Sequence[ZoneRow]) -> list[Block]:
    """What the measurements mean, for the zones that have a diagnosis; nothing when none has."""
    said = [zone for zone in zones if zone.diagnosis.strip()]
    if not said:
        return []
    columns = [Column("Zone", width=31.0), Column("Name", width=130.0), Column("What it means", share=1.0)]
    heading = Text((("What the measurements mean", look.SUBSECTION),), before=3.0, after=2.0, keep_with_next=True)
    return [
        heading,
        table(columns, [[Text(((z.numbers, look.CELL_STRONG),)), z.name, z.diagnosis] for z in said]),
    ]
