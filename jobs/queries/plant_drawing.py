"""A controller's plant as its drawings want it: the register, with the last measured values and the open faults."""

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import Prefetch

from jobs.models import Fault, ValveMeasurement
from sites.core import writing
from sites.core.plant_drawing import DrawnPlant, DrawnValve, Part
from sites.core.units import format_quantity
from sites.models import Controller, Firm, Site, Valve, WaterSupply, Zone

Kind = WaterSupply.Kind


@dataclass
class _Faults:
    """Open faults of a site in words, by what they are at."""

    by_place: dict[tuple[str, int], list[str]]
    backflow: list[str]
    pump: list[str]

    def at(self, place: str, pk: int | None) -> tuple[str, ...]:
        return tuple(self.by_place.get((place, pk), [])) if pk else ()


def drawn_plants(site: Site) -> list[tuple[Controller, DrawnPlant]]:
    """Every controller of the site, in five queries."""
    controllers = list(site.controllers.prefetch_related(Prefetch("valves", Valve.objects.prefetch_related("zones"))))
    return [(controller, plant) for controller, plant in zip(controllers, _drawn(site, controllers), strict=True)]


def drawn_plant(controller: Controller) -> DrawnPlant:
    """One controller by its key."""
    return next(plant for row, plant in drawn_plants(controller.site) if row.pk == controller.pk)


def _drawn(site: Site, controllers: list[Controller]) -> list[DrawnPlant]:
    faults = _open_faults(site)
    latest = _latest_readings(site)
    assemblies = list(site.backflow_assemblies.all())
    unfed = tuple(f"Zone {zone}" for zone in Zone.objects.filter(site=site, valve=None, in_use=True))
    supplies = list(site.supplies.select_related("pump"))
    plants = []
    for number, controller in enumerate(controllers):
        supply = controller.waters_from(supplies)
        valves = [_valve(valve, latest, faults) for valve in controller.valves.all()]
        path = [_supply(supply, faults), *_backflow(supply, assemblies, faults), *_pump(supply, faults)]
        masters = [valve for valve in valves if valve.is_master]
        path += [Part("master", valve.name, _terminal(valve), valve.faults) for valve in masters]
        plants.append(
            DrawnPlant(
                site=site.name,
                controller=controller.name,
                path=tuple(path),
                valves=tuple(valves),
                terminals=controller.terminals,
                output=controller.output,
                power=_power(controller),
                relay=_relay(controller, supply),
                faults=faults.at("controller", controller.pk),
                zones_without_valve=unfed if number == 0 else (),
            )
        )
    return plants


def _open_faults(site: Site) -> _Faults:
    found = _Faults(defaultdict(list), [], [])
    for fault in Fault.objects.open().filter(site=site).order_by("found_at"):
        words = fault.get_kind_display().split(":")[0]
        if fault.kind == Fault.Kind.BACKFLOW:
            found.backflow.append(words)
        elif fault.kind == Fault.Kind.PUMP:
            found.pump.append(words)
        else:
            for place in ("valve", "zone", "controller", "supply"):
                if pk := getattr(fault, f"{place}_id"):
                    found.by_place[place, pk].append(words)
                    break
            else:
                if fault.kind == Fault.Kind.CONTROLLER and (first := site.controllers.first()):
                    found.by_place["controller", first.pk].append(words)
    return found


def _latest_readings(site: Site) -> dict[int, ValveMeasurement]:
    rows = ValveMeasurement.objects.filter(valve__controller__site=site).order_by("measured_at", "pk")
    return {row.valve_id: row for row in rows}


def _valve(valve: Valve, latest: dict[int, ValveMeasurement], faults: _Faults) -> DrawnValve:
    zones = [zone for zone in valve.zones.all() if zone.in_use]
    flows = [zone.flow_l_min for zone in zones]
    known = sum(flow or 0.0 for flow in flows) if flows and None not in flows else None
    words = [*faults.at("valve", valve.pk)]
    for zone in zones:
        words += faults.at("zone", zone.pk)
    return DrawnValve(
        name=valve.name,
        terminal=valve.terminal,
        zones=tuple(f"Zone {zone}" for zone in zones),
        flow=_amount(known, "flow"),
        wire=", ".join(
            _amount(value, quantity) or f"{name} ?"
            for value, quantity, name in (
                (valve.wire_length_m, "length", "length"),
                (valve.wire_section_mm2, "wire_section", "section"),
            )
        ),
        measured=_measured(latest.get(valve.pk)),
        electrical=_measured(latest.get(valve.pk), with_flow=False),
        faults=tuple(words),
        is_master=valve.is_master,
    )


def _measured(row: ValveMeasurement | None, *, with_flow: bool = True) -> str:
    """ "33.1 Ω, 24.2 V, 3 Sep 2026"; empty where nothing was measured."""
    if row is None:
        return ""
    values = []
    if row.open_circuit:
        values.append("no reading (open)")
    elif row.coil_resistance_ohm is not None:
        values.append(f"{row.coil_resistance_ohm:.1f} Ω")
    if row.voltage_v is not None:
        values.append(f"{row.voltage_v:.1f} V")
    if with_flow and row.flow_l_min is not None:
        values.append(_amount(row.flow_l_min, "flow"))
    day = f"{writing.day(row.measured_at)}"
    return ", ".join([*values, day]) if values else ""


def _supply(supply: WaterSupply | None, faults: _Faults) -> Part:
    if supply is None:
        return Part("supply", "", missing="water supply")
    notes = [
        _amount(supply.flow_available_l_min, "flow") or "flow ?",
        f"{_amount(supply.static_pressure_kpa, 'pressure') or '?'} static",
    ]
    return Part("supply", str(supply), (", ".join(notes),), faults.at("supply", supply.pk))


def _backflow(supply: WaterSupply | None, assemblies: list, faults: _Faults) -> list[Part]:
    """The supply's assembly; drinking water without one is drawn as missing, the local code decides."""
    own = [row for row in assemblies if supply is None or row.supply_id in (None, supply.pk)]
    parts = []
    for row in own:
        due = f"next test {writing.day(row.test_due_on)}" if row.test_due_on else "test date ?"
        words = ", ".join(text for text in (_amount(row.size_mm, "diameter"), due) if text)
        parts.append(Part("backflow", str(row)[:1].upper() + str(row)[1:], (words,), tuple(faults.backflow)))
    if not parts and (supply is None or supply.kind in (Kind.MAINS, Kind.WELL)):
        parts.append(Part("backflow", "", missing="backflow assembly", faults=tuple(faults.backflow)))
    return parts


def _pump(supply: WaterSupply | None, faults: _Faults) -> list[Part]:
    row = getattr(supply, "pump", None) if supply else None
    if row is None:
        wanted = supply is not None and supply.kind == Kind.PUMP
        return [Part("pump", "", missing="pump", faults=tuple(faults.pump))] if wanted else []
    name = ", ".join(text for text in (row.name, _amount(row.rated_power_kw, "power")) if text)
    most = f"{row.most_starts_per_hour} starts an hour at most"
    notes = f"prime {row.prime_delay_s} s, runs {row.minimum_run_s} s or more, {most}"
    return [Part("pump", name, (notes,), tuple(faults.pump))]


def _terminal(valve: DrawnValve) -> tuple[str, ...]:
    return (f"terminal {valve.terminal}" if valve.terminal is not None else "terminal ?",)


def _power(controller: Controller) -> tuple[str, ...]:
    if controller.output == Controller.Output.LATCHING:
        return (controller.get_output_display(),)
    load = f"{controller.transformer_va:g} VA" if controller.transformer_va else "load ?"
    volts = f", {controller.output_v:g} V measured" if controller.output_v else ""
    return (f"{controller.get_output_display()}, {load}{volts}",)


def _relay(controller: Controller, supply: WaterSupply | None) -> str | None:
    if supply is None or supply.kind != Kind.PUMP:
        return None
    return f"coil {controller.pump_relay_va:g} VA" if controller.pump_relay_va else "coil load ?"


def _amount(value: float | None, quantity: str) -> str:
    return format_quantity(value, quantity, Firm.current().units, missing="")
