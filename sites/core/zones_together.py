"""Which of a controller's zones can run together, as far as its supply and its transformer reach."""

from collections.abc import Iterable
from dataclasses import dataclass

from sites.core.electrical import TRANSFORMER_MARGIN
from sites.core.hydraulics import Groups, ZoneFlow, run_together
from sites.core.plant import Controller, SitePlant

MOST_TOGETHER = 8  # as many as a controller's register field holds


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


def zones_together(plant: SitePlant, controller: Controller) -> Together:
    """Valve by valve: a valve that waters two zones opens both."""
    supply = plant.supply_of(controller)
    if supply is None or supply.flow_available_l_min is None:
        need = "water supply of the controller" if supply is None else "flow available at the supply"
        return Together(controller, needs=(need,))
    available_l_min = supply.flow_available_l_min
    watering = [valve for valve in plant.zone_valves_on(controller.id) if plant.zones_of(valve.id)]
    names = {valve.id: " and ".join(str(zone) for zone in plant.zones_of(valve.id)) for valve in watering}
    coils = {valve.id: valve.coil for valve in (*watering, *plant.masters_on(controller.id))}
    spare_va = None if None in coils.values() else _spare_va(plant, controller)
    flows = [
        ZoneFlow(key, plant.flow_l_min(key), coil.holding_va if coil else 0.0, coil.inrush_excess_va if coil else 0.0)
        for key, coil in coils.items()
        if key in names
    ]

    def groups(most_open: int) -> Groups:
        return run_together(flows, available_l_min, most_open, spare_va)

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
        coils_known=spare_va is not None,
    )


def _spare_va(plant: SitePlant, controller: Controller) -> float | None:
    """What the transformer has left for zone valves beside master valve and pump relay, its margin kept."""
    if controller.transformer_va is None:
        return None
    masters_va = sum(valve.coil_holding_va or 0.0 for valve in plant.masters_on(controller.id))
    rated_va = (1 - TRANSFORMER_MARGIN) * controller.transformer_va
    return max(0.0, rated_va - masters_va - (controller.pump_relay_va or 0.0))
