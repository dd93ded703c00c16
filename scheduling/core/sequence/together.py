"""Decide whether all controllers of one supply are safe together for every possible delay.

Each controller is proved alone first (`verify`); then what they share: the pump's starts and rests, the flow of all
valves that may be open together, the minutes while another controller keeps the pump running. So the verdict on a
supply is never milder than that on any of its controllers.

The path of water needs no rule of its own: each controller alone keeps one open from before its own pump command to
after it, and the pump runs only while one of them asks for it.
"""

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

from scheduling.core.sequence.corners import Corners
from scheduling.core.sequence.parts import Part
from scheduling.core.sequence.spans import Span, Spans, read_spans
from scheduling.core.sequence.timeline import EPSILON_S, HOUR_S, Delays, Excess, Rule
from scheduling.core.sequence.verify import Margin, Verdict, verify

AllDelays = tuple[Delays, ...]  # of every part


@dataclass(frozen=True)
class Clash:
    """Delays within the bounds for which the controllers together break a rule that each alone keeps."""

    rule: Rule
    delays: AllDelays
    at_s: float
    margin_s: float
    text: str
    excess: Excess | None = None


@dataclass(frozen=True)
class Handover:
    """What the proof lets pass: for up to `longest_s` at a stretch more may be asked of the supply than it feeds.

    peak_l_min: the highest flow of valves that may be open together, None where one of them is not known.
    """

    longest_s: float
    peak_l_min: float | None
    supply_l_min: float | None


@dataclass(frozen=True)
class SupplyVerdict:
    """Proved only if every controller is proved alone and nothing they share is broken.

    alone: one verdict a part, in their order. margins: the worst of each shared rule, only with several parts.
    """

    alone: tuple[Verdict, ...]
    margins: tuple[Margin, ...] = ()
    clash: Clash | None = None
    handover: Handover | None = None

    @property
    def ok(self) -> bool:
        return self.clash is None and all(verdict.ok for verdict in self.alone)


def verify_together(parts: tuple[Part, ...]) -> SupplyVerdict:
    """Each controller alone, then all of them on their supply."""
    alone = tuple(verify(part.timeline, part.plant) for part in parts)
    if not all(verdict.ok for verdict in alone):
        return SupplyVerdict(alone)
    shared = _Shared(parts)
    worst: dict[Rule, Margin] = {}
    for margin, delays in shared.findings() if len(parts) > 1 else ():
        if margin.margin_s < -EPSILON_S:
            clash = Clash(margin.rule, delays(), margin.at_s, margin.margin_s, margin.text, margin.excess)
            return SupplyVerdict(alone, clash=clash)
        known = worst.get(margin.rule)
        if known is None or margin.margin_s < known.margin_s:
            worst[margin.rule] = margin
    return SupplyVerdict(alone, tuple(worst.values()), None, shared.handover())


@dataclass(frozen=True)
class _PumpRun:
    """Commands of several controllers that surely keep the pump running without a break."""

    spans: tuple[tuple[int, Span], ...]  # with the number of the part

    @property
    def starts_s(self) -> tuple[float, float]:
        """It starts within these bounds."""
        return (
            min(span.sent_on_s for _, span in self.spans),
            min(span.sent_on_s + span.delay_s for _, span in self.spans),
        )

    @property
    def stops_s(self) -> tuple[float, float]:
        return (
            max(span.sent_off_s for _, span in self.spans),
            max(span.sent_off_s + span.delay_s for _, span in self.spans),
        )


class _Shared:
    """What the controllers of one supply share, each of them proved alone."""

    def __init__(self, parts: tuple[Part, ...]) -> None:
        self.parts = parts
        self.spans: list[Spans] = [read_spans(part.timeline.commands, part.plant) for part in parts]
        self.corners = [
            Corners(part.timeline, part.plant, spans) for part, spans in zip(parts, self.spans, strict=True)
        ]
        self.supply_l_min = parts[0].plant.supply_l_min if parts else None

    def findings(self) -> Iterator[tuple[Margin, "partial[AllDelays]"]]:
        yield from self._pump_times()
        yield from self._flow()
        yield from self._minutes()

    def corner(self, wide: bool, effects: dict[tuple[int, int], float] | None = None) -> AllDelays:
        """The same corner for every part; `effects` overrides by part and command."""
        return tuple(
            corners.corner(wide, {index: by_s for (part, index), by_s in (effects or {}).items() if part == number})
            for number, corners in enumerate(self.corners)
        )

    # The pump

    def _pump_runs(self) -> list[_PumpRun]:
        """The pump's runs: spans that surely overlap are one."""
        spans = [(number, span) for number, spans in enumerate(self.spans) for span in spans.pump]
        groups: list[list[tuple[int, Span]]] = []
        for number, span in sorted(spans, key=lambda entry: entry[1].sent_on_s):
            joined = [group for group in groups if any(_surely_overlap(span, other) for _, other in group)]
            for group in joined:
                groups.remove(group)
            groups.append([*(entry for group in joined for entry in group), (number, span)])
        return sorted((_PumpRun(tuple(group)) for group in groups), key=lambda run: run.starts_s)

    def _pump_times(self) -> Iterator[tuple[Margin, "partial[AllDelays]"]]:
        pump = next((part.plant.pump for part in self.parts if part.plant.pump), None)
        if pump is None:
            return
        runs = self._pump_runs()
        for before, after in zip(runs, runs[1:], strict=False):
            rests_s = max(0.0, after.starts_s[0] - before.stops_s[1])
            asked = f"at least {pump.minimum_rest_s:.0f} s are asked"
            text = f"the pump may rest for only {rests_s:.0f} s between two controllers, {asked}"
            delays = partial(self._short_rest, before, after, pump.minimum_rest_s)
            at_s = after.starts_s[0]
            yield Margin(Rule.PUMP_REST, rests_s - pump.minimum_rest_s, at_s, text, place="all controllers"), delays
        most = pump.most_starts_per_hour
        for first, over in zip(runs, runs[most:], strict=False):
            within_s = over.starts_s[0] - first.starts_s[1]
            text = (
                f"all controllers together may start the pump {most + 1} times within {within_s / 60:.0f} min, "
                f"{most} an hour {'is' if most == 1 else 'are'} allowed"
            )
            late = {(number, span.on): span.delay_s for number, span in first.spans}
            early = {(number, span.on): 0.0 for number, span in over.spans}
            delays = partial(self.corner, True, late | early)
            at_s = over.starts_s[0]
            yield Margin(Rule.PUMP_STARTS, within_s - HOUR_S, at_s, text, place="all controllers"), delays

    def _short_rest(self, before: _PumpRun, after: _PumpRun, asked_s: float) -> AllDelays:
        """Delays with which the pump stops and starts again too soon; where it might also run on, it does stop."""
        least_s = max(0.0, after.starts_s[0] - before.stops_s[1])
        most_s = min(asked_s, after.starts_s[1] - before.stops_s[0])
        gap_s = least_s if least_s > 0 else most_s / 2
        stop_s = max(before.stops_s[0], min(before.stops_s[1], after.starts_s[1] - gap_s))
        start_s = stop_s + gap_s
        effects: dict[tuple[int, int], float] = {}
        for number, span in before.spans:
            assert span.off is not None
            effects[number, span.off] = max(0.0, min(span.delay_s, stop_s - span.sent_off_s))
        for number, span in after.spans:
            effects[number, span.on] = max(0.0, min(span.delay_s, start_s - span.sent_on_s))
        return self.corner(True, effects)

    # Flow

    def _flow(self) -> Iterator[tuple[Margin, "partial[AllDelays]"]]:
        """The flow of all valves that may be open together is above the supply's only while valves hand over."""
        limit_s = min(part.plant.handover_limit_s for part in self.parts)
        for crowd in self._crowds():
            text = (
                f"valves of several controllers may take more than the supply feeds for {crowd.lasts_s:.0f} s, "
                f"{limit_s:.0f} s are allowed"
            )
            excess = Excess(crowd.peak_l_min, self.supply_l_min or 0.0)
            delays = partial(self._crowd_delays, crowd)
            margin_s = limit_s - crowd.lasts_s
            yield Margin(Rule.HANDOVER, margin_s, crowd.from_s, text, excess, "all controllers"), delays

    def _crowds(self) -> Iterator["_Crowd"]:
        if self.supply_l_min is None:
            return
        events = sorted(
            (at_s, opens, number, index)
            for number, spans in enumerate(self.spans)
            for index, span in enumerate(spans.valves)
            for at_s, opens in ((span.perhaps_open[0], True), (span.perhaps_open[1], False))
        )
        flow = 0.0
        crowd: _Crowd | None = None
        for at_s, opens, number, index in events:
            span = self.spans[number].valves[index]
            own = span.element.flow_l_min or 0.0
            flow += own if opens else -own
            crowded = flow > self.supply_l_min + EPSILON_S
            if crowded and crowd is None:
                crowd = _Crowd(at_s, (number, span.on), flow)
            elif crowd is not None and crowded:
                crowd = _Crowd(crowd.from_s, crowd.begun_by, max(flow, crowd.peak_l_min))
            elif crowd is not None:
                yield _Crowd(crowd.from_s, crowd.begun_by, crowd.peak_l_min, at_s, (number, span.off or 0))
                crowd = None

    def _crowd_delays(self, crowd: "_Crowd") -> AllDelays:
        """It begins early and ends late; where both are one command, the strokes alone make it."""
        delay_s = self.parts[crowd.ended_by[0]].plant.command_delay_s
        return self.corner(True, {crowd.begun_by: 0.0} | {crowd.ended_by: delay_s})

    def handover(self) -> Handover:
        """The longest excess that the proof lets pass, over all controllers."""
        crowds = list(self._crowds())
        flows = [span.element.flow_l_min for spans in self.spans for span in spans.valves]
        peak = None if None in flows else max((crowd.peak_l_min for crowd in crowds), default=0.0)
        return Handover(max((crowd.lasts_s for crowd in crowds), default=0.0), peak, self.supply_l_min)

    # Minutes

    def _minutes(self) -> Iterator[tuple[Margin, "partial[AllDelays]"]]:
        """No valve gets too much because another controller keeps the pump running while it opens or shuts."""
        running = _merged([span.perhaps_open for spans in self.spans for span in spans.pump])
        if not running:
            return
        for number, part in enumerate(self.parts):
            most = _most_water(self.spans[number], part.plant.master is not None, running)
            for demand in part.timeline.demands:
                valve, got_s = part.plant.valve(demand.valve_id), most.get(demand.valve_id, 0.0)
                text = (
                    f"{valve.name} may get {got_s / 60:.1f} min instead of {demand.water_s / 60:.1f} min, "
                    "as another controller keeps the pump running"
                )
                effects = self._widest(number, demand.valve_id)
                place = f"{valve.name}, with all controllers"
                margin_s = demand.water_s + demand.tolerance_s - got_s
                yield Margin(Rule.MINUTES, margin_s, 0.0, text, place=place), partial(self.corner, True, effects)

    def _widest(self, number: int, valve_id: int) -> dict[tuple[int, int], float]:
        delay_s = self.parts[number].plant.command_delay_s
        spans = [span for span in self.spans[number].valves if span.element.id == valve_id]
        return {(number, span.on): 0.0 for span in spans} | {(number, span.off or 0): delay_s for span in spans}


@dataclass(frozen=True)
class _Crowd:
    """A stretch with more flow than the supply feeds, and the commands (part, index) at its ends."""

    from_s: float
    begun_by: tuple[int, int]
    peak_l_min: float
    until_s: float = float("inf")
    ended_by: tuple[int, int] = (0, 0)

    @property
    def lasts_s(self) -> float:
        return self.until_s - self.from_s


def _surely_overlap(one: Span, other: Span) -> bool:
    begun_s = max(span.sent_on_s + span.delay_s for span in (one, other))
    return begun_s < min(one.sent_off_s, other.sent_off_s)


def _merged(intervals: list[tuple[float, float]]) -> list[tuple[float, float]]:
    merged: list[tuple[float, float]] = []
    for low, high in sorted(intervals):
        if merged and low <= merged[-1][1]:
            merged[-1] = (merged[-1][0], max(high, merged[-1][1]))
        else:
            merged.append((low, high))
    return merged


def _most_water(spans: Spans, has_master: bool, running: list[tuple[float, float]]) -> dict[int, float]:
    """Seconds by valve in which it, the master valve and the pump may all be on."""
    flows = running
    if has_master:
        open_master = _merged([span.perhaps_open for span in spans.master])
        flows = [piece for low, high in open_master for piece in _common(running, low, high)]
    most: dict[int, float] = {}
    for span in spans.valves:
        seconds = sum(high - low for low, high in _common(flows, *span.perhaps_open))
        most[span.element.id] = most.get(span.element.id, 0.0) + seconds
    return most


def _common(intervals: list[tuple[float, float]], low: float, high: float) -> Iterator[tuple[float, float]]:
    """What of the disjoint, ordered intervals lies within [low, high]."""
    for begin, end in intervals[max(0, bisect_right(intervals, (low,)) - 1) :]:
        if begin >= high:
            return
        if end > low:
            yield max(low, begin), min(high, end)
