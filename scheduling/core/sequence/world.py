"""A supply while its controllers' commands are played: coils, valves, pump, water, and a judge of it all."""

import heapq
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

from scheduling.core.sequence.parts import Part
from scheduling.core.sequence.plant import Pump, Valve
from scheduling.core.sequence.timeline import HOUR_S, MASTER, PUMP, Action, Command, CommandDelay, Delays, Rule

TOLERANCE_S = 1e-5  # half of what the verifier forgives; event times are kept to the microsecond
Output = int | str  # valve id, "master" or "pump"
Lost = frozenset[tuple[int, int]]  # numbers of the part and of the command in it
Cuts = tuple[tuple[float, float], ...]

# Order of things that happen in the same microsecond: strokes end before new commands act.
_SHUTS, _OPENS, _TIMEOUT, _POWER_OFF, _POWER_ON, _EFFECT = range(6)


@dataclass(frozen=True)
class Failure:
    rule: Rule
    at_s: float
    text: str


@dataclass(frozen=True)
class Simulation:
    """What happened: failures, seconds of water by valve, the story, what was still on at the end.

    dry_pump_s: seconds the pump ran against closed valves; it does not count what goes on after the last event.
    """

    failures: tuple[Failure, ...]
    water_s: dict[int, float]
    events: tuple[tuple[float, str], ...]
    dry_pump_s: float
    left_open: tuple[str, ...]

    @property
    def ok(self) -> bool:
        return not self.failures


@dataclass(slots=True)
class _Valve:
    element: Valve
    coil_on: bool = False
    open: bool = False
    stroke: int = 0  # counts strokes begun; a stroke that is no longer the latest one is void
    moving: bool = False
    water_s: float = 0.0


class Box:
    """One controller: its outputs as they are now."""

    def __init__(self, part: Part, delays: Delays, among_others: bool) -> None:
        self.part, self.delays, self.plant = part, delays, part.plant
        self.among_others = among_others and bool(part.name)
        self.names = part.valve_names
        self.valves: dict[Output, _Valve] = {valve.id: _Valve(valve) for valve in part.plant.valves}
        if part.plant.master is not None:
            self.valves[MASTER] = _Valve(part.plant.master)
        self.opened: list[_Valve] = []  # zone valves that are open now
        self.pump_on = False  # what it asks of the pump
        self.pump_timer = 0
        self.last_effect: dict[Output, int] = {}
        self.opened_before: Output | None = None
        self.crowded_since_s: float | None = None

    @property
    def says(self) -> str:
        """Who sends a command, where there is a choice."""
        return f"{self.part.name}: " if self.among_others else ""

    def called(self, valve: _Valve) -> str:
        return f"{valve.element.name} of {self.part.name}" if self.among_others else valve.element.name

    @property
    def path_open(self) -> bool:
        return bool(self.opened) and (self.plant.master is None or self.valves[MASTER].open)


@dataclass
class _PumpState:
    """The one pump behind all controllers."""

    pump: Pump | None
    on: bool = False
    started_s: float | None = None
    stopped_s: float | None = None
    starts: list[float] = field(default_factory=list)
    dry_since_s: float | None = None
    dry_s: float = 0.0


class World:
    """Everything that changes while the timelines play."""

    def __init__(self, parts: tuple[Part, ...], delays: tuple[Delays, ...]) -> None:
        several = len(parts) > 1
        self.boxes = [Box(part, own, several) for part, own in zip(parts, delays, strict=True)]
        self.pump = _PumpState(next((part.plant.pump for part in parts if part.plant.pump), None))
        self.supply_l_min = parts[0].plant.supply_l_min if parts else None
        self.handover_limit_s = min((part.plant.handover_limit_s for part in parts), default=0.0)
        self.now_s = 0.0
        self.powered = True
        self.path_since_s: float | None = None
        self.crowded_since_s: float | None = None
        self.failures: list[Failure] = []
        self.story: list[tuple[float, str]] = []
        self.queue: list[tuple[float, int, int, Callable[[], None]]] = []
        self.pushed = 0

    def run(self, lost: Lost, power_cuts: Cuts) -> Simulation:
        for number, box in enumerate(self.boxes):
            for index, (command, delay) in enumerate(zip(box.part.timeline.commands, box.delays, strict=True)):
                if (number, index) not in lost:
                    happens = partial(self.effect, box, index)
                    self.push(command.at_s + delay.effect_s, _EFFECT, happens)
        for from_s, to_s in power_cuts:
            self.push(from_s, _POWER_OFF, self.power_off)
            self.push(to_s, _POWER_ON, self.power_on)
        self.now_s = self.queue[0][0] if self.queue else 0.0
        while self.queue:
            at_s, _, _, happen = heapq.heappop(self.queue)
            self.pass_time(at_s)
            happen()
            if not self.queue or self.queue[0][0] > at_s:
                self.look()
        return self.judge()

    def push(self, at_s: float, kind: int, happen: Callable[[], None]) -> None:
        self.pushed += 1
        heapq.heappush(self.queue, (round(at_s, 6), kind, self.pushed, happen))

    def fail(self, rule: Rule, text: str) -> None:
        self.failures.append(Failure(rule, self.now_s, text))
        self.say(f"FAILS: {text}")

    def say(self, text: str) -> None:
        self.story.append((self.now_s, text))

    @property
    def path_open(self) -> bool:
        return any(box.path_open for box in self.boxes)

    def pass_time(self, to_s: float) -> None:
        """Let water flow and the pump run until the next event."""
        if to_s > self.now_s and (self.pump.on or self.pump.pump is None):
            for box in self.boxes:
                if box.path_open:
                    for valve in box.opened:
                        valve.water_s += to_s - self.now_s
        self.now_s = to_s

    # What commands do

    def effect(self, box: Box, index: int) -> None:
        if not self.powered:
            self.say("a command finds no power")
            return
        command, delay = box.part.timeline.commands[index], box.delays[index]
        self.say(f"{box.says}{command.words(box.names)} (sent {delay.effect_s:.1f} s before)")
        group: Output = "valves" if box.plant.interlocked and command.valve_id is not None else command.output
        if box.last_effect.get(group, -1) > index:
            self.fail(Rule.ORDER, "a later command took effect before this one")
        box.last_effect[group] = max(index, box.last_effect.get(group, -1))
        self.carry_out(box, command, delay)

    def carry_out(self, box: Box, command: Command, delay: CommandDelay) -> None:
        if command.action is Action.START_PUMP:
            self.ask_pump(box, command.max_on_s)
        elif command.action is Action.STOP_PUMP:
            self.release_pump(box)
        elif command.output not in box.valves:
            self.fail(Rule.WELL_FORMED, "the plant has no such valve")
        elif command.action in (Action.CLOSE_VALVE, Action.CLOSE_MASTER):
            self.coil_off(box, command.output, delay.stroke_s)
        else:
            self.coil_on(box, command, delay)

    def coil_on(self, box: Box, command: Command, delay: CommandDelay) -> None:
        key = command.output
        if box.plant.interlocked and key != MASTER and not box.valves[key].coil_on:
            for other_key, other in box.valves.items():
                if other_key != MASTER and other.coil_on:
                    self.coil_off(box, other_key, delay.displaced_stroke_s)
        valve = box.valves[key]
        if valve.coil_on:
            self.fail(Rule.WELL_FORMED, f"{valve.element.name} is already on")
            return
        if valve.open or valve.moving:
            self.fail(Rule.FULL_STROKE, f"{valve.element.name} is told to open before it has shut")
        valve.coil_on = True
        self.begin_stroke(box, key, delay.stroke_s, opens=True)
        if command.max_on_s is not None and box.plant.enforces_max_on:
            token = valve.stroke
            self.push(self.now_s + command.max_on_s, _TIMEOUT, lambda: self.time_out(box, key, token))

    def coil_off(self, box: Box, key: Output, stroke_s: float) -> None:
        valve = box.valves[key]
        if not valve.coil_on:
            self.fail(Rule.WELL_FORMED, f"{valve.element.name} is already off")
            return
        if not valve.open or valve.moving:
            self.fail(Rule.FULL_STROKE, f"{valve.element.name} is told to close before it has opened")
        valve.coil_on = False
        self.begin_stroke(box, key, stroke_s, opens=False)

    def begin_stroke(self, box: Box, key: Output, stroke_s: float, *, opens: bool) -> None:
        valve = box.valves[key]
        valve.stroke += 1
        valve.moving = True
        token = valve.stroke
        ends = _OPENS if opens else _SHUTS
        self.push(self.now_s + stroke_s, ends, lambda: self.end_stroke(box, key, token, opens=opens))

    def end_stroke(self, box: Box, key: Output, stroke: int, *, opens: bool) -> None:
        valve = box.valves[key]
        if stroke != valve.stroke:
            return
        valve.moving, valve.open = False, opens
        self.say(f"{box.called(valve)} is {'open' if opens else 'shut'}")
        if key == MASTER:
            return
        box.opened = [other for other_key, other in box.valves.items() if other.open and other_key != MASTER]
        if not opens:
            return
        if box.plant.interlocked:
            for other in box.opened:
                if other.element.id not in (key, box.opened_before):
                    self.fail(Rule.TOGETHER, f"{other.element.name} is still open from before the last hand-over")
        box.opened_before = key

    # The pump

    def ask_pump(self, box: Box, max_on_s: float | None) -> None:
        if self.pump.pump is None or box.pump_on:
            self.fail(Rule.WELL_FORMED, "there is no pump to start, or it runs already")
            return
        box.pump_on = True
        box.pump_timer += 1
        if max_on_s is not None and box.plant.enforces_max_on:
            token = box.pump_timer
            self.push(self.now_s + max_on_s, _TIMEOUT, lambda: self.time_out(box, PUMP, token))
        if not self.pump.on:
            self.start_pump(self.pump.pump)

    def start_pump(self, pump: Pump) -> None:
        now_s, state = self.now_s, self.pump
        open_since_s = self.path_since_s if self.path_since_s is not None else now_s
        if not self.path_open or now_s - open_since_s < pump.prime_delay_s - TOLERANCE_S:
            self.fail(Rule.FLOW_PATH, "the pump starts before a path has been open for its prime delay")
        if state.stopped_s is not None and now_s - state.stopped_s < pump.minimum_rest_s - TOLERANCE_S:
            self.fail(Rule.PUMP_REST, f"the pump rested {now_s - state.stopped_s:.1f} s")
        state.starts.append(now_s)
        most = pump.most_starts_per_hour
        if len(state.starts) > most and now_s - state.starts[-most - 1] < HOUR_S - TOLERANCE_S:
            self.fail(Rule.PUMP_STARTS, f"start number {most + 1} within an hour")
        state.on, state.started_s = True, now_s

    def release_pump(self, box: Box) -> None:
        state = self.pump
        if state.pump is None or not box.pump_on or state.started_s is None:
            self.fail(Rule.WELL_FORMED, "there is no running pump to stop")
            return
        box.pump_on = False
        box.pump_timer += 1
        if any(other.pump_on for other in self.boxes):
            return
        if self.now_s - state.started_s < state.pump.minimum_run_s - TOLERANCE_S:
            self.fail(Rule.PUMP_RUN, f"the pump ran only {self.now_s - state.started_s:.1f} s")
        state.on, state.stopped_s = False, self.now_s

    # What nobody commanded

    def time_out(self, box: Box, key: Output, token: int) -> None:
        """The field device ends an output that nobody switched off."""
        if key == PUMP:
            if box.pump_on and token == box.pump_timer:
                self.say("the field device stops the pump: longest duration reached")
                self.release_pump(box)
            return
        valve = box.valves[key]
        if valve.coil_on and token == valve.stroke:
            self.say(f"the field device closes {box.called(valve)}: longest duration reached")
            self.coil_off(box, key, valve.element.closes_within_s)

    def power_off(self) -> None:
        self.powered = False
        self.say("power fails")
        if self.pump.on:
            self.pump.on, self.pump.stopped_s = False, self.now_s
        for box in self.boxes:
            box.pump_timer += box.pump_on
            box.pump_on = False
            if box.plant.latching:
                continue
            for key, valve in box.valves.items():
                if valve.coil_on:
                    valve.coil_on = False
                    self.begin_stroke(box, key, valve.element.closes_within_s, opens=False)

    def power_on(self) -> None:
        self.powered = True
        self.say("power returns")

    # The judge

    def look(self) -> None:
        """Judge the state that holds from now on."""
        path = self.path_open
        if path and self.path_since_s is None:
            self.path_since_s = self.now_s
        if not path and self.path_since_s is not None:
            self.path_since_s = None
            self.look_at_run_down()
        self.look_at_pump(dry=self.pump.on and not path)
        flow = 0.0
        for box in self.boxes:
            own = sum(valve.element.flow_l_min or 0.0 for valve in box.opened)
            flow += own
            self.look_at_box(box, own)
        self.crowded_since_s = self.crowd(self.crowded_since_s, self.too_much(flow))

    def too_much(self, flow_l_min: float) -> bool:
        return self.supply_l_min is not None and flow_l_min > self.supply_l_min

    def look_at_run_down(self) -> None:
        state = self.pump
        if state.pump is None or state.stopped_s is None or state.on or not self.powered:
            return
        rested_s = self.now_s - state.stopped_s
        if rested_s < state.pump.run_down_s - TOLERANCE_S:
            self.fail(Rule.FLOW_PATH, f"the path shuts {rested_s:.1f} s after the pump stopped")

    def look_at_pump(self, *, dry: bool) -> None:
        state = self.pump
        if dry and state.dry_since_s is None:
            state.dry_since_s = self.now_s
            self.say("the pump runs against closed valves")
        if not dry and state.dry_since_s is not None:
            lasted_s = self.now_s - state.dry_since_s
            state.dry_since_s = None
            state.dry_s += lasted_s
            if lasted_s > TOLERANCE_S:
                self.fail(Rule.FLOW_PATH, f"the pump ran {lasted_s:.1f} s against closed valves")

    def look_at_box(self, box: Box, flow_l_min: float) -> None:
        opened = box.opened
        if len(opened) > box.plant.most_open + 1:
            self.fail(Rule.TOGETHER, f"{len(opened)} valves are open")
        for valve in opened:
            if self.too_much(valve.element.flow_l_min or 0.0):
                self.fail(Rule.TOGETHER, f"{valve.element.name} alone takes more than the supply feeds")
        crowded = len(opened) > box.plant.most_open or self.too_much(flow_l_min)
        box.crowded_since_s = self.crowd(box.crowded_since_s, crowded)

    def crowd(self, since_s: float | None, crowded: bool) -> float | None:
        """Since when more is open than may be beyond a hand-over."""
        if crowded:
            return self.now_s if since_s is None else since_s
        if since_s is not None and self.now_s - since_s > self.handover_limit_s + TOLERANCE_S:
            self.fail(Rule.HANDOVER, f"a hand-over lasted {self.now_s - since_s:.1f} s")
        return None

    def judge(self) -> Simulation:
        if self.pump.dry_since_s is not None:
            self.fail(Rule.FLOW_PATH, "the pump goes on running against closed valves")
        valves = [(box, valve) for box in self.boxes for valve in box.valves.values()]
        left_open = [box.called(valve) for box, valve in valves if valve.open or valve.coil_on]
        if self.pump.on:
            left_open.append(PUMP)
        if left_open:
            self.fail(Rule.ALL_OFF, f"still on at the end: {', '.join(left_open)}")
        zones = [valve for box in self.boxes for key, valve in box.valves.items() if key != MASTER]
        water = {valve.element.id: valve.water_s for valve in zones}
        demands = {demand.valve_id: demand for box in self.boxes for demand in box.part.timeline.demands}
        for valve_id in {*demands, *water}:
            demand = demands.get(valve_id)
            asked_s, tolerance_s = (demand.water_s, demand.tolerance_s) if demand else (0.0, 0.0)
            got_s = water.get(valve_id, 0.0)
            if abs(got_s - asked_s) > tolerance_s + TOLERANCE_S:
                self.fail(Rule.MINUTES, f"valve {valve_id} got {got_s / 60:.2f} of {asked_s / 60:.2f} min")
        return Simulation(tuple(self.failures), water, tuple(self.story), self.pump.dry_s, tuple(left_open))
