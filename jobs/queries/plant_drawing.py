"""What a site's drawings tell beside its plant: open faults and the last measured values, in the firm's units."""

from collections import defaultdict

from jobs.models import Fault, ValveMeasurement
from sites.core import writing
from sites.core.plant_drawing import Told
from sites.core.units import System, format_quantity
from sites.models import Firm, Site

PLACES = ("valve", "zone", "controller", "supply")
OF_THE_SITE: dict[str, str] = {Fault.Kind.BACKFLOW: "backflow", Fault.Kind.PUMP: "pump"}


def told_of(site: Site) -> Told:
    latest = _latest_readings(site)
    units = System(Firm.current().units)
    return Told(
        system=units,
        faults=_open_faults(site),
        measured={valve: _measured(row, units) for valve, row in latest.items()},
        electrical={valve: _measured(row) for valve, row in latest.items()},
    )


def _open_faults(site: Site) -> dict[tuple[str, int], tuple[str, ...]]:
    """In words, by what they are at; one of a controller that names none stands at the first."""
    found: dict[tuple[str, int], list[str]] = defaultdict(list)
    for fault in Fault.objects.open().filter(site=site).order_by("found_at"):
        keys = [(place, key) for place in PLACES if (key := getattr(fault, f"{place}_id"))]
        if fault.kind in OF_THE_SITE:
            keys = [(OF_THE_SITE[fault.kind], 0)]
        elif not keys and fault.kind == Fault.Kind.CONTROLLER and (first := site.controllers.first()):
            keys = [("controller", first.pk)]
        for key in keys[:1]:
            found[key].append(fault.get_kind_display().split(":")[0])
    return {key: tuple(words) for key, words in found.items()}


def _latest_readings(site: Site) -> dict[int, ValveMeasurement]:
    rows = ValveMeasurement.objects.filter(valve__controller__site=site).order_by("measured_at", "pk")
    return {row.valve_id: row for row in rows}


def _measured(row: ValveMeasurement, flow_in: str = "") -> str:
    """ "33.1 Ω, 24.2 V, 3 Sep 2026"; empty where nothing was measured. flow_in: the units of its flow, "" without."""
    values = []
    if row.open_circuit:
        values.append("no reading (open)")
    elif row.coil_resistance_ohm is not None:
        values.append(f"{row.coil_resistance_ohm:.1f} Ω")
    if row.voltage_v is not None:
        values.append(f"{row.voltage_v:.1f} V")
    if flow_in and row.flow_l_min is not None:
        values.append(format_quantity(row.flow_l_min, "flow", flow_in))
    day = writing.day(row.measured_at)
    return ", ".join([*values, day]) if values else ""
