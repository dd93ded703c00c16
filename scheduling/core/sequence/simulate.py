"""Play a timeline with given delays, event by event, and judge what happened.

Independent of the verifier on purpose: it shares no reasoning with `verify`, only the words of `timeline`.
It also plays lost commands and power cuts, which no proof covers, to say what each kind of controller does.
"""

import heapq
from collections.abc import Iterable
from dataclasses import dataclass, field

from scheduling.core.sequence.plant import Plant, Valve
from scheduling.core.sequence.timeline import Action, CommandDelay, Delays, Rule, Timeline

TOLERANCE_S = 1e-5  # half of what the verifier forgives; event times are kept to the microsecond
_MASTER = "master"
_PUMP = "pump"
Output = int | str  # valve id, "master" or "pump"

# Order of things that happen in the same microsecond: strokes end before new commands act.
_SHUTS, _OPENS, _TIMEOUT, _POWER_OFF, _POWER_ON, _EFFECT = range(6)


@dataclass(frozen=True)
class Failure:
    rule: Rule
    at_s: float
    text: str


@dataclass(frozen=True)
class Simulation:
    """What happened: failures, seconds of water by valve, the story, what was still on at the end."""

    failures: tuple[Failure, ...]
    water_s: dict[int, float]
    events: tuple[tuple[float, str], ...]
    dry_pump_s: float
    left_open: tuple[str, ...]

    @property
    def ok(self) -> bool:
        return not self.failures


@dataclass
class _Valve:
    element: Valve
    coil_on: bool = False
    open: bool = False
    stroke: int = 0  # counts strokes begun; a stroke that is no longer the latest one is void
    moving: bool = False
    due_s: float = 0.0
    water_s: float = 0.0


@dataclass
class _World:
    """Everything that changes while the timeline plays."""

    timeline: Timeline
    plant: Plant
    delays: Delays
    now_s: float = 0.0
    powered: bool = True
    pump_on: bool = False
    pump_started_s: float | None = None
    pump_stopped_s: float | None = None
    starts: list[float] = field(default_factory=list)
    path_since_s: float | None = None
    dry_since_s: float | None = None
    dry_pump_s: float = 0.0
    crowded_since_s: float | None = None
    last_effect: dict[object, int] = field(default_factory=dict)
    failures: list[Failure] = field(default_factory=list)
    events: list[tuple[float, str]] = field(default_factory=list)
    queue: list[tuple[float, int, int, object]] = field(default_factory=list)
    opened_before: Output | None = None

    def __post_init__(self) -> None:
        self.valves: dict[Output, _Valve] = {valve.id: _Valve(valve) for valve in self.plant.valves}
        if self.plant.master is not None:
            self.valves[_MASTER] = _Valve(self.plant.master)
        self.pump_timer = 0
        self._serial = 0

    def push(self, at_s: float, kind: int, what: object) -> None:
        self._serial += 1
        heapq.heappush(self.queue, (round(at_s, 6), kind, self._serial, what))

    def fail(self, rule: Rule, text: str) -> None:
        self.failures.append(Failure(rule, self.now_s, text))
        self.say(f"FAILS: {text}")

    def say(self, text: str) -> None:
        self.events.append((self.now_s, text))

    def zone_valves(self) -> Iterable[_Valve]:
        return (valve for key, valve in self.valves.items() if key != _MASTER)

    def path_open(self) -> bool:
        if _MASTER in self.valves and not self.valves[_MASTER].open:
            return False
        return any(valve.open for valve in self.zone_valves())


def simulate(
    timeline: Timeline,
    plant: Plant,
    delays: Delays,
    *,
    lost: frozenset[int] = frozenset(),
    power_cuts: tuple[tuple[float, float], ...] = (),
) -> Simulation:
    """Play the timeline with one delay a command; `lost` command numbers never arrive.

    During a power cut (from, to) plain coils and the pump drop out and commands are not carried out; latching
    coils stay. Times are seconds after the origin. ValueError if there is not one delay for each command.
    """
    if len(delays) != len(timeline.commands):
        raise ValueError(f"{len(timeline.commands)} commands need as many delays, not {len(delays)}")
    world = _World(timeline, plant, delays)
    for index, (command, delay) in enumerate(zip(timeline.commands, delays, strict=True)):
        if index not in lost:
            world.push(command.at_s + delay.effect_s, _EFFECT, index)
    for from_s, to_s in power_cuts:
        world.push(from_s, _POWER_OFF, None)
        world.push(to_s, _POWER_ON, None)
    while world.queue:
        at_s, kind, _, what = heapq.heappop(world.queue)
        _pass_time(world, at_s)
        _happen(world, kind, what)
        _look(world)
    return _judge(world)


def _pass_time(world: _World, to_s: float) -> None:
    """Let water flow and the pump run until the next event."""
    if (world.pump_on or world.plant.pump is None) and world.path_open():
        for valve in world.zone_valves():
            if valve.open:
                valve.water_s += to_s - world.now_s
    world.now_s = to_s


def _happen(world: _World, kind: int, what: object) -> None:
    if kind == _EFFECT:
        assert isinstance(what, int)
        if world.powered:
            _carry_out(world, what)
        else:
            world.say("a command finds no power")
    elif kind in (_OPENS, _SHUTS):
        assert isinstance(what, tuple)
        _end_stroke(world, what[0], what[1], opens=kind == _OPENS)
    elif kind == _TIMEOUT:
        assert isinstance(what, tuple)
        _time_out(world, what[0], what[1])
    elif kind == _POWER_OFF:
        _power_off(world)
    else:
        world.powered = True
        world.say("power returns")


def _carry_out(world: _World, index: int) -> None:
    command = world.timeline.commands[index]
    delay = world.delays[index]
    names = {valve.id: valve.name for valve in world.plant.valves}
    world.say(f"{command.words(names)} (sent {delay.effect_s:.1f} s before)")
    group: object = command.action.split("_")[1]
    if group == "valve":
        group = "valve" if world.plant.interlocked else command.valve_id
    if world.last_effect.get(group, -1) > index:
        world.fail(Rule.ORDER, "a later command took effect before this one")
    world.last_effect[group] = max(index, world.last_effect.get(group, -1))
    if command.action is Action.START_PUMP:
        _start_pump(world, command.max_on_s)
    elif command.action is Action.STOP_PUMP:
        _stop_pump(world)
    else:
        key: Output = _MASTER if command.valve_id is None else command.valve_id
        if key not in world.valves:
            world.fail(Rule.WELL_FORMED, "the plant has no such valve")
        elif command.action in (Action.CLOSE_VALVE, Action.CLOSE_MASTER):
            _coil_off(world, key, delay.stroke_s)
        else:
            _open(world, key, delay, command.max_on_s)


def _open(world: _World, key: Output, delay: CommandDelay, max_on_s: float | None) -> None:
    if world.plant.interlocked and key != _MASTER and not world.valves[key].coil_on:
        for other_key, other in world.valves.items():
            if other_key != _MASTER and other.coil_on:
                _coil_off(world, other_key, delay.displaced_stroke_s)
    valve = world.valves[key]
    if valve.coil_on:
        world.fail(Rule.WELL_FORMED, f"{valve.element.name} is already on")
        return
    if valve.open or valve.moving:
        world.fail(Rule.FULL_STROKE, f"{valve.element.name} is told to open before it has shut")
    valve.coil_on = True
    _begin_stroke(world, key, delay.stroke_s, _OPENS)
    if max_on_s is not None and world.plant.enforces_max_on:
        world.push(world.now_s + max_on_s, _TIMEOUT, (key, valve.stroke))


def _coil_off(world: _World, key: Output, stroke_s: float) -> None:
    valve = world.valves[key]
    if not valve.coil_on:
        world.fail(Rule.WELL_FORMED, f"{valve.element.name} is already off")
        return
    if not valve.open or valve.moving:
        world.fail(Rule.FULL_STROKE, f"{valve.element.name} is told to close before it has opened")
    valve.coil_on = False
    _begin_stroke(world, key, stroke_s, _SHUTS)


def _begin_stroke(world: _World, key: Output, stroke_s: float, kind: int) -> None:
    valve = world.valves[key]
    valve.stroke += 1
    valve.moving = True
    world.push(world.now_s + stroke_s, kind, (key, valve.stroke))


def _end_stroke(world: _World, key: Output, stroke: int, *, opens: bool) -> None:
    valve = world.valves[key]
    if stroke != valve.stroke:
        return
    valve.moving = False
    valve.open = opens
    world.say(f"{valve.element.name} is {'open' if opens else 'shut'}")
    if not opens or key == _MASTER:
        return
    if world.plant.interlocked:
        for other_key, other in world.valves.items():
            if other.open and other_key not in (key, _MASTER, world.opened_before):
                world.fail(Rule.TOGETHER, f"{other.element.name} is still open from before the last hand-over")
    world.opened_before = key


def _start_pump(world: _World, max_on_s: float | None) -> None:
    pump = world.plant.pump
    if pump is None or world.pump_on:
        world.fail(Rule.WELL_FORMED, "there is no pump to start, or it runs already")
        return
    now_s = world.now_s
    open_since_s = world.path_since_s if world.path_since_s is not None else now_s
    if not world.path_open() or now_s - open_since_s < pump.prime_delay_s - TOLERANCE_S:
        world.fail(Rule.FLOW_PATH, "the pump starts before a path has been open for its prime delay")
    if world.pump_stopped_s is not None and now_s - world.pump_stopped_s < pump.minimum_rest_s - TOLERANCE_S:
        world.fail(Rule.PUMP_REST, f"the pump rested {now_s - world.pump_stopped_s:.1f} s")
    world.starts.append(now_s)
    most = pump.most_starts_per_hour
    if len(world.starts) > most and now_s - world.starts[-most - 1] < 3600 - TOLERANCE_S:
        world.fail(Rule.PUMP_STARTS, f"start number {most + 1} within an hour")
    world.pump_on = True
    world.pump_started_s = now_s
    world.pump_timer += 1
    if max_on_s is not None and world.plant.enforces_max_on:
        world.push(now_s + max_on_s, _TIMEOUT, (_PUMP, world.pump_timer))


def _stop_pump(world: _World) -> None:
    pump = world.plant.pump
    if pump is None or not world.pump_on or world.pump_started_s is None:
        world.fail(Rule.WELL_FORMED, "there is no running pump to stop")
        return
    if world.now_s - world.pump_started_s < pump.minimum_run_s - TOLERANCE_S:
        world.fail(Rule.PUMP_RUN, f"the pump ran only {world.now_s - world.pump_started_s:.1f} s")
    world.pump_on = False
    world.pump_stopped_s = world.now_s
    world.pump_timer += 1


def _time_out(world: _World, key: Output, token: int) -> None:
    """The field device ends an output that nobody switched off."""
    if key == _PUMP:
        if world.pump_on and token == world.pump_timer:
            world.say("the field device stops the pump: longest duration reached")
            _stop_pump(world)
        return
    valve = world.valves[key]
    if valve.coil_on and token == valve.stroke:
        world.say(f"the field device closes {valve.element.name}: longest duration reached")
        _coil_off(world, key, valve.element.closes_within_s)


def _power_off(world: _World) -> None:
    world.powered = False
    world.say("power fails")
    if world.pump_on:
        world.pump_on = False
        world.pump_stopped_s = world.now_s
        world.pump_timer += 1
    if world.plant.latching:
        return
    for key, valve in world.valves.items():
        if valve.coil_on:
            valve.coil_on = False
            _begin_stroke(world, key, valve.element.closes_within_s, _SHUTS)


def _look(world: _World) -> None:
    """Judge the state that holds from now on; several events of one moment may still follow."""
    if world.queue and world.queue[0][0] <= world.now_s:
        return
    now_s, plant = world.now_s, world.plant
    path = world.path_open()
    if path and world.path_since_s is None:
        world.path_since_s = now_s
    if not path:
        world.path_since_s = None
        stopped_s = world.pump_stopped_s
        runs_down = plant.pump is not None and stopped_s is not None and not world.pump_on
        if runs_down and plant.pump and stopped_s is not None:
            rested_s = now_s - stopped_s
            if rested_s < plant.pump.run_down_s - TOLERANCE_S and world.powered:
                world.fail(Rule.FLOW_PATH, f"the path shuts {rested_s:.1f} s after the pump stopped")
    dry = world.pump_on and not path
    if dry and world.dry_since_s is None:
        world.dry_since_s = now_s
        world.say("the pump runs against closed valves")
    if not dry and world.dry_since_s is not None:
        _end_dry(world)
    _look_at_crowd(world)


def _end_dry(world: _World) -> None:
    assert world.dry_since_s is not None
    lasted_s = world.now_s - world.dry_since_s
    world.dry_since_s = None
    world.dry_pump_s += lasted_s
    if lasted_s > TOLERANCE_S:
        world.fail(Rule.FLOW_PATH, f"the pump ran {lasted_s:.1f} s against closed valves")


def _look_at_crowd(world: _World) -> None:
    plant = world.plant
    opened = [valve.element for valve in world.zone_valves() if valve.open]
    flow = sum(element.flow_l_min or 0.0 for element in opened)
    too_much = plant.supply_l_min is not None and flow > plant.supply_l_min
    if len(opened) > plant.most_open + 1:
        world.fail(Rule.TOGETHER, f"{len(opened)} valves are open")
    for element in opened:
        if plant.supply_l_min is not None and (element.flow_l_min or 0.0) > plant.supply_l_min:
            world.fail(Rule.TOGETHER, f"{element.name} alone takes more than the supply feeds")
    crowded = len(opened) > plant.most_open or too_much
    if crowded and world.crowded_since_s is None:
        world.crowded_since_s = world.now_s
    if not crowded and world.crowded_since_s is not None:
        lasted_s = world.now_s - world.crowded_since_s
        world.crowded_since_s = None
        if lasted_s > plant.handover_limit_s + TOLERANCE_S:
            world.fail(Rule.HANDOVER, f"a hand-over lasted {lasted_s:.1f} s")


def _judge(world: _World) -> Simulation:
    if world.dry_since_s is not None:
        world.fail(Rule.FLOW_PATH, "the pump goes on running against closed valves")
    left_open = [valve.element.name for valve in world.valves.values() if valve.open or valve.coil_on]
    if world.pump_on:
        left_open.append("pump")
    if left_open:
        world.fail(Rule.ALL_OFF, f"still on at the end: {', '.join(left_open)}")
    demands = {demand.valve_id: demand for demand in world.timeline.demands}
    water = {valve.element.id: valve.water_s for valve in world.zone_valves()}
    for valve_id in {*demands, *water}:
        demand = demands.get(valve_id)
        asked_s, tolerance_s = (demand.water_s, demand.tolerance_s) if demand else (0.0, 0.0)
        got_s = water.get(valve_id, 0.0)
        if abs(got_s - asked_s) > tolerance_s + TOLERANCE_S:
            world.fail(Rule.MINUTES, f"valve {valve_id} got {got_s / 60:.2f} of {asked_s / 60:.2f} min")
    return Simulation(tuple(world.failures), water, tuple(world.events), world.dry_pump_s, tuple(left_open))


def explain(
    timeline: Timeline, plant: Plant, delays: Delays, around_s: float, reach_s: float = 180.0
) -> tuple[tuple[float, str], ...]:
    """The story of one moment: (seconds after the origin, what happened) within `reach_s` of it."""
    events = simulate(timeline, plant, delays).events
    return tuple(event for event in events if abs(event[0] - around_s) <= reach_s)


def nominal_delays(timeline: Timeline, plant: Plant, share: float = 0.5) -> Delays:
    """Every delay at the same share (0 to 1) of its bounds."""

    def stroke_s(low: float, high: float) -> float:
        return low + share * (high - low)

    on: int | None = None
    delays = []
    for command in timeline.commands:
        element = plant.master if command.valve_id is None else plant.valve(command.valve_id)
        opens = command.action in (Action.OPEN_VALVE, Action.OPEN_MASTER)
        pump = command.action in (Action.START_PUMP, Action.STOP_PUMP)
        stroke = displaced = 0.0
        if element is not None and not pump:
            bounds = (
                (element.opens_from_s, element.opens_within_s)
                if opens
                else (element.closes_from_s, element.closes_within_s)
            )
            stroke = stroke_s(*bounds)
        if command.action is Action.OPEN_VALVE and on is not None and plant.interlocked:
            other = plant.valve(on)
            displaced = stroke_s(other.closes_from_s, other.closes_within_s)
        if command.valve_id is not None:
            on = command.valve_id if opens else None
        delays.append(CommandDelay(share * plant.command_delay_s, stroke, displaced))
    return tuple(delays)
