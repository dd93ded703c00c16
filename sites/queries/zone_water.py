"""What each zone of a site gets through its pipe, and which zones can run together; asks the database nothing."""

from collections.abc import Iterable
from dataclasses import dataclass

from sites.core.checks import SitePlant
from sites.core.electrical import TRANSFORMER_MARGIN, Coil
from sites.core.hydraulics import Groups, ZoneFlow, run_together
from sites.core.zone_water import Answer, SupplyWater, ZoneAnswers, ZoneWater, zone_answers
from sites.models import Controller, Valve, WaterSupply, Zone
from sites.queries.site_page import ControllerLine, SitePage

MOST_TOGETHER = 8  # as many as a controller's register field holds


@dataclass(frozen=True)
class ZoneLine:
    """A zone with its answers; `needs`: what its missing figures need, beyond what every zone needs."""

    zone: Zone
    answers: ZoneAnswers
    needs: tuple[str, ...] = ()


@dataclass(frozen=True)
class Grouped:
    """Zones that fit together, and those that must run alone, by the names of the zones a valve waters."""

    together: tuple[tuple[str, ...], ...] = ()
    alone: tuple[str, ...] = ()


@dataclass(frozen=True)
class Together:
    """Which of one controller's zones can run together.

    as_set: with as many valves as the controller opens. possible: as far as water and transformer reach, with
    separate outputs. needs: what the answer waits for; coils_known: whether the transformer could be counted.
    """

    controller: Controller
    as_set: Grouped = Grouped()
    possible: Grouped = Grouped()
    too_large: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    coils_known: bool = False
    needs: tuple[str, ...] = ()


@dataclass(frozen=True)
class WaterPage:
    """needs: what every zone of the site still needs; pumped: whether a controller starts a pump here."""

    lines: list[ZoneLine]
    needs: tuple[str, ...]
    together: list[Together]
    pumped: bool


def water_page(page: SitePage, plant: SitePlant) -> WaterPage:
    lines = [line for line in zone_lines(page, plant) if line.zone.in_use]
    asked = [_needs(line.answers) for line in lines]
    common = tuple(need for need in (asked[0] if asked else ()) if all(need in needs for needs in asked))
    shown = [
        ZoneLine(line.zone, line.answers, tuple(need for need in needs if need not in common))
        for line, needs in zip(lines, asked, strict=True)
    ]
    together = [_together(line, page) for line in page.controllers if line.valves]
    return WaterPage(shown, common, together, any(supply.kind == WaterSupply.Kind.PUMP for supply in page.supplies))


def zone_lines(page: SitePage, plant: SitePlant) -> list[ZoneLine]:
    """Every zone of the register with what can be computed for it."""
    supplies = {supply.pk: _supply_water(supply) for supply in page.supplies}
    lines = []
    for zone in page.zones:
        found = plant.supply_of(zone.valve_id)
        lines.append(ZoneLine(zone, zone_answers(_zone_water(zone, supplies[found.id] if found else None))))
    return lines


def _supply_water(row: WaterSupply) -> SupplyWater:
    pump = getattr(row, "pump", None)
    efficiency, price = (pump.efficiency_percent, pump.energy_price_per_kwh) if pump else (None, None)
    return SupplyWater(
        name=row.name,
        flow_l_min=row.flow_available_l_min,
        static_kpa=row.static_pressure_kpa,
        working_kpa=row.working_pressure_kpa,
        pumped=row.kind == WaterSupply.Kind.PUMP,
        curve=pump.curve if pump else None,
        efficiency=efficiency / 100 if efficiency is not None else None,
        price_per_kwh=float(price) if price is not None else None,
    )


def _zone_water(zone: Zone, supply: SupplyWater | None) -> ZoneWater:
    return ZoneWater(
        id=zone.pk,
        name=f"Zone {zone}",
        emitter=zone.emitter,
        supply=supply,
        flow_l_min=zone.flow_l_min,
        length_m=zone.pipe_length_m,
        inside_mm=zone.pipe_inside_mm,
        material=zone.pipe_material,
        rise_m=zone.head_rise_m,
        head_kpa=zone.head_pressure_kpa,
        valve_kpa=zone.valve.pressure_loss_kpa if zone.valve else None,
    )


def _needs(answers: ZoneAnswers) -> tuple[str, ...]:
    asked: tuple[Answer, ...] = (
        answers.velocity_m_s,
        answers.friction_kpa,
        answers.head_kpa,
        Answer(needs=answers.point_needs),
        answers.power_kw,
        answers.cost_per_m3,
    )
    return tuple(dict.fromkeys(need for answer in asked for need in answer.needs))


def _together(line: ControllerLine, page: SitePage) -> Together:
    """Valve by valve: a valve that waters two zones opens both."""
    controller = line.controller
    supply = controller.waters_from(page.supplies)
    watering = [valve for valve in line.valves if not valve.is_master and _zones(valve)]
    names = {valve.pk: " and ".join(str(zone) for zone in _zones(valve)) for valve in watering}
    if supply is None or supply.flow_available_l_min is None:
        need = "water supply of the controller" if supply is None else "flow available at the supply"
        return Together(controller, needs=(need,))
    coils = [*watering, *(valve for valve in line.valves if valve.is_master)]
    coils_known = controller.transformer_va is not None and None not in [valve.coil_holding_va for valve in coils]
    spare_va = _spare_va(line) if coils_known else None
    flows = [ZoneFlow(valve.pk, _flow(valve), valve.coil_holding_va or 0.0, _excess_va(valve)) for valve in watering]

    def groups(most_open: int) -> Groups:
        return run_together(flows, supply.flow_available_l_min, most_open, spare_va)

    def named(keys: Iterable[int]) -> tuple[str, ...]:
        return tuple(names[key] for key in keys)

    def grouped(found: Groups) -> Grouped:
        alone = [group[0] for group in found.groups if len(group) == 1]
        return Grouped(tuple(named(group) for group in found.groups if len(group) > 1), named(alone))

    possible = groups(MOST_TOGETHER)
    return Together(
        controller,
        as_set=grouped(groups(controller.most_valves_open)),
        possible=grouped(possible),
        too_large=named(possible.too_large),
        unknown=named(possible.unknown),
        coils_known=coils_known,
    )


def _zones(valve: Valve) -> list[Zone]:
    return [zone for zone in valve.zones.all() if zone.in_use]


def _flow(valve: Valve) -> float | None:
    flows = [zone.flow_l_min for zone in _zones(valve)]
    return None if None in flows else sum(flows)


def _excess_va(valve: Valve) -> float:
    return Coil(valve.coil_holding_va, valve.coil_inrush_va).inrush_excess_va if valve.coil_holding_va else 0.0


def _spare_va(line: ControllerLine) -> float:
    """What the transformer has left for zone valves beside master valve and pump relay, its margin kept."""
    masters = sum(valve.coil_holding_va for valve in line.valves if valve.is_master)
    usable = (1 - TRANSFORMER_MARGIN) * line.controller.transformer_va
    return usable - masters - (line.controller.pump_relay_va or 0.0)
