"""The verifier against an independent simulator, on random plants, programs and spoiled timelines."""

import random
from dataclasses import replace
from datetime import UTC, date, time

from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.sequence.compile import Options, compile_programs
from scheduling.core.sequence.plant import Plant, Pump, Valve
from scheduling.core.sequence.programs import EVERY_DAY, Program, Step, Weekdays
from scheduling.core.sequence.simulate import simulate
from scheduling.core.sequence.timeline import Action, CommandDelay, Rule, Timeline
from scheduling.core.sequence.verify import CounterExample, Proof, verify

DAY = date(2024, 7, 1)


def tenths(low, high):
    return st.integers(int(low * 10), int(high * 10)).map(lambda n: n / 10)


@st.composite
def valves(draw, number):
    opens = sorted((draw(tenths(0, 6)), draw(tenths(0, 6))))
    closes = sorted((draw(tenths(0, 12)), draw(tenths(0, 12))))
    return Valve(number, f"Zone {number}", draw(tenths(5, 30)), *opens, *closes)


@st.composite
def plants(draw):
    count = draw(st.integers(1, 6))
    pump = draw(
        st.none()
        | st.builds(
            Pump,
            prime_delay_s=st.integers(0, 10),
            run_down_s=st.integers(0, 5),
            minimum_run_s=st.integers(0, 200),
            minimum_rest_s=st.integers(0, 120),
            most_starts_per_hour=st.integers(1, 8),
        )
    )
    interlocked = draw(st.booleans())
    return Plant(
        tuple(draw(valves(number)) for number in range(1, count + 1)),
        command_delay_s=draw(tenths(0, 10)),
        interlocked=interlocked,
        pump=pump,
        master=draw(st.none() | valves(99)),
        keep_flow=draw(st.booleans()),
        most_open=1 if interlocked else draw(st.integers(1, 3)),
        supply_l_min=draw(st.sampled_from([30.0, 45.0, 80.0])),
    )


@st.composite
def programs(draw, count):
    def step():
        return st.builds(
            Step,
            st.integers(1, count),
            st.integers(2, 30),
            cycles=st.integers(1, 3),
            soak_min=st.integers(0, 20),
            enabled=st.booleans(),
        )

    return tuple(
        Program(
            number,
            f"P{number}",
            tuple(draw(st.lists(st.times(time(3), time(7)), min_size=1, max_size=2, unique=True))),
            draw(st.sampled_from([EVERY_DAY, Weekdays(frozenset({0, 2}))])),
            tuple(draw(st.lists(step(), min_size=1, max_size=5))),
            priority=draw(st.integers(1, 3)),
        )
        for number in range(1, draw(st.integers(1, 3)) + 1)
    )


@st.composite
def compiled(draw):
    plant = draw(plants())
    # 30 s a run: wide enough for the widest bounds drawn above
    options = Options(tolerance_s=30.0, refuse_collisions=draw(st.booleans()))
    return plant, compile_programs(plant, draw(programs(len(plant.valves))), DAY, date(2024, 7, 2), UTC, options)


@st.composite
def spoiled(draw):
    """A compiled timeline with commands moved, dropped or doubled, or run on a plant with other bounds."""
    plant, timeline = draw(compiled())
    commands = list(timeline.commands)
    for _ in range(draw(st.integers(0, 3))):
        if not commands:
            break
        index = draw(st.integers(0, len(commands) - 1))
        match draw(st.sampled_from(["move", "drop", "double", "plant", "pump"])):
            case "move":
                moved = max(0.0, commands[index].at_s + draw(tenths(-40, 40)))
                commands[index] = replace(commands[index], at_s=moved)
            case "drop":
                del commands[index]
            case "double":
                commands.append(replace(commands[index], at_s=commands[index].at_s + draw(tenths(0, 60))))
            case "plant":
                plant = replace(plant, command_delay_s=draw(tenths(0, 20)), handover_limit_s=draw(tenths(0, 40)))
            case "pump":
                if plant.pump:
                    plant = replace(plant, pump=replace(plant.pump, prime_delay_s=draw(st.integers(0, 20))))
    commands.sort(key=lambda command: command.at_s)
    return plant, replace(timeline, commands=tuple(commands))


def delays_by(plant: Plant, timeline: Timeline, share) -> tuple[CommandDelay, ...]:
    """Delays in their bounds; `share()` gives numbers from 0 to 1."""

    def between(low, high):
        part = share()
        return (1 - part) * low + part * high  # exact at both ends

    found = []
    on = None
    for command in timeline.commands:
        stroke = displaced = 0.0
        element = plant.master if "master" in command.action else None
        if command.valve_id is not None:
            element = plant.valve(command.valve_id)
        if element and "open" in command.action:
            stroke = between(element.opens_from_s, element.opens_within_s)
        elif element:
            stroke = between(element.closes_from_s, element.closes_within_s)
        if command.action is Action.OPEN_VALVE and on is not None and plant.interlocked:
            other = plant.valve(on)
            displaced = between(other.closes_from_s, other.closes_within_s)
        if command.valve_id is not None:
            on = command.valve_id if command.action is Action.OPEN_VALVE else None
        found.append(CommandDelay(between(0, plant.command_delay_s), stroke, displaced))
    return tuple(found)


def assert_never_fails(plant, timeline, seed, runs):
    dice = random.Random(seed)
    shares = [dice.random] * runs + [lambda: dice.choice((0.0, 1.0))] * runs + [lambda: 0.0, lambda: 1.0]
    for share in shares:
        delays = delays_by(plant, timeline, share)
        result = simulate(timeline, plant, delays)
        assert result.ok, (result.failures, delays)


@given(compiled(), st.integers(0, 2**32))
def test_what_the_compiler_makes_is_proved_and_never_fails_in_simulation(case, seed):
    plant, timeline = case
    verdict = verify(timeline, plant)
    assert isinstance(verdict, Proof), verdict
    assert_never_fails(plant, timeline, seed, runs=4)


@given(spoiled(), st.integers(0, 2**32))
def test_a_verdict_on_a_spoiled_timeline_is_right_either_way(case, seed):
    plant, timeline = case
    verdict = verify(timeline, plant)
    if isinstance(verdict, CounterExample):
        assert_within_bounds(plant, timeline, verdict.delays)
        failures = simulate(timeline, plant, verdict.delays).failures
        assert verdict.rule in {failure.rule for failure in failures}, (verdict, failures)
    else:
        assert_never_fails(plant, timeline, seed, runs=6)


def assert_within_bounds(plant, timeline, delays):
    lowest, highest = (delays_by(plant, timeline, lambda share=share: share) for share in (0.0, 1.0))
    for low, delay, high in zip(lowest, delays, highest, strict=True):
        assert low.effect_s <= delay.effect_s <= high.effect_s
        assert low.stroke_s <= delay.stroke_s <= high.stroke_s
        # a closing valve that an interlock displaces is only drawn where one was on
        assert delay.displaced_stroke_s <= max(v.closes_within_s for v in plant.valves)


def test_margins_are_tight_a_second_less_lead_is_refuted():
    """The worst margin is not only safe but true: eat it up and the verifier finds the delays that fail."""
    plant = Plant(tuple(Valve(n, f"Zone {n}", 20.0, closes_from_s=2.0) for n in (1, 2)), pump=Pump())
    program = Program(1, "A", (time(5),), EVERY_DAY, (Step(1, 10), Step(2, 10)))
    timeline = compile_programs(plant, [program], DAY, DAY, UTC)
    margin = verify(timeline, plant).margin_of(Rule.FLOW_PATH)
    closing = next(c for c in timeline.commands if c.action is Action.CLOSE_VALVE)
    for earlier_s, proved in ((margin.margin_s, True), (margin.margin_s + 0.1, False)):
        moved = replace(closing, at_s=closing.at_s - earlier_s)
        commands = tuple(moved if c is closing else c for c in timeline.commands)
        commands = tuple(sorted(commands, key=lambda c: c.at_s))
        assert verify(replace(timeline, commands=commands), plant).ok is proved
