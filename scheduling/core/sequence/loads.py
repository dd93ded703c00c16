"""What a timeline asks of the controller's transformer: every coil that may hold at once and one that is starting."""

from collections.abc import Mapping
from dataclasses import dataclass

from scheduling.core.sequence.timeline import ON_ACTIONS, Action, Timeline
from sites.core.electrical import Coil, TransformerLoad, transformer_load


@dataclass(frozen=True)
class WorstLoad:
    """The moment of the highest load; `on` are the outputs that hold, the last one just starting."""

    at_s: float
    load: TransformerLoad
    on: tuple[int | str, ...]


def worst_load(
    timeline: Timeline, coils: Mapping[int | str, Coil], rated_va: float, *, interlocked: bool
) -> WorstLoad | None:
    """The highest load at any opening, by the commands; None where no coil's load is known.

    coils: by valve id, "master" for the master valve and "pump" for the pump relay.
    """
    on: list[int | str] = []
    worst: WorstLoad | None = None
    for command in timeline.commands:
        output = command.output
        if command.action not in ON_ACTIONS:
            on = [key for key in on if key != output]
            continue
        if interlocked and command.action is Action.OPEN_VALVE:
            on = [key for key in on if isinstance(key, str)]
        on.append(output)
        running = [coils[key] for key in on if key in coils]
        if not running:
            continue
        load = transformer_load(running, rated_va)
        if worst is None or load.peak_va > worst.load.peak_va:
            worst = WorstLoad(command.at_s, load, tuple(on))
    return worst
