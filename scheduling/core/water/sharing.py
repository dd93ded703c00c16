"""Which zones of a controller share days, where it has fewer programs than its zones have rhythms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduling.core.water.advice import Flags

MOST_PROGRAMS = 3  # what a plain controller can hold: common practice, no source
A_DAY_EARLIER = 0.05  # what moving a zone by a day weighs beside watering it twice as often


@dataclass
class Rhythm:
    """Zones watered on the same days."""

    days: tuple[int, ...]
    zones: list[int]
    merged: bool = False


def share_days(wanted: Flags, controller: NDArray[np.int64]) -> NDArray[np.int64]:
    """A program number for zones that must share days with others, -1 for all that keep their own.

    wanted (days, zones) are the days on which each zone would be watered by itself. The two rhythms of a controller
    that lose least by one another join, until three are left: a zone watered rarely joins a frequent one last.
    """
    program = np.full(wanted.shape[1], -1, dtype=np.int64)
    by_controller: dict[int, dict[tuple[int, ...], Rhythm]] = {}
    for zone in np.flatnonzero(wanted.any(axis=0)).tolist():
        number = int(controller[zone])
        if number < 0:
            continue
        days = tuple(np.flatnonzero(wanted[:, zone]).tolist())
        by_controller.setdefault(number, {}).setdefault(days, Rhythm(days, [])).zones.append(zone)
    count = 0
    for rhythms in by_controller.values():
        for rhythm in _joined(list(rhythms.values())):
            if rhythm.merged:
                program[rhythm.zones] = count
                count += 1
    return program


def _joined(rhythms: list[Rhythm]) -> list[Rhythm]:
    while len(rhythms) > MOST_PROGRAMS:
        pairs = ((one, other) for place, one in enumerate(rhythms) for other in rhythms[place + 1 :])
        one, other = min(pairs, key=lambda pair: _excess(*pair))
        rhythms = [rhythm for rhythm in rhythms if rhythm is not one and rhythm is not other]
        longer = max(one.days, other.days, key=lambda days: (len(days), -days[0]))
        days = tuple(sorted({min(one.days[0], other.days[0]), *longer[1:]}))
        rhythms.append(Rhythm(days, one.zones + other.zones, merged=True))
    return rhythms


def _excess(one: Rhythm, other: Rhythm) -> float:
    """How many times more often than by themselves the zones are watered, and days moved."""
    often = max(len(one.days), len(other.days))
    more = sum((often / len(each.days) - 1) * len(each.zones) for each in (one, other))
    later = max(one, other, key=lambda rhythm: rhythm.days[0])
    return more + A_DAY_EARLIER * abs(one.days[0] - other.days[0]) * len(later.zones)
