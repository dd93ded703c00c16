"""What the proof of a week's commands does not cover: collisions, window, transformer, doubled terminals."""

import datetime as dt
import zoneinfo
from collections import defaultdict
from dataclasses import dataclass

from scheduling.core.sequence.loads import MASTER, PUMP, worst_load
from scheduling.core.sequence.timeline import NoticeKind, Timeline
from sites.core.electrical import Coil
from sites.core.units import format_quantity
from sites.models import Controller, Firm, Valve

COLLISION, WINDOW, TRANSFORMER, TERMINAL = "collision", "window", "transformer", "terminal"
SHORT_WAIT_S = 60.0
FROM_NOTICES = {NoticeKind.QUEUED: COLLISION, NoticeKind.REFUSED: COLLISION, NoticeKind.OUTSIDE_WINDOW: WINDOW}


@dataclass(frozen=True)
class Concern:
    """One moment of the week at which something does not fit, in words with its figures."""

    kind: str
    words: str
    at: dt.datetime
    unsafe: bool = False


def concerns(timeline: Timeline, controller: Controller, zone: zoneinfo.ZoneInfo) -> tuple[Concern, ...]:
    """The first moment of each kind; nothing where the week is sound."""
    found: dict[str, Concern] = {}
    for notice in sorted(timeline.notices, key=lambda notice: notice.at_s):
        kind = FROM_NOTICES.get(notice.kind)
        if kind and kind not in found and _collides(notice):
            found[kind] = Concern(kind, notice.text, timeline.at(notice.at_s, zone))
    for concern in (_transformer(timeline, controller, zone), _terminals(timeline, controller, zone)):
        if concern is not None:
            found[concern.kind] = concern
    return tuple(found.values())


def _collides(notice) -> bool:
    """A step that is too short for the plant is refused, too, and is no collision; nor is a wait of seconds for
    valves to settle between two programs that follow each other by the minute."""
    if notice.kind is NoticeKind.QUEUED:
        return notice.seconds >= SHORT_WAIT_S
    return notice.kind is not NoticeKind.REFUSED or "another program" in notice.text


def _transformer(timeline: Timeline, controller: Controller, zone: zoneinfo.ZoneInfo) -> Concern | None:
    if controller.transformer_va is None or controller.output == Controller.Output.LATCHING:
        return None
    coils: dict[int | str, Coil] = {}
    by_terminal: dict[int, list[Coil]] = defaultdict(list)
    valves = [valve for valve in controller.valves.all() if valve.coil_holding_va is not None]
    for valve in valves:
        coil = Coil(valve.coil_holding_va, valve.coil_inrush_va)
        coils[MASTER if valve.is_master else valve.pk] = coil
        if valve.terminal is not None and not valve.is_master:
            by_terminal[valve.terminal].append(coil)
    for valve in valves:
        together = by_terminal.get(valve.terminal or 0, [])
        if len(together) > 1 and not valve.is_master:
            # Valves on one terminal open together whichever of them is meant.
            inrush = sum(coil.holding_va + coil.inrush_excess_va for coil in together)
            coils[valve.pk] = Coil(sum(coil.holding_va for coil in together), inrush)
    if controller.pump_relay_va:
        coils[PUMP] = Coil(controller.pump_relay_va)
    worst = worst_load(timeline, coils, controller.transformer_va, interlocked=controller.one_valve_at_a_time)
    if worst is None or not worst.load.overloaded:
        return None
    names: dict[int | str, str] = {valve.pk: valve.name for valve in controller.valves.all()}
    on = ", ".join(names.get(key, {MASTER: "master valve", PUMP: "pump relay"}.get(str(key), "")) for key in worst.on)
    words = (
        f"The transformer is overloaded: {on} need {worst.load.peak_va:.1f} VA while the last one starts, "
        f"it is rated {worst.load.rated_va:g} VA"
    )
    return Concern(TRANSFORMER, words, timeline.at(worst.at_s, zone), unsafe=True)


def _terminals(timeline: Timeline, controller: Controller, zone: zoneinfo.ZoneInfo) -> Concern | None:
    shared: dict[int, list[Valve]] = defaultdict(list)
    for valve in controller.valves.all():
        if valve.terminal is not None:
            shared[valve.terminal].append(valve)
    for run in timeline.runs:
        for terminal, valves in shared.items():
            if len(valves) > 1 and run.valve_id in {valve.pk for valve in valves}:
                names = " and ".join(valve.name for valve in valves)
                flows = [row.flow_l_min for valve in valves for row in valve.zones.all() if row.in_use]
                together = format_quantity(sum(flows), "flow", Firm.current().units) if None not in flows else ""
                water = f" and take {together} together" if flows and together else ""
                words = (
                    f"{names} are both on terminal {terminal}: they open together{water}, "
                    "and each waters for the minutes of both"
                )
                return Concern(TERMINAL, words, timeline.at(run.open_s, zone))
    return None
