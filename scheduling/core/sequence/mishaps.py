"""What each kind of controller does when a command is lost or the power fails: played, not assumed.

No plan can rule these out. Only the first watering of the timeline is played, with every delay in the middle of its
bounds, so that the answer is about one morning.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from scheduling.core.sequence.plant import Plant
from scheduling.core.sequence.simulate import Simulation, nominal_delays, simulate
from scheduling.core.sequence.timeline import Action, Command, Timeline

POWER_CUT_S = 600.0
SAME_WATERING_S = 120.0  # a pause this short is a hand-over, not the end
SHOWN_VALVES = 3


@dataclass(frozen=True)
class Mishap:
    """One thing that goes wrong and what comes of it. `unsafe`: the pump or the site may take harm."""

    title: str
    words: str
    unsafe: bool
    dry_pump_s: float
    left_on: tuple[str, ...]


def mishaps(timeline: Timeline, plant: Plant) -> tuple[Mishap, ...]:
    """Lost openings, closings and pump stops, and a power cut of ten minutes; empty where nothing runs."""
    first = first_watering(timeline, plant)
    if not first.commands:
        return ()
    delays = nominal_delays(first, plant)
    found = []
    for title, lost in _losses(first, plant):
        played = simulate(first, plant, delays, lost=frozenset([lost]))
        found.append(_mishap(title, played, plant))
    middle_s = (first.commands[0].at_s + first.commands[-1].at_s) / 2
    cut = simulate(first, plant, delays, power_cuts=((middle_s, middle_s + POWER_CUT_S),))
    found.append(_mishap("The power fails for ten minutes in mid-run", cut, plant))
    return tuple(found)


def first_watering(timeline: Timeline, plant: Plant) -> Timeline:
    """The commands up to the first moment at which everything has been told to be off, and nothing follows soon."""
    on: set[object] = set()
    for index, command in enumerate(timeline.commands):
        output = command.valve_id if command.valve_id is not None else command.action.split("_")[1]
        if command.action in (Action.OPEN_VALVE, Action.OPEN_MASTER, Action.START_PUMP):
            if plant.interlocked and command.valve_id is not None:
                on = {key for key in on if not isinstance(key, int)}  # the output before switches off by itself
            on.add(output)
        else:
            on.discard(output)
        following = timeline.commands[index + 1 : index + 2]
        if not on and not (following and following[0].at_s - command.at_s < SAME_WATERING_S):
            return replace(timeline, commands=timeline.commands[: index + 1], demands=())
    return replace(timeline, demands=())


def _losses(first: Timeline, plant: Plant) -> Iterator[tuple[str, int]]:
    names = {valve.id: valve.name for valve in plant.valves}

    def last(action: Action) -> tuple[int, Command] | None:
        found = [(index, command) for index, command in enumerate(first.commands) if command.action is action]
        return found[-1] if found else None

    if opening := last(Action.OPEN_VALVE):
        yield f"The command to open {names[opening[1].valve_id or 0]} is lost", opening[0]
    if closing := last(Action.CLOSE_VALVE):
        yield f"The command to close {names[closing[1].valve_id or 0]} is lost", closing[0]
    if stop := last(Action.STOP_PUMP):
        yield "The command to stop the pump is lost", stop[0]


def _mishap(title: str, played: Simulation, plant: Plant) -> Mishap:
    said = []
    dry_s = played.dry_pump_s
    endless = "pump" in played.left_open
    if endless:
        said.append("the pump runs on until somebody stops it, against closed valves once the last one shuts")
    elif dry_s > 0:
        said.append(f"the pump works against closed valves for {_long(dry_s)}")
    valves = [name for name in played.left_open if name != "pump"]
    if valves:
        names = ", ".join(valves[:SHOWN_VALVES])
        dry = plant.master is not None and plant.master.name not in played.left_open
        water = "behind the closed master valve: it waters again with the next program" if dry else "and water runs"
        said.append(f"{names} stays open until somebody closes it, {water}")
    ended = [text for _, text in played.events if text.startswith("the field device")]
    if ended:
        said.append(f"{ended[0]}; no command is needed for that")
    if not said:
        said.append("the run is cut short and some zones miss water; nothing is left open, no pump runs dry")
    words = ". ".join(text[:1].upper() + text[1:] for text in said) + "."
    return Mishap(title, words, bool(valves) or endless or dry_s > 0, dry_s, tuple(played.left_open))


def _long(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
