"""All controllers of one supply: proved together, and never more mildly than alone."""

import random
from dataclasses import replace
from datetime import UTC, date, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.sequence.compile import Options, compile_programs
from scheduling.core.sequence.parts import Part
from scheduling.core.sequence.plant import Plant, Pump, Valve
from scheduling.core.sequence.programs import EVERY_DAY, Program, Step, Weekdays
from scheduling.core.sequence.simulate import play
from scheduling.core.sequence.timeline import NoticeKind, Rule
from scheduling.core.sequence.together import verify_together
from scheduling.core.sequence.verify import verify
from tests.scheduling.core.test_sequence_proof import delays_by, programs, tenths, valves

DAY = date(2024, 7, 1)
PUMP = Pump(minimum_rest_s=600, most_starts_per_hour=2)


def part(name, first_valve, *starts, pump=PUMP, minutes=10, flow=20.0, supply=60.0):
    """A controller with two zones that waters them at each of the starts, one program a start."""
    valves = tuple(Valve(first_valve + n, f"{name} {n + 1}", flow, closes_from_s=2.0) for n in range(2))
    plant = Plant(valves, pump=pump, supply_l_min=supply)
    steps = tuple(Step(valve.id, minutes) for valve in valves)
    made = [Program(n, f"{name}{n}", (start,), EVERY_DAY, steps) for n, start in enumerate(starts)]
    return Part(plant, compile_programs(plant, made, DAY, DAY, UTC), name)


def test_back_to_back_on_one_pump_gives_it_no_rest():
    """Each controller alone starts the pump once; together the pump rests for a minute where ten are asked."""
    parts = part("North", 1, time(5)), part("South", 11, time(5, 21, 30))
    assert all(verify(one.timeline, one.plant).ok for one in parts)
    found = verify_together(parts)
    assert not found.ok and found.clash is not None and found.clash.rule is Rule.PUMP_REST
    assert Rule.PUMP_REST in {failure.rule for failure in play(parts, found.clash.delays).failures}
    apart = part("North", 1, time(5)), part("South", 11, time(5, 32))
    assert verify_together(apart).ok


def test_starts_of_all_controllers_count_in_one_hour():
    """Two starts an hour are allowed: two by one controller and a third by the other are one too many."""
    north = part("North", 1, time(5), time(5, 25), minutes=5, pump=replace(PUMP, minimum_rest_s=60))
    south = part("South", 11, time(5, 50), minutes=5, pump=replace(PUMP, minimum_rest_s=60))
    found = verify_together((north, south))
    assert found.clash is not None and found.clash.rule is Rule.PUMP_STARTS
    assert "start the pump 3 times within 50 min, 2 an hour are allowed" in found.clash.text
    assert Rule.PUMP_STARTS in {failure.rule for failure in play((north, south), found.clash.delays).failures}
    later = part("South", 11, time(6, 1), minutes=5, pump=replace(PUMP, minimum_rest_s=60))
    assert verify_together((north, later)).ok


def test_controllers_that_surely_overlap_are_one_run_of_the_pump():
    parts = part("North", 1, time(5)), part("South", 11, time(5, 10))
    found = verify_together(parts)
    assert found.ok  # 40 of 60 L/min, the pump runs through
    assert len([event for _, event in play(parts, middling(parts)).events if ": start pump" in event]) == 2


def test_flows_of_all_controllers_are_added_up():
    parts = part("North", 1, time(5), flow=35.0), part("South", 11, time(5, 10), flow=35.0)
    found = verify_together(parts)
    assert found.clash is not None and found.clash.rule is Rule.HANDOVER
    assert found.clash.excess is not None and found.clash.excess.flow_l_min == pytest.approx(70, abs=36)
    assert Rule.HANDOVER in {failure.rule for failure in play(parts, found.clash.delays).failures}


def test_what_a_hand_over_may_ask_of_the_supply_is_told():
    """Two zones of 35 L/min overlap for seconds at a supply of 60: permitted, and said."""
    alone = (part("North", 1, time(5), flow=35.0),)
    handover = verify_together(alone).handover
    assert handover is not None and handover.peak_l_min == 70
    # delay 2 + opening 5 - soonest closing 2 + 1 to spare before the closing command, delay 2 + closing 15 after it
    assert handover.longest_s == pytest.approx(6 + 2 + 15)
    assert verify_together((part("North", 1, time(5)),)).handover.longest_s == 0  # 40 of 60


def middling(parts):
    return tuple(delays_by(one.plant, one.timeline, lambda: 0.5) for one in parts)


@st.composite
def shared(draw):
    """Two or three controllers on one supply, each compiled on its own: they do not know each other."""
    pump = draw(
        st.none()
        | st.builds(
            Pump,
            prime_delay_s=st.integers(0, 10),
            run_down_s=st.integers(0, 5),
            minimum_run_s=st.integers(0, 200),
            minimum_rest_s=st.sampled_from([1, 60, 600]),
            most_starts_per_hour=st.integers(1, 8),
        )
    )
    supply = draw(st.sampled_from([None, 30.0, 45.0, 80.0]))
    found = []
    for number in range(draw(st.integers(2, 3))):
        ids = [10 * number + n for n in range(1, draw(st.integers(1, 4)) + 1)]
        interlocked = draw(st.booleans())
        plant = Plant(
            tuple(draw(valves(n)) for n in ids),
            command_delay_s=draw(tenths(0, 6)),
            interlocked=interlocked,
            pump=pump,
            master=draw(st.none() | valves(900 + number)),
            most_open=1 if interlocked else draw(st.integers(1, 2)),
            supply_l_min=supply,
        )
        made = draw(programs(len(ids)))
        made = [
            replace(one, steps=tuple(replace(step, valve_id=ids[step.valve_id - 1]) for step in one.steps))
            for one in made
        ]
        timeline = compile_programs(plant, made, DAY, DAY, UTC, Options(tolerance_s=30.0))
        found.append(Part(plant, timeline, f"C{number}"))
    return tuple(found)


@given(shared(), st.integers(0, 2**32))
def test_together_is_proved_only_what_never_fails_and_refuted_only_what_does(parts, seed):
    verdict = verify_together(parts)
    assert verdict.alone == tuple(verify(one.timeline, one.plant) for one in parts)
    if not all(alone.ok for alone in verdict.alone):
        assert not verdict.ok  # never milder than alone
        return
    if verdict.clash is not None:
        broken = {failure.rule for failure in play(parts, verdict.clash.delays).failures}
        by_strokes = verdict.clash.rule is Rule.HANDOVER and any(one.plant.interlocked for one in parts)
        assert verdict.clash.rule in broken or by_strokes  # interlocked strokes are judged on the safe side
        return
    dice = random.Random(seed)
    for share in [dice.random] * 3 + [lambda: dice.choice((0.0, 1.0))] * 3 + [lambda: 0.0, lambda: 1.0]:
        delays = tuple(delays_by(one.plant, one.timeline, share) for one in parts)
        result = play(parts, delays)
        assert result.ok, (result.failures, delays)


@given(shared(), st.data())
def test_what_one_controller_breaks_is_never_proved_with_others_beside_it(parts, data):
    """Another's open valve or running pump excuses nobody. (Two that clash may be sound with a third that bridges
    them: then the pump does run through.)"""
    place = data.draw(st.integers(0, len(parts) - 1))
    spoilt = parts[place]
    commands = list(spoilt.timeline.commands)
    if not commands:
        return
    index = data.draw(st.integers(0, len(commands) - 1))
    if data.draw(st.booleans()):
        del commands[index]
    else:
        commands[index] = replace(commands[index], at_s=commands[index].at_s + data.draw(tenths(-300, 300)))
    commands.sort(key=lambda command: command.at_s)
    spoilt = replace(spoilt, timeline=replace(spoilt.timeline, commands=tuple(commands)))
    beside = (*parts[:place], spoilt, *parts[place + 1 :])
    assert verify(spoilt.timeline, spoilt.plant).ok or not verify_together(beside).ok


@given(shared(), st.integers(0, 2**32))
def test_more_is_never_asked_of_the_supply_than_the_hand_over_tells(parts, seed):
    verdict = verify_together(parts)
    if not verdict.ok or verdict.handover is None or parts[0].plant.supply_l_min is None:
        return
    dice = random.Random(seed)
    delays = tuple(delays_by(one.plant, one.timeline, dice.random) for one in parts)
    assert longest_excess(parts, delays) <= verdict.handover.longest_s + 1e-4


def longest_excess(parts, delays) -> float:
    """By the intervals in which each valve is open, without the simulator."""
    events = []
    for one, own in zip(parts, delays, strict=True):
        opened = {}
        for command, delay in zip(one.timeline.commands, own, strict=True):
            at_s = command.at_s + delay.effect_s
            if command.action == "open_valve":
                if one.plant.interlocked:
                    for valve_id in list(opened):
                        events += interval(one, valve_id, opened.pop(valve_id), at_s + delay.displaced_stroke_s)
                opened[command.valve_id] = at_s + delay.stroke_s
            elif command.action == "close_valve":
                events += interval(one, command.valve_id, opened.pop(command.valve_id), at_s + delay.stroke_s)
    flow, since_s, longest_s = 0.0, None, 0.0
    for at_s, change in sorted(events):
        flow += change
        above = flow > one.plant.supply_l_min + 1e-6
        if above and since_s is None:
            since_s = at_s
        if not above and since_s is not None:
            longest_s, since_s = max(longest_s, at_s - since_s), None
    return longest_s


def interval(one, valve_id, open_s, shut_s):
    flow = one.plant.valve(valve_id).flow_l_min or 0.0
    return [(open_s, flow), (shut_s, -flow)]


# The week


@st.composite
def weekly(draw):
    """A plant and programs of a week: up to 7 h a start, also late in the evening."""
    count = draw(st.integers(1, 4))
    pump = draw(st.none() | st.builds(Pump, minimum_rest_s=st.sampled_from([60, 600]),
                                      most_starts_per_hour=st.integers(2, 6)))  # fmt: skip
    plant = Plant(
        tuple(draw(valves(n)) for n in range(1, count + 1)),
        pump=pump,
        most_open=draw(st.integers(1, 2)),
        supply_l_min=80.0,
    )
    starts = st.times(time(0), time(23, 59)).map(lambda one: one.replace(microsecond=0))
    made = []
    for number in range(1, draw(st.integers(1, 3)) + 1):
        days = draw(st.sets(st.integers(0, 6), min_size=1, max_size=3))
        steps = draw(
            st.lists(
                st.builds(
                    Step,
                    st.integers(1, count),
                    st.integers(2, 140),
                    cycles=st.integers(1, 2),
                    soak_min=st.integers(0, 30),
                ),
                min_size=1,
                max_size=3,
            )  # fmt: skip
        )
        made.append(
            Program(number, f"P{number}", (draw(starts),), Weekdays(frozenset(days)), tuple(steps), priority=number)
        )
    return plant, made, Options(refuse_collisions=draw(st.booleans()), window=(time(22), time(6)))


def cyclic(plant, made, options, first):
    """The week from that day as a set that does not know where the week begins."""
    week_s = 7 * 86400.0
    timeline = compile_programs(plant, made, first, first + timedelta(days=6), UTC, options)
    monday_s = (first - DAY).days * 86400.0

    def turned(seconds):
        return round((seconds + monday_s) % week_s, 3)

    commands = sorted((turned(c.at_s), c.action, c.valve_id, c.max_on_s) for c in timeline.commands)
    of_the_plant = NoticeKind.UNSAFE_PLANT  # and steps that are too short: at no moment of the week
    notices = sorted(
        (n.kind, turned(n.at_s), round(n.seconds, 3))
        for n in timeline.notices
        if n.kind is not of_the_plant and "this plant needs" not in n.text
    )
    return commands, notices, sorted((d.valve_id, round(d.water_s, 3)) for d in timeline.demands)


@given(weekly(), st.integers(1, 6))
def test_a_week_reads_the_same_from_each_of_its_days(case, later):
    plant, made, options = case
    assert cyclic(plant, made, options, DAY) == cyclic(plant, made, options, DAY + timedelta(days=later))


def test_a_sunday_evening_of_five_hours_and_an_early_monday_read_the_same_from_every_day():
    plant = Plant(tuple(Valve(n, f"Zone {n}", 20.0) for n in range(1, 6)), pump=Pump())
    sunday = Program(1, "Sunday", (time(23),), Weekdays(frozenset({6})), tuple(Step(n, 60) for n in range(1, 6)))
    monday = Program(2, "Monday", (time(2),), Weekdays(frozenset({0})), (Step(1, 20),))
    weeks = [cyclic(plant, [sunday, monday], Options(), DAY + timedelta(days=n)) for n in range(7)]
    assert all(week == weeks[0] for week in weeks)
    (waits,) = [notice for notice in weeks[0][1] if notice[0] == "queued"]
    assert waits[2] == pytest.approx(2 * 3600, abs=120)
    refused = [
        cyclic(plant, [sunday, monday], Options(refuse_collisions=True), DAY + timedelta(days=n)) for n in (0, 3)
    ]
    assert refused[0] == refused[1]
    assert [notice[0] for notice in refused[0][1]] == ["refused"]
