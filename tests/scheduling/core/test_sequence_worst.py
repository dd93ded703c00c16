"""Nothing worse than told: lost commands and power cuts at random, played without the product's simulator."""

import random
from dataclasses import dataclass, field, replace

from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.sequence.mishaps import KINDS, POWER_CUT, POWER_CUT_S, Mishap, mishaps
from scheduling.core.sequence.parts import Part
from scheduling.core.sequence.timeline import MASTER, PUMP, Action
from scheduling.core.sequence.together import verify_together
from tests.scheduling.core.test_sequence_proof import delays_by
from tests.scheduling.core.test_sequence_supply import shared

PLAYED = 12  # lost commands, and as many power cuts, of each random supply
ROUNDING_S = 0.01
NEVER = float("inf")


@dataclass
class Played:
    """What came of it, by the intervals in which each output was on."""

    pump: list[tuple[float, float]] = field(default_factory=list)
    paths: list[tuple[float, float]] = field(default_factory=list)
    left_on: list[object] = field(default_factory=list)

    @property
    def dry_s(self) -> float:
        """Seconds in which the pump ran and no path was open; inf where it never stopped."""
        edges = sorted({edge for interval in (*self.pump, *self.paths) for edge in interval})
        dry_s = 0.0
        for begin, end in zip(edges, edges[1:], strict=False):
            runs = any(low <= begin < high for low, high in self.pump)
            if runs and not any(low <= begin < high for low, high in self.paths):
                dry_s += end - begin
        return dry_s


def orders_of(commands, delays, lost, cut):
    """(when it takes effect, its rank, number of the command), in this order; -1 is the beginning of a power cut."""
    orders = [
        (round(command.at_s + delay.effect_s, 6), 1, index)
        for index, (command, delay) in enumerate(zip(commands, delays, strict=True))
        if index not in lost
    ]
    return sorted([*orders, (cut[0], 0, -1)] if cut else orders)


def intervals_of(part: Part, delays, lost, cut):
    """By output the times it is open or running: a walk over what each coil is told, in the order it takes effect."""
    plant, commands = part.plant, part.timeline.commands
    on, told = {}, {}  # output -> (since, stroke, longest); output -> [(on, open stroke, off, shut stroke)]

    def end(output, at_s, stroke_s):
        since_s, opens_s, longest_s, slowest_s = on.pop(output)
        if since_s + longest_s < at_s:  # the field device was faster
            at_s, stroke_s = since_s + longest_s, slowest_s
        told.setdefault(output, []).append((since_s, opens_s, at_s, stroke_s))

    for at_s, _, index in orders_of(commands, delays, lost, cut):
        for output in [key for key, (since_s, _, longest_s, _) in on.items() if since_s + longest_s < at_s]:
            end(output, at_s, 0.0)
        if index < 0:
            for output in [key for key in on if key == PUMP or not plant.latching]:
                end(output, at_s, on[output][3])
            continue
        if cut and cut[0] <= at_s < cut[1]:
            continue
        command, delay = commands[index], delays[index]
        output = command.output
        if command.action in (Action.CLOSE_VALVE, Action.CLOSE_MASTER, Action.STOP_PUMP):
            if output in on:
                end(output, at_s, delay.stroke_s)
            continue
        if plant.interlocked and isinstance(output, int) and output not in on:
            for other in [key for key in on if isinstance(key, int)]:
                end(other, at_s, delay.displaced_stroke_s)
        if output not in on:
            element = plant.master if output == MASTER else None if output == PUMP else plant.valve(output)
            longest_s = command.max_on_s if plant.enforces_max_on and command.max_on_s else NEVER
            on[output] = (at_s, delay.stroke_s, longest_s, element.closes_within_s if element else 0.0)
    for output in list(on):
        end(output, NEVER, 0.0)
    return {output: opened(spans) for output, spans in told.items()}


def opened(spans):
    """Open once the opening stroke has ended, until the closing stroke has; a new order voids the old one."""
    found, since_s = [], None
    for place, (on_s, opens_s, off_s, shuts_s) in enumerate(spans):
        if since_s is None and on_s + opens_s <= off_s:
            since_s = on_s + opens_s
        next_on_s = spans[place + 1][0] if place + 1 < len(spans) else NEVER
        if since_s is not None and off_s + shuts_s <= next_on_s:
            found.append((since_s, off_s + shuts_s))
            since_s = None
    return found if since_s is None else [*found, (since_s, NEVER)]


def both(one, other):
    return [(max(a, c), min(b, d)) for a, b in one for c, d in other if max(a, c) < min(b, d)]


def played(parts, delays, lost=(), cut=None) -> Played:
    result = Played()
    for number, part in enumerate(parts):
        own = intervals_of(part, delays[number], {index for at, index in lost if at == number}, cut)
        zones = [interval for output, spans in own.items() if isinstance(output, int) for interval in spans]
        result.paths += zones if part.plant.master is None else both(zones, own.get(MASTER, []))
        result.pump += own.get(PUMP, [])
        result.left_on += [output for output, spans in own.items() if any(high == NEVER for _, high in spans)]
    return result


@st.composite
def kinds(draw):
    """Controllers of any kind on one supply, proved together."""
    latching, ends_itself = draw(st.booleans()), draw(st.booleans())
    parts = draw(shared())
    if draw(st.booleans()):
        parts = parts[:1]
    return tuple(
        replace(one, plant=replace(one.plant, latching=latching, enforces_max_on=ends_itself)) for one in parts
    )


def assert_told(told: dict[str, Mishap], title: str, found: Played) -> None:
    one = told[title]
    if found.left_on:
        assert one.left_on, (title, found)
    if PUMP not in one.left_on:
        assert found.dry_s <= one.dry_pump_s + ROUNDING_S, (title, found.dry_s, one)


@given(kinds(), st.integers(0, 2**32))
def test_no_lost_command_and_no_power_cut_does_worse_than_told(parts, seed):
    if not verify_together(parts).ok:
        return  # what is not proved is not to be run
    told = {one.title: one for one in mishaps(parts)}
    dice = random.Random(seed)
    commands = [(number, index) for number, part in enumerate(parts) for index in range(len(part.timeline.commands))]
    for _ in range(PLAYED if commands else 0):
        delays = tuple(delays_by(one.plant, one.timeline, dice.random) for one in parts)
        number, index = dice.choice(commands)
        action = parts[number].timeline.commands[index].action
        assert_told(told, KINDS[action], played(parts, delays, lost=[(number, index)]))
        number, index = dice.choice(commands)
        begin_s = parts[number].timeline.commands[index].at_s + dice.uniform(-POWER_CUT_S - 20, 20)
        assert_told(told, POWER_CUT, played(parts, delays, cut=(begin_s, begin_s + POWER_CUT_S)))


@given(kinds())
def test_what_goes_right_leaves_nothing_on_and_no_pump_dry(parts):
    if verify_together(parts).ok:
        for share in (0.0, 0.5, 1.0):
            delays = tuple(delays_by(one.plant, one.timeline, lambda share=share: share) for one in parts)
            found = played(parts, delays)
            assert found.left_on == [] and found.dry_s == 0


@given(kinds())
def test_every_command_of_a_kind_was_played_or_one_just_like_it(parts):
    if not verify_together(parts).ok:
        return
    told = {one.title: one for one in mishaps(parts)}
    sent = [command.action for part in parts for command in part.timeline.commands]
    assert set(told) == {KINDS[action] for action in sent} | ({POWER_CUT} if sent else set())
    for one in told.values():
        assert 0 <= one.harmful <= one.played
        assert one.unsafe is (bool(one.left_on) or one.dry_pump_s > 0)
        assert one.words.endswith(".")
    for action in set(sent):
        assert told[KINDS[action]].played <= sent.count(action)
    if all(part.plant.enforces_max_on for part in parts):
        assert all(one.left_on == () for one in told.values())  # the field device ends what was forgotten
