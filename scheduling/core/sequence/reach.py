"""How far round a span of days the starts of programs must be read, by an upper bound of how long each lasts."""

import math
from collections.abc import Sequence

from scheduling.core.sequence.blocks import GUARD_S, Portion
from scheduling.core.sequence.plant import Plant
from scheduling.core.sequence.timeline import HOUR_S


def reaching(starts: Sequence[tuple[float, float]], until_s: float, forgets_s: float) -> slice:
    """Of the starts (when due, how long at most), by due time, those that can matter to seconds 0 to `until_s`.

    From the last moment, up to second 0, at which all was surely off for so long that nothing remembers what ran
    before; to the first moment from `until_s` on at which all is surely off again.
    """
    first, busy_until_s = 0, -math.inf
    for number, (due_s, longest_s) in enumerate(starts):
        if busy_until_s + forgets_s <= min(due_s, 0.0):
            first = number
        if due_s >= until_s and busy_until_s <= due_s:
            return slice(first, number)
        busy_until_s = max(busy_until_s, due_s) + longest_s
    return slice(first, len(starts))


def forgets_s(plant: Plant) -> float:
    """After so long with all off nothing depends on what ran before: the pump has rested, its hour is over."""
    return max(HOUR_S, plant.pump.minimum_rest_s) + plant.command_delay_s if plant.pump else 0.0


def longest_s(plant: Plant, portions: Sequence[Portion]) -> float:
    """No start with these portions lasts longer, from its due time with the supply idle until all is shut."""
    cycles = sum(portion.left for portion in portions)
    valves = [*plant.valves, *([plant.master] if plant.master else [])]
    settles_s = 4 * plant.command_delay_s + 4 * GUARD_S
    settles_s += 2 * max(valve.opens_within_s for valve in valves) + 2 * max(
        valve.closes_within_s for valve in valves
    )
    waits_s = settles_s * cycles
    if plant.pump is not None:
        pump = plant.pump
        each_s = pump.minimum_rest_s + pump.minimum_run_s + pump.prime_delay_s + pump.run_down_s
        waits_s += cycles * each_s + math.ceil(cycles / pump.most_starts_per_hour) * (HOUR_S + plant.command_delay_s)
    return waits_s + sum(portion.left * (portion.water_s + portion.soak_s) for portion in portions)
