"""The whole register of one site in a fixed number of queries."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.db.models import Prefetch
from django.utils import timezone

from sites.core.checks import TEST_DUE_SOON_DAYS
from sites.core.metering import use_m3
from sites.core.plant import SitePlant
from sites.core.rulebook import ZONE
from sites.core.rulebook.fields import NUMERIC
from sites.core.writing import short_number
from sites.models import (
    BackflowAssembly,
    Controller,
    Firm,
    Meter,
    MeterReading,
    Photo,
    Site,
    TariffBlock,
    User,
    Valve,
    WaterSupply,
    Zone,
)
from sites.models.places import WEEKDAYS
from sites.queries.plant import PlantRows, described

READINGS_SHOWN = 6
LATEST = "latest_readings"  # of a meter, as the page fetches them


@dataclass(frozen=True)
class AssemblyLine:
    assembly: BackflowAssembly
    test: str  # overdue, soon, later or unknown


@dataclass(frozen=True)
class ControllerLine:
    controller: Controller
    valves: list[Valve]
    doubled: frozenset[int]
    free: str


@dataclass(frozen=True)
class Cell:
    """One column of a list, as the rulebook has it; `look` is its style."""

    heading: str
    text: str
    look: str = ""


@dataclass(frozen=True)
class ZoneLine:
    zone: Zone
    cells: list[Cell]


@dataclass(frozen=True)
class ReadingLine:
    reading: MeterReading
    used_m3: float | None


@dataclass(frozen=True)
class MeterLine:
    meter: Meter
    readings: list[ReadingLine]


@dataclass(frozen=True)
class PlaceWords:
    """Facts of the site in words; coordinates as the geo: link needs them, whatever the page's language."""

    latitude: str
    longitude: str
    open_days: str
    permitted_days: str
    window_over_midnight: bool


@dataclass(frozen=True)
class SitePage:
    today: dt.date
    plant: SitePlant
    place: PlaceWords
    supplies: list[WaterSupply]
    assemblies: list[AssemblyLine]
    controllers: list[ControllerLine]
    zones: list[ZoneLine]
    meters: list[MeterLine]
    photos: list[Photo]
    tariff_blocks: list[TariffBlock]


def local_today(site: Site) -> dt.date:
    return timezone.localdate(timezone=ZoneInfo(site.time_zone))


def site_page(site: Site, user: User) -> SitePage:
    """Everything that stands on the site and that this person may see, ready to be read."""
    today = local_today(site)
    valves = Prefetch("valves", Valve.objects.prefetch_related("zones"))
    readings = Prefetch(
        "readings",
        # One more than shown: the oldest line needs the reading before it.
        MeterReading.objects.select_related("read_by").order_by("-read_on")[: READINGS_SHOWN + 1],
        to_attr=LATEST,
    )
    rows = PlantRows(
        supplies=list(site.supplies.select_related("pump")),
        backflows=list(site.backflow_assemblies.select_related("supply")),
        controllers=list(site.controllers.select_related("supply").prefetch_related(valves)),
        zones=list(site.zones.select_related("valve__controller")),
    )
    rows.valves = [valve for controller in rows.controllers for valve in controller.valves.all()]
    return SitePage(
        today=today,
        plant=described(site, rows),
        place=_place_words(site),
        supplies=rows.supplies,
        assemblies=[AssemblyLine(row, backflow_test_state(row.test_due_on, today)) for row in rows.backflows],
        controllers=[_controller_line(controller) for controller in rows.controllers],
        zones=[_zone_line(zone) for zone in rows.zones],
        meters=[_meter_line(meter) for meter in site.meters.prefetch_related(readings)],
        photos=list(Photo.objects.visible_to(user).filter(site=site).select_related("uploaded_by")),
        tariff_blocks=list(TariffBlock.objects.filter(tariff=site.tariff_id)),
    )


def _place_words(site: Site) -> PlaceWords:
    permitted = site.get_permitted_days_display()
    if site.permitted_days == Site.PermittedDays.WEEKDAYS:
        permitted = weekday_words(site.permitted_weekdays)
    return PlaceWords(
        latitude=f"{site.latitude:.6f}",
        longitude=f"{site.longitude:.6f}",
        open_days=weekday_words(site.open_weekdays),
        permitted_days=permitted,
        window_over_midnight=site.watering_window_end <= site.watering_window_start,
    )


def weekday_words(days: list[int]) -> str:
    """ "every day", "Mon to Fri" or "Tue, Thu, Sat"."""
    if not days:
        return "no day"
    if len(days) == 7:
        return "every day"
    return spans(sorted(days), [name[:3] for name in WEEKDAYS], " to ")


def backflow_test_state(due_on: dt.date | None, today: dt.date) -> str:
    """How a backflow test stands on `today`: unknown, overdue, soon or later."""
    if due_on is None:
        return "unknown"
    if due_on < today:
        return "overdue"
    return "soon" if due_on <= today + dt.timedelta(days=TEST_DUE_SOON_DAYS) else "later"


def _controller_line(controller: Controller) -> ControllerLine:
    valves = sorted(controller.valves.all(), key=lambda valve: (valve.terminal or 10**6, valve.pk))
    used = [valve.terminal for valve in valves if valve.terminal is not None]
    free = [number for number in range(1, controller.terminals + 1) if number not in used]
    doubled = frozenset(number for number in used if used.count(number) > 1)
    return ControllerLine(controller, valves, doubled, spans(free))


def spans(numbers: list[int], names: Sequence[str] = (), dash: str = "–") -> str:
    """Rising whole numbers as people write them: 1, 2, 3, 7 is "1–3, 7"; with `names`, by their names."""
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][-1] + 1:
            parts[-1].append(number)
        else:
            parts.append([number])
    written = names or [str(number) for number in range(max(numbers, default=0) + 1)]
    return ", ".join(
        written[part[0]] if len(part) == 1 else f"{written[part[0]]}{dash}{written[part[-1]]}" for part in parts
    )


def _zone_line(zone: Zone) -> ZoneLine:
    """The fields that have a column in the rulebook, in its order."""
    system = Firm.current().units
    cells = []
    for field in ZONE:
        if field.name == "planting":
            cells.append(Cell(field.column, _ground_words(zone), "two"))
        elif field.column:
            text = field.shown(getattr(zone, field.name), system)
            cells.append(Cell(field.column, text, "number" if field.kind in NUMERIC else ""))
    return ZoneLine(zone, cells)


def _ground_words(zone: Zone) -> str:
    slope = f"slope {short_number(zone.slope_percent)} %" if zone.slope_percent else ""
    soil = zone.get_soil_display() or "soil unknown"
    return ", ".join(filter(None, (zone.get_planting_display(), soil, zone.get_exposure_display(), slope)))


def _meter_line(meter: Meter) -> MeterLine:
    latest: list[MeterReading] = getattr(meter, LATEST)
    older = [*latest[1:], None][: len(latest)]  # a new meter has no reading yet
    lines = [
        ReadingLine(reading, used_between(meter, before, reading) if before else None)
        for reading, before in zip(latest, older, strict=True)
    ]
    return MeterLine(meter, lines[:READINGS_SHOWN])


def used_between(meter: Meter, before: MeterReading, after: MeterReading) -> float:
    """m³ between two readings of the meter; a lower second reading counts as a register that passed its end."""
    return use_m3(
        float(before.counter),
        float(after.counter),
        digits=meter.digits,
        unit=meter.unit,
        multiplier=meter.multiplier,
    )
