"""Decide whether a timeline is safe for every possible delay, by reasoning on intervals.

Each command takes effect anywhere within [0, d] s, each valve opens and closes anywhere within its own
bounds, all independent of each other. Once no command can overtake another and no valve turns round in the
middle of its stroke, every remaining rule is decided at one corner of the delays:

* dry pump: valves open as late and shut as early as they can ("narrow" corner);
* too many valves: valves open as early and shut as late as they can ("wide" corner);
* minutes: narrow for the least, wide for the most.

Interlocked outputs share one delay between the valve that opens and the one that closes; the only thing that
counts there is stroke against stroke, and the corner is chosen for that one hand-over.
"""

from bisect import bisect_left
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

from scheduling.core.sequence.corners import Corners, soonest
from scheduling.core.sequence.cover import Cover
from scheduling.core.sequence.plant import Plant
from scheduling.core.sequence.spans import VALVE_ACTIONS, Malformed, Span, Spans, read_spans
from scheduling.core.sequence.timeline import EPSILON_S, HOUR_S, Delays, Excess, Rule, Timeline


@dataclass(frozen=True)
class Margin:
    """How far the worst delays stay away from breaking a rule; negative: they break it.

    text says what is wrong if it is broken; place, where that would read as a denial, which moment of a kept rule.
    """

    rule: Rule
    margin_s: float
    at_s: float
    text: str
    excess: Excess | None = None
    place: str = ""

    @property
    def kept_text(self) -> str:
        return self.place or self.text


@dataclass(frozen=True)
class Proof:
    """The timeline keeps every rule for all delays. One worst margin a rule, smallest first."""

    margins: tuple[Margin, ...]
    commands: int
    ok: bool = True

    def margin_of(self, rule: Rule) -> Margin | None:
        return next((margin for margin in self.margins if margin.rule is rule), None)


@dataclass(frozen=True)
class CounterExample:
    """Delays within the bounds for which the rule is broken. `simulate.explain` tells it as a story."""

    rule: Rule
    delays: Delays
    at_s: float
    margin_s: float
    text: str
    excess: Excess | None = None
    ok: bool = False


Verdict = Proof | CounterExample
Finding = tuple[Margin, Callable[[], Delays]]  # the delays are only worked out when the margin is broken


class _Broken(Exception):
    def __init__(self, counter_example: CounterExample) -> None:
        super().__init__(counter_example.text)
        self.counter_example = counter_example


def verify(timeline: Timeline, plant: Plant) -> Verdict:
    """Prove the timeline safe on this plant for all delays, or answer with delays that break it."""
    try:
        spans = read_spans(timeline.commands, plant)
    except Malformed as error:
        at_s = timeline.commands[error.index].at_s
        return CounterExample(Rule.WELL_FORMED, soonest(timeline, plant), at_s, 0.0, str(error))
    checker = _Checker(timeline, plant, spans)
    try:
        margins = checker.worst_margins()
    except _Broken as broken:
        return broken.counter_example
    return Proof(tuple(sorted(margins, key=lambda margin: margin.margin_s)), len(timeline.commands))


class _Checker:
    def __init__(self, timeline: Timeline, plant: Plant, spans: Spans) -> None:
        self.timeline = timeline
        self.plant = plant
        self.spans = spans
        self.delay_s = plant.command_delay_s
        self.corners = Corners(timeline, plant, spans)

    def worst_margins(self) -> list[Margin]:
        """The worst margin of each rule that applies; raises `_Broken` at the first broken one."""
        rules = (
            self._all_off,
            self._order,
            self._full_stroke,
            self._flow_path,
            self._single_flow,
            self._together_interlocked if self.plant.interlocked else self._together,
            self._pump_times,
            self._minutes,
        )
        worst: dict[Rule, Margin] = {}
        for rule in rules:
            for margin, delays in rule():
                if margin.margin_s < -EPSILON_S:
                    found = (margin.rule, delays(), margin.at_s, margin.margin_s, margin.text, margin.excess)
                    raise _Broken(CounterExample(*found))
                known = worst.get(margin.rule)
                if known is None or margin.margin_s < known.margin_s:
                    worst[margin.rule] = margin
        return list(worst.values())

    # Rules without which the corners mean nothing

    def _all_off(self) -> Iterator[Finding]:
        for span in self.spans.all:
            if span.off is None:
                text = f"{span.element.name} is never switched off"
                yield Margin(Rule.ALL_OFF, -1.0, span.sent_on_s, text), partial(soonest, self.timeline, self.plant)

    def _order(self) -> Iterator[Finding]:
        """Commands to one output must be further apart than a delay; interlocked valves are one output."""
        last: dict[object, int] = {}
        for index, command in enumerate(self.timeline.commands):
            if command.action in VALVE_ACTIONS:
                output: object = "valves" if self.plant.interlocked else command.valve_id
            else:
                output = command.action.split("_")[1]
            before = last.get(output)
            last[output] = index
            if before is None:
                continue
            apart_s = command.at_s - self.timeline.commands[before].at_s
            text = f"two commands to one output are {apart_s:.1f} s apart, one may take {self.delay_s:.1f} s"
            delays = partial(self.corners.corner, True, {before: self.delay_s, index: 0.0})
            yield Margin(Rule.ORDER, apart_s - self.delay_s, command.at_s, text), delays

    def _full_stroke(self) -> Iterator[Finding]:
        last_off: dict[int, Span] = {}
        for span in (*self.spans.valves, *self.spans.master):
            on, off = span.on, span.off
            assert off is not None
            open_s = span.surely_open[0]
            text = f"{span.element.name} is told to close before it is surely open"
            delays = partial(self.corners.corner, False, {on: self.delay_s, off: 0.0})
            place = f"{span.element.name} when it is told to close"
            yield Margin(Rule.FULL_STROKE, span.sent_off_s - open_s, span.sent_off_s, text, place=place), delays
            before = last_off.get(span.element.id)
            last_off[span.element.id] = span
            if before is not None:
                assert before.off is not None
                shut_s = before.perhaps_open[1]
                text = f"{span.element.name} is told to open before it is surely shut"
                delays = partial(self.corners.corner, True, {before.off: self.delay_s, on: 0.0})
                place = f"{span.element.name} when it is told to open again"
                yield Margin(Rule.FULL_STROKE, span.sent_on_s - shut_s, span.sent_on_s, text, place=place), delays

    # The pump never works against closed valves

    def _flow_path(self) -> Iterator[Finding]:
        if not self.plant.pump:
            return
        covers = [Cover("zone valve", self.spans.valves, self._bridged(self.spans.valves))]
        if self.plant.master is not None:
            covers.append(Cover("master valve", self.spans.master, [s.surely_open for s in self.spans.master]))
        for run in self.spans.pump:
            first_s = run.sent_on_s - self.plant.pump.prime_delay_s
            last_s = run.sent_off_s + self.delay_s + self.plant.pump.run_down_s
            for cover in covers:
                for margin_s, at_s, words in cover.margins(first_s, last_s):
                    text = f"no {cover.name} is surely open {words}"
                    delays = partial(self._dry_delays, cover.spans, at_s)
                    yield Margin(Rule.FLOW_PATH, margin_s, at_s, text, place=f"{cover.name} {words}"), delays

    def _bridged(self, spans: tuple[Span, ...]) -> list[tuple[float, float]]:
        """Surely open intervals; where one command swaps two valves, stroke counts against stroke."""
        opened_by = {span.on: span for span in spans}
        intervals = []
        for span in spans:
            low, high = span.surely_open
            after = opened_by.get(span.off) if span.off is not None else None
            if after is not None:
                slack_s = span.element.closes_from_s - after.element.opens_within_s
                if slack_s >= 0:
                    next_low, next_high = after.surely_open
                    high = max(high, min(next_low + slack_s, next_high))
            intervals.append((low, high))
        return intervals

    def _dry_delays(self, spans: tuple[Span, ...], at_s: float) -> Delays:
        """Delays for which none of the spans is open at that moment and the pump may run."""
        if not self.plant.interlocked:
            return self.corners.narrow()
        before = [span for span in spans if span.surely_open[0] <= at_s]
        after = [span for span in spans if span.surely_open[0] > at_s]
        split = before[-1].off if before else -1
        assert split is not None
        effects = {}
        for span in spans:
            for index in (span.on, span.off):
                assert index is not None
                effects[index] = 0.0 if index <= split else self.delay_s
        if before and after and after[0].on == split:
            low = max(0.0, at_s - after[0].element.opens_within_s - before[-1].sent_off_s)
            high = min(self.delay_s, at_s - before[-1].element.closes_from_s - before[-1].sent_off_s)
            effects[split] = (low + high) / 2
        return self.corners.narrow(effects)

    # Not more valves than allowed

    def _single_flow(self) -> Iterator[Finding]:
        supply = self.plant.supply_l_min
        for span in self.spans.valves:
            flow = span.element.flow_l_min
            if supply is not None and flow is not None and flow > supply:
                text = f"{span.element.name} takes more water than the supply feeds"
                margin = Margin(Rule.TOGETHER, -1.0, span.sent_on_s, text, Excess(flow, supply))
                yield margin, partial(self.corners.corner, True)

    def _together(self) -> Iterator[Finding]:
        """Separate outputs: the wide corner shows every valve open whenever it may be."""
        most = self.plant.most_open
        wide = partial(self.corners.corner, True)
        events = sorted(
            event
            for index, span in enumerate(self.spans.valves)
            for event in ((span.perhaps_open[1], 0, index), (span.perhaps_open[0], 1, index))
        )
        open_now: set[int] = set()
        ended: list[float] = []  # the latest ends of spans opened so far, largest last
        crowded_since: float | None = None
        for at_s, opens, index in events:
            span = self.spans.valves[index]
            if opens:
                if len(ended) > most:
                    text = f"{most + 2} valves may be open when {span.element.name} opens"
                    place = f"when {span.element.name} opens"
                    yield Margin(Rule.TOGETHER, at_s - ended[-most - 1], at_s, text, place=place), wide
                ended = sorted([*ended, span.perhaps_open[1]])[-most - 2 :]
                open_now.add(index)
            else:
                open_now.discard(index)
            crowded = self._crowded(open_now)
            if crowded and crowded_since is None:
                crowded_since = at_s
            elif not crowded and crowded_since is not None:
                yield self._handover_margin(at_s - crowded_since, crowded_since), wide
                crowded_since = None

    def _crowded(self, open_now: set[int]) -> bool:
        if len(open_now) > self.plant.most_open:
            return True
        if self.plant.supply_l_min is None:
            return False
        flow = sum(self.spans.valves[index].element.flow_l_min or 0.0 for index in open_now)
        return flow > self.plant.supply_l_min

    def _handover_margin(self, lasts_s: float, at_s: float) -> Margin:
        limit_s = self.plant.handover_limit_s
        text = f"a hand-over may last {lasts_s:.1f} s, {limit_s:.1f} s are allowed"
        return Margin(Rule.HANDOVER, limit_s - lasts_s, at_s, text)

    def _together_interlocked(self) -> Iterator[Finding]:
        """One valve after the other: each overlaps the one before only while that one shuts, and no third."""
        spans = self.spans.valves
        for earlier, later in zip(spans, spans[1:], strict=False):
            assert earlier.off is not None
            shared = earlier.off == later.on
            latest_s = earlier.perhaps_open[1] - (self.delay_s if shared else 0.0)
            lasts_s = max(0.0, latest_s - later.perhaps_open[0])
            effects = {earlier.off: self.delay_s, later.on: 0.0}
            yield self._handover_margin(lasts_s, later.sent_on_s), partial(self.corners.corner, True, effects)
        for earlier, later in zip(spans, spans[2:], strict=False):
            assert earlier.off is not None
            margin_s = later.perhaps_open[0] - earlier.perhaps_open[1]
            text = f"{earlier.element.name} may still be shutting when {later.element.name} opens"
            effects = {earlier.off: self.delay_s, later.on: 0.0}
            delays = partial(self.corners.corner, True, effects)
            place = f"{earlier.element.name} shut before {later.element.name} opens"
            yield Margin(Rule.TOGETHER, margin_s, later.sent_on_s, text, place=place), delays

    # The pump's own limits

    def _pump_times(self) -> Iterator[Finding]:
        pump = self.plant.pump
        if not pump:
            return
        runs = self.spans.pump
        for run in runs:
            runs_s = run.sent_off_s - run.sent_on_s - self.delay_s
            text = f"the pump may run for only {runs_s:.1f} s, at least {pump.minimum_run_s:.1f} s are asked"
            delays = partial(self.corners.corner, False)
            yield Margin(Rule.PUMP_RUN, runs_s - pump.minimum_run_s, run.sent_on_s, text), delays
        for before, after in zip(runs, runs[1:], strict=False):
            rests_s = after.sent_on_s - before.sent_off_s - self.delay_s
            text = f"the pump may rest for only {rests_s:.1f} s, at least {pump.minimum_rest_s:.1f} s are asked"
            delays = partial(self.corners.corner, True)
            yield Margin(Rule.PUMP_REST, rests_s - pump.minimum_rest_s, after.sent_on_s, text), delays
        most = pump.most_starts_per_hour
        for first, over in zip(runs, runs[most:], strict=False):
            within_s = over.sent_on_s - first.sent_on_s - self.delay_s
            text = f"{most + 1} pump starts may fall within {within_s:.0f} s, {most} an hour are allowed"
            delays = partial(self.corners.corner, True, {first.on: self.delay_s, over.on: 0.0})
            yield Margin(Rule.PUMP_STARTS, within_s - HOUR_S, over.sent_on_s, text), delays

    # Water

    def _minutes(self) -> Iterator[Finding]:
        demands = {demand.valve_id: demand for demand in self.timeline.demands}
        for valve_id, spans in _by_valve(self.spans.valves).items():
            demand = demands.pop(valve_id, None)
            asked_s, tolerance_s = (demand.water_s, demand.tolerance_s) if demand else (0.0, 0.0)
            least_s = sum(self._water_s(span, wide=False) for span in spans)
            most_s = sum(self._water_s(span, wide=True) for span in spans)
            name, at_s = spans[0].element.name, spans[0].sent_on_s
            short = f"{name} may get only {least_s / 60:.1f} of {asked_s / 60:.1f} min"
            long = f"{name} may get {most_s / 60:.1f} min instead of {asked_s / 60:.1f} min"
            narrow, wide = partial(self._water_delays, spans, False), partial(self._water_delays, spans, True)
            yield Margin(Rule.MINUTES, least_s - asked_s + tolerance_s, at_s, short), narrow
            yield Margin(Rule.MINUTES, asked_s + tolerance_s - most_s, at_s, long), wide
        for valve_id, demand in demands.items():
            text = f"valve {valve_id} is never opened, it needs {demand.water_s / 60:.1f} min"
            delays = partial(self.corners.corner, False)
            yield Margin(Rule.MINUTES, demand.tolerance_s - demand.water_s, 0.0, text), delays

    def _water_delays(self, spans: list[Span], wide: bool) -> Delays:
        """The corner with least or most water for one valve; interlocked, its ends are other valves' starts."""
        effects = {}
        for span in spans:
            assert span.off is not None
            effects[span.on] = 0.0 if wide else self.delay_s
            effects[span.off] = self.delay_s if wide else 0.0
        return self.corners.corner(wide, effects)

    def _water_s(self, span: Span, wide: bool) -> float:
        """Seconds in which the valve is open, the master valve too, and the pump runs: least or most."""
        pieces = [span.perhaps_open if wide else span.surely_open]
        sources = []
        if self.plant.pump:
            sources.append(self.spans.pump)
        if self.plant.master is not None:
            sources.append(self.spans.master)
        for source in sources:
            pieces = [
                (max(low, other[0]), min(high, other[1]))
                for low, high in pieces
                for other in _near(source, low, high, wide)
            ]
        return sum(max(0.0, high - low) for low, high in pieces)


def _near(spans: tuple[Span, ...], low: float, high: float, wide: bool) -> Iterator[tuple[float, float]]:
    """The intervals of the spans that reach into [low, high]; spans come in order and do not overlap."""
    start = max(0, bisect_left(spans, low, key=lambda span: span.sent_on_s) - 2)
    for span in spans[start:]:
        if span.sent_on_s > high:
            return
        yield span.perhaps_open if wide else span.surely_open


def _by_valve(spans: tuple[Span, ...]) -> dict[int, list[Span]]:
    groups: dict[int, list[Span]] = {}
    for span in spans:
        groups.setdefault(span.element.id, []).append(span)
    return groups
