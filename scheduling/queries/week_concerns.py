"""What the proof of a controller's week leaves aside: collisions, window, transformer, doubled terminals, steps that
cannot run, other controllers on its supply."""

import datetime as dt
import zoneinfo
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from scheduling.core.sequence.loads import worst_load
from scheduling.core.sequence.parts import Part
from scheduling.core.sequence.timeline import MASTER, PUMP, Notice, NoticeKind, Timeline
from sites.core.electrical import Coil
from sites.core.figures import sum_known
from sites.core.plant import Controller, SitePlant, Valve
from sites.core.units import format_quantity
from sites.models import Firm

COLLISION, WINDOW, TRANSFORMER, TERMINAL = "collision", "window", "transformer", "terminal"
LEFT_OUT, SUPPLY = "left out", "supply"
SHORT_WAIT_S = 60.0
FROM_NOTICES = {NoticeKind.QUEUED: COLLISION, NoticeKind.REFUSED: COLLISION, NoticeKind.OUTSIDE_WINDOW: WINDOW}


@dataclass(frozen=True)
class Concern:
    """One moment of the week at which something does not fit, in words with its figures."""

    kind: str
    words: str
    at: dt.datetime
    unsafe: bool = False


def concerns(
    timeline: Timeline, plant: SitePlant, controller_id: int, zone: zoneinfo.ZoneInfo
) -> tuple[Concern, ...]:
    """The first moment of each kind; nothing where the week is sound."""
    found: dict[str, Concern] = {}
    for notice in sorted(timeline.notices, key=lambda notice: notice.at_s):
        kind = _kind(notice)
        if kind and kind not in found:
            found[kind] = Concern(kind, notice.text, timeline.at(notice.at_s, zone))
    controller = plant.the_controller(controller_id)
    for concern in (_transformer(timeline, plant, controller, zone), _terminals(timeline, plant, controller, zone)):
        if concern is not None:
            found[concern.kind] = concern
    return tuple(found.values())


def _kind(notice: Notice) -> str | None:
    """A step that is too short for the plant is refused, too, and is no collision; nor is a wait of seconds for
    valves to settle between two programs that follow each other by the minute."""
    if notice.kind is NoticeKind.QUEUED and notice.seconds < SHORT_WAIT_S:
        return None
    if notice.kind is NoticeKind.REFUSED and "another program" not in notice.text:
        return LEFT_OUT
    return FROM_NOTICES.get(notice.kind)


def _transformer(
    timeline: Timeline, plant: SitePlant, controller: Controller, zone: zoneinfo.ZoneInfo
) -> Concern | None:
    if controller.transformer_va is None or controller.output == "latching":
        return None
    coils = _coils(plant, controller)
    worst = worst_load(timeline, coils, controller.transformer_va, interlocked=controller.one_valve_at_a_time)
    if worst is None or not worst.load.overloaded:
        return None
    names: dict[int | str, str] = {valve.id: valve.name for valve in plant.valves_on(controller.id)}
    on = ", ".join(names.get(key, {MASTER: "master valve", PUMP: "pump relay"}.get(str(key), "")) for key in worst.on)
    words = (
        f"The transformer is overloaded: {on} need {worst.load.peak_va:.1f} VA while the last one starts, "
        f"it is rated {worst.load.rated_va:g} VA"
    )
    return Concern(TRANSFORMER, words, timeline.at(worst.at_s, zone), unsafe=True)


def _coils(plant: SitePlant, controller: Controller) -> dict[int | str, Coil]:
    """The load each output switches, as far as it is known; valves on one terminal switch together."""
    coils: dict[int | str, Coil] = {}
    by_terminal: dict[int | None, list[Coil]] = defaultdict(list)
    for valve in plant.zone_valves_on(controller.id):
        if valve.coil is not None:
            by_terminal[valve.terminal].append(valve.coil)
    for valve in plant.valves_on(controller.id):
        if valve.coil is None:
            continue
        together = [] if valve.is_master or valve.terminal is None else by_terminal[valve.terminal]
        if len(together) > 1:
            inrush = sum(coil.holding_va + coil.inrush_excess_va for coil in together)
            coils[valve.id] = Coil(sum(coil.holding_va for coil in together), inrush)
        else:
            coils[MASTER if valve.is_master else valve.id] = valve.coil
    if controller.pump_relay_va:
        coils[PUMP] = Coil(controller.pump_relay_va)
    return coils


def _terminals(
    timeline: Timeline, plant: SitePlant, controller: Controller, zone: zoneinfo.ZoneInfo
) -> Concern | None:
    shared: dict[int, list[Valve]] = defaultdict(list)
    for valve in plant.valves_on(controller.id):
        if valve.terminal is not None:
            shared[valve.terminal].append(valve)
    doubled = {valve.id: valves for valves in shared.values() if len(valves) > 1 for valve in valves}
    run = next((run for run in timeline.runs if run.valve_id in doubled), None)
    if run is None:
        return None
    valves = doubled[run.valve_id]
    names = " and ".join(valve.name for valve in valves)
    flows = [zone.flow_l_min for valve in valves for zone in plant.zones_of(valve.id)]
    together = sum_known(flows) if flows else None
    water = ""
    if together is not None:
        water = f" and take {format_quantity(together, 'flow', Firm.current().units)} together"
    words = (
        f"{names} are both on terminal {valves[0].terminal}: they open together{water}, "
        "and each waters for the minutes of both"
    )
    return Concern(TERMINAL, words, timeline.at(run.open_s, zone))


def unknown_flows(supply: str, parts: Sequence[Part], zone: zoneinfo.ZoneInfo) -> dict[int, Concern]:
    """By place in `parts`, the first moment at which a controller waters beside another one on its supply and it is
    not known whether the supply feeds both: there the proof has no figures to go by."""
    found: dict[int, Concern] = {}
    for (place, one), (beside, other) in combinations(enumerate(parts), 2):
        at_s = _first_unknown(one, other)
        if at_s is None:
            continue
        at = one.timeline.at(at_s, zone)
        words = (
            f"{one.name} and {other.name} water at the same time from {supply}: whether it feeds both is not known"
        )
        for number in (place, beside):
            if number not in found or at < found[number].at:
                found[number] = Concern(SUPPLY, words, at)
    return found


def _first_unknown(one: Part, other: Part) -> float | None:
    """Both timelines count from the same midnight."""
    flows = {valve.id: valve.flow_l_min for part in (one, other) for valve in part.plant.valves}
    available = one.plant.supply_l_min
    for run in one.timeline.runs:
        for beside in other.timeline.runs:
            at_s = max(run.open_s, beside.open_s)
            known = available is not None and None not in (flows[run.valve_id], flows[beside.valve_id])
            if at_s < min(run.close_s, beside.close_s) and not known:
                return at_s
    return None
