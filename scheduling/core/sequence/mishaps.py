"""What comes of a lost command or a power cut: every one of them is played, and the worst of each kind is told.

No plan can rule these out. All controllers of a supply are played together, each watering that differs from the rest,
with the delays that keep the pump running longest and the valves open shortest.

A power cut lasts `POWER_CUT_S`. It is played so that it begins, and so that it ends, just before and just after the
moment of each command: between two such moments the same commands are lost, so the same comes of it. What it switched
off stays off until its next command.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from scheduling.core.sequence.corners import Corners
from scheduling.core.sequence.parts import Part, waterings
from scheduling.core.sequence.plant import Plant
from scheduling.core.sequence.simulate import play
from scheduling.core.sequence.spans import Malformed, read_spans
from scheduling.core.sequence.timeline import PUMP, Action, Command, Delays
from scheduling.core.sequence.world import Cuts, Simulation

POWER_CUT_S = 600.0
JUST_S = 0.001  # before or after a moment
SHOWN_VALVES = 3
KINDS = {
    Action.OPEN_VALVE: "An opening is lost",
    Action.CLOSE_VALVE: "A closing is lost",
    Action.OPEN_MASTER: "The opening of a master valve is lost",
    Action.CLOSE_MASTER: "The closing of a master valve is lost",
    Action.START_PUMP: "A pump start is lost",
    Action.STOP_PUMP: "A pump stop is lost",
}
POWER_CUT = f"The power fails for {POWER_CUT_S / 60:.0f} minutes"


@dataclass(frozen=True)
class Mishap:
    """One kind of thing that goes wrong: how many were played, how many did harm, and the worst of them in words.

    at_s: when the worst one happens. dry_pump_s: seconds the pump then works against closed valves, at most, and
    without end where "pump" is among `left_on`: what is still on when the watering is over, in this or another case.
    """

    title: str
    words: str
    played: int
    harmful: int
    at_s: float
    dry_pump_s: float
    left_on: tuple[str, ...]

    @property
    def unsafe(self) -> bool:
        """The pump or the site may take harm."""
        return self.harmful > 0


@dataclass(frozen=True)
class _Case:
    """One mishap as it was played."""

    what: str
    at_s: float
    result: Simulation
    parts: tuple[Part, ...]

    @property
    def dry_s(self) -> float:
        """Seconds the pump works against closed valves with the worst delays: as played, and what delays can add."""
        dry_s = self.result.dry_pump_s
        return dry_s and dry_s + max(_slack_s(part.plant) for part in self.parts)

    @property
    def valves_left(self) -> tuple[str, ...]:
        return tuple(name for name in self.result.left_open if name != PUMP)

    @property
    def harm(self) -> tuple[bool, float, int]:
        """Worse is larger; the first entry: the pump runs on and on."""
        return PUMP in self.result.left_open, self.dry_s, len(self.result.left_open)

    @property
    def harmful(self) -> bool:
        return any(self.harm)


def _slack_s(plant: Plant) -> float:
    """By how much other delays than those played may make it worse. Where a field device counts from an opening, or
    one command moves two valves, a delay works both ways; else those played are the worst."""
    if not plant.enforces_max_on and not plant.interlocked:
        return 0.0
    valves = [*plant.valves, *([plant.master] if plant.master else [])]
    opening_s = max(valve.opens_within_s - valve.opens_from_s for valve in valves)
    closing_s = max(valve.closes_within_s - valve.closes_from_s for valve in valves)
    return plant.command_delay_s + opening_s + closing_s


@lru_cache(maxsize=128)
def mishaps(parts: tuple[Part, ...]) -> tuple[Mishap, ...]:
    """Every lost command and the power cuts, by kind; empty where nothing runs or a command makes no sense."""
    by_kind: dict[str, list[_Case]] = {}
    for watering in different(parts):
        try:
            driest = [tuple(_driest(part, late) for part in watering) for late in _pump_starts(watering)]
        except Malformed:
            return ()
        for title, case in (*_losses(watering, driest), *_cut_short(watering, driest)):
            by_kind.setdefault(title, []).append(case)
    order = [*KINDS.values(), POWER_CUT]
    return tuple(_mishap(title, by_kind[title]) for title in order if title in by_kind)


def different(parts: tuple[Part, ...]) -> Iterator[tuple[Part, ...]]:
    """One watering of each that send the same commands at the same distances."""
    seen: set[object] = set()
    for watering in waterings(parts, POWER_CUT_S):
        first_s = min(part.timeline.commands[0].at_s for part in watering if part.timeline.commands)
        shape = tuple(
            tuple((round(c.at_s - first_s, 3), c.action, c.valve_id, c.max_on_s) for c in part.timeline.commands)
            for part in watering
        )
        if shape not in seen:
            seen.add(shape)
            yield watering


def _pump_starts(parts: tuple[Part, ...]) -> tuple[bool, ...]:
    """Early, and late as well where the field device counts the pump's longest duration from its start."""
    return (False, True) if any(part.plant.enforces_max_on and part.plant.pump for part in parts) else (False,)


def _driest(part: Part, pump_starts_late: bool) -> Delays:
    """Valves open late and shut early, the pump starts early or late and stops late."""
    corners = Corners(part.timeline, part.plant, read_spans(part.timeline.commands, part.plant))
    late = {index: part.plant.command_delay_s for index, command in enumerate(part.timeline.commands)
            if pump_starts_late and command.action is Action.START_PUMP}  # fmt: skip
    return corners.narrow(late)


def _losses(watering: tuple[Part, ...], driest: list[tuple[Delays, ...]]) -> Iterator[tuple[str, _Case]]:
    """Each command lost once, with the worse of the delays."""
    for number, part in enumerate(watering):
        for index, command in enumerate(part.timeline.commands):
            lost = frozenset([(number, index)])
            what = _lost_words(part, command, len(watering))
            cases = [_Case(what, command.at_s, play(watering, delays, lost=lost), watering) for delays in driest]
            yield KINDS[command.action], max(cases, key=lambda case: case.harm)


def _cut_short(watering: tuple[Part, ...], driest: list[tuple[Delays, ...]]) -> Iterator[tuple[str, _Case]]:
    for delays in driest:
        for cut in _cuts(watering, delays):
            result = play(watering, delays, power_cuts=(cut,))
            yield POWER_CUT, _Case("the power fails", cut[0], result, watering)


def _lost_words(part: Part, command: Command, parts: int) -> str:
    where = f" of {part.name}" if parts > 1 and part.name else ""
    words = command.words(part.valve_names)
    if command.valve_id is None:
        verb, output = words.split(" ", 1)
        words = f"{verb} the {output}"
    return f"the command to {words}{where} is lost"


def _cuts(watering: tuple[Part, ...], delays: tuple[Delays, ...]) -> Cuts:
    """Cuts that begin or end around the moment of each command; of those that lose the same commands only one."""
    moments = sorted(
        command.at_s + delay.effect_s
        for part, own in zip(watering, delays, strict=True)
        for command, delay in zip(part.timeline.commands, own, strict=True)
    )
    found: dict[tuple[int, int], float] = {}
    for moment in moments:
        edges = (moment - JUST_S, moment + JUST_S)
        for from_s in (*edges, *(edge - POWER_CUT_S for edge in edges)):
            before = sum(other < from_s for other in moments)
            until = sum(other < from_s + POWER_CUT_S for other in moments)
            if until > 0 and before < len(moments):
                found.setdefault((before, until), from_s)
    return tuple((from_s, from_s + POWER_CUT_S) for from_s in found.values())


def _mishap(title: str, cases: list[_Case]) -> Mishap:
    """The worst for the pump is told, and the worst for valves left open where that is another case."""
    worst = max(cases, key=lambda case: case.harm)
    open_most = max(cases, key=lambda case: len(case.valves_left))
    said = _said(worst)
    if not worst.valves_left and open_most.valves_left:
        said += [f"in another case {open_most.what}", _left_words(open_most)]
    words = ". ".join(text[:1].upper() + text[1:] for text in said) + "."
    left_on = tuple(dict.fromkeys((*worst.result.left_open, *open_most.result.left_open)))
    harmful = sum(case.harmful for case in cases)
    return Mishap(title, words, len(cases), harmful, worst.at_s, worst.dry_s, left_on)


def _said(case: _Case) -> list[str]:
    """What comes of it; the pump first."""
    said = [f"worst: {case.what}"]
    if not case.harmful:
        said = ["zones may miss water or get too much; nothing is left open, no pump works against closed valves"]
    elif PUMP in case.result.left_open:
        said.append(
            "the pump runs on until its next stop or until somebody stops it, against closed valves once the last "
            "one shuts"
        )
    elif case.dry_s > 0:
        said.append(f"the pump works against closed valves for up to {_long(case.dry_s)}")
    if case.valves_left:
        said.append(_left_words(case))
    ended = [text for _, text in case.result.events if text.startswith("the field device")]
    if ended:
        said.append(f"{ended[0]}; no command is needed for that")
    return said


def _left_words(case: _Case) -> str:
    valves = case.valves_left
    masters = [part.plant.master for part in case.parts if part.plant.master is not None]
    dry = bool(masters) and not any(name.startswith(master.name) for master in masters for name in valves)
    water = "behind the closed master valve: it waters again with the next program" if dry else "and water runs"
    names = ", ".join(valves[:SHOWN_VALVES]) + (" and more" if len(valves) > SHOWN_VALVES else "")
    return f"{names} stays open until its next closing or until somebody closes it, {water}"


def _long(seconds: float) -> str:
    return f"{math.ceil(seconds)} s" if seconds < 120 else f"{math.ceil(seconds / 60)} min"
