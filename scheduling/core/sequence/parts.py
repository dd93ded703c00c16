"""A supply with everything that draws on it: each controller's timeline on its plant, side by side."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from scheduling.core.sequence.plant import Plant
from scheduling.core.sequence.timeline import ON_ACTIONS, Action, Command, Timeline


@dataclass(frozen=True)
class Part:
    """One controller's timeline on its plant.

    The parts of one supply count from the same origin and have the same pump and `supply_l_min`. The pump runs while
    any of them asks for it (their pump relays lie side by side), and the valves of each are a path for its water.
    """

    plant: Plant
    timeline: Timeline
    name: str = ""

    @property
    def valve_names(self) -> dict[int, str]:
        return {valve.id: valve.name for valve in self.plant.valves}


def in_order(parts: tuple[Part, ...]) -> list[tuple[int, int, Command]]:
    """(number of the part, number of the command in it, command), by the time each is sent."""
    found = [
        (number, index, command)
        for number, part in enumerate(parts)
        for index, command in enumerate(part.timeline.commands)
    ]
    return sorted(found, key=lambda entry: (entry[2].at_s, entry[0], entry[1]))


def waterings(parts: tuple[Part, ...], pause_s: float) -> Iterator[tuple[Part, ...]]:
    """The commands from all off to all off: a new watering begins after a pause with nothing on at any controller.

    A watering asks for no minutes: it is for playing what goes wrong.
    """
    on: set[tuple[int, object]] = set()
    taken: list[list[Command]] = [[] for _ in parts]
    commands = in_order(parts)
    for place, (number, _, command) in enumerate(commands):
        taken[number].append(command)
        _switch(on, number, parts[number].plant, command)
        following = commands[place + 1][2].at_s if place + 1 < len(commands) else float("inf")
        if not on and following - command.at_s >= pause_s:
            yield _cut(parts, taken)
            taken = [[] for _ in parts]
    if any(taken):
        yield _cut(parts, taken)


def _switch(on: set[tuple[int, object]], number: int, plant: Plant, command: Command) -> None:
    if command.action not in ON_ACTIONS:
        on.discard((number, command.output))
        return
    if plant.interlocked and command.action is Action.OPEN_VALVE:
        on -= {key for key in on if key[0] == number and isinstance(key[1], int)}
    on.add((number, command.output))


def _cut(parts: tuple[Part, ...], taken: list[list[Command]]) -> tuple[Part, ...]:
    return tuple(
        replace(part, timeline=replace(part.timeline, commands=tuple(commands), demands=(), runs=(), notices=()))
        for part, commands in zip(parts, taken, strict=True)
    )
