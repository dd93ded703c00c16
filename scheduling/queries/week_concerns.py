"""What the proof of a controller's week leaves aside: collisions, window, transformer, doubled terminals, steps that
cannot run, other controllers on its supply."""

import datetime as dt
import zoneinfo
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from scheduling.core.sequence.loads import MASTER, PUMP, worst_load
from scheduling.core.sequence.timeline import Notice, NoticeKind, Timeline
from sites.core.electrical import Coil
from sites.core.units import format_quantity
from sites.models import Controller, Firm, Valve, WaterSupply

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


def concerns(timeline: Timeline, controller: Controller, zone: zoneinfo.ZoneInfo) -> tuple[Concern, ...]:
    """The first moment of each kind; nothing where the week is sound."""
    found: dict[str, Concern] = {}
    for notice in sorted(timeline.notices, key=lambda notice: notice.at_s):
        kind = _kind(notice)
        if kind and kind not in found:
            found[kind] = Concern(kind, notice.text, timeline.at(notice.at_s, zone))
    for concern in (_transformer(timeline, controller, zone), _terminals(timeline, controller, zone)):
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


@dataclass(frozen=True)
class Watering:
    """When one controller's week holds valves open, and which."""

    controller: Controller
    supply: WaterSupply | None
    timeline: Timeline


def meetings(weeks: Sequence[Watering], zone: zoneinfo.ZoneInfo) -> dict[int, Concern]:
    """By controller, the first moment at which it waters beside another one on its supply: each is proved alone.

    Told where they switch one pump, or where their flows together are above the supply's or not known.
    """
    found: dict[int, Concern] = {}
    for one, other in combinations(weeks, 2):
        if one.supply is None or other.supply is None or one.supply.pk != other.supply.pk:
            continue
        met = _first_meeting(one, other)
        if met is None:
            continue
        at_s, words, unsafe = met
        for week in (one, other):
            at = one.timeline.at(at_s, zone)
            if week.controller.pk not in found or at < found[week.controller.pk].at:
                found[week.controller.pk] = Concern(SUPPLY, words, at, unsafe=unsafe)
    return found


def _first_meeting(one: Watering, other: Watering) -> tuple[float, str, bool] | None:
    """Both timelines count from the same midnight."""
    assert one.supply is not None
    pumped, available = one.supply.kind == WaterSupply.Kind.PUMP, one.supply.flow_available_l_min
    flows = {valve.pk: flow_of(valve) for week in (one, other) for valve in week.controller.valves.all()}
    for run in one.timeline.runs:
        for beside in other.timeline.runs:
            at_s = max(run.open_s, beside.open_s)
            if at_s >= min(run.close_s, beside.close_s):
                continue
            both = [flows[run.valve_id], flows[beside.valve_id]]
            together = None if None in both else sum(flow or 0.0 for flow in both)
            if not pumped and together is not None and available is not None and together <= available:
                continue
            words = f"{one.controller} and {other.controller} water at the same time from {one.supply.name}"
            if pumped:
                words += ": each is proved alone, and one stops the pump or shuts its valves while the other waters"
            elif together is None or available is None:
                words += ": whether it feeds both is not known"
            else:
                units = Firm.current().units
                takes, gives = (format_quantity(flow, "flow", units) for flow in (together, available))
                words += f" and take {takes} of {gives}"
            return at_s, words, pumped
    return None


def flow_of(valve: Valve) -> float | None:
    """What the valve's zones in use take together; None where one is not known or there is none."""
    flows = [row.flow_l_min for row in valve.zones.all() if row.in_use]
    return None if not flows or None in flows else sum(flows)
