"""Play timelines with given delays, event by event, and judge what happened.

Independent of the verifiers on purpose: it shares no reasoning with `verify` and `together`, only the words of
`timeline` and `parts`. It also plays lost commands and power cuts, which no proof covers, to say what each kind of
controller does. All controllers of a supply are played together: one pump, which runs while any of them asks for it.
"""

from scheduling.core.sequence.parts import Part
from scheduling.core.sequence.plant import Plant
from scheduling.core.sequence.timeline import Action, CommandDelay, Delays, Timeline
from scheduling.core.sequence.world import Cuts, Lost, Simulation, World


def simulate(
    timeline: Timeline,
    plant: Plant,
    delays: Delays,
    *,
    lost: frozenset[int] = frozenset(),
    power_cuts: Cuts = (),
) -> Simulation:
    """Play one controller's timeline with one delay a command; `lost` command numbers never arrive.

    During a power cut (from, to) plain coils and the pump drop out and commands are not carried out; latching
    coils stay. Times are seconds after the origin. ValueError if there is not one delay for each command.
    """
    return play(
        (Part(plant, timeline),), (delays,), lost=frozenset((0, index) for index in lost), power_cuts=power_cuts
    )


def play(
    parts: tuple[Part, ...], delays: tuple[Delays, ...], *, lost: Lost = frozenset(), power_cuts: Cuts = ()
) -> Simulation:
    """The same for all controllers of a supply at once; a power cut is everywhere."""
    for part, own in zip(parts, delays, strict=True):
        if len(own) != len(part.timeline.commands):
            raise ValueError(f"{len(part.timeline.commands)} commands need as many delays, not {len(own)}")
    return World(parts, delays).run(lost, power_cuts)


def explain(
    timeline: Timeline, plant: Plant, delays: Delays, around_s: float, reach_s: float = 180.0
) -> tuple[tuple[float, str], ...]:
    """The story of one moment: (seconds after the origin, what happened) within `reach_s` of it."""
    return explain_together((Part(plant, timeline),), (delays,), around_s, reach_s)


def explain_together(
    parts: tuple[Part, ...], delays: tuple[Delays, ...], around_s: float, reach_s: float = 180.0
) -> tuple[tuple[float, str], ...]:
    """The same with all controllers of a supply."""
    return tuple(event for event in play(parts, delays).events if abs(event[0] - around_s) <= reach_s)


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
