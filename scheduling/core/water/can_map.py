"""Where the cans of a test stood and what each caught against the mean: the drawing of a catch-can test."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scheduling.core.water.checks import WaterInputError

PITCH = 100  # units of the drawing from can to can
SHADES = 5
USUAL_ROW = 8  # cans in a row where nobody said: as square as it comes up to this many


@dataclass(frozen=True)
class Can:
    """One can: its place in the drawing, its catch, the share of the mean and a shade 1 (dry) to 5 (wet).

    `low` marks the cans of the lowest quarter, those that DU looks at.
    """

    number: int
    x: int
    y: int
    catch_ml: float
    share_of_mean: float
    shade: int
    low: bool


@dataclass(frozen=True)
class CanMap:
    """All cans with the size of the drawing; row by row from the top left."""

    cans: tuple[Can, ...]
    width: int
    height: int


def can_map(catches_ml: Sequence[float], cans_per_row: int | None = None) -> CanMap:
    """Lay the cans out row by row. The lowest quarter is n/4 rounded half up, at least one; ties by number.

    Raises `WaterInputError` where nothing was caught.
    """
    mean = sum(catches_ml) / len(catches_ml) if catches_ml else 0.0
    if mean <= 0:
        raise WaterInputError("catches", "no water was caught")
    row = cans_per_row or min(USUAL_ROW, math.ceil(math.sqrt(len(catches_ml))))
    driest = sorted(range(len(catches_ml)), key=lambda place: (catches_ml[place], place))
    low = set(driest[: max(1, math.floor(len(catches_ml) / 4 + 0.5))])
    cans = tuple(
        Can(
            number=place + 1,
            x=PITCH * (place % row) + PITCH // 2,
            y=PITCH * (place // row) + PITCH // 2,
            catch_ml=catch,
            share_of_mean=catch / mean,
            # 1.0 of the mean is the middle shade, half of it or less the driest, 1.5 times or more the wettest.
            shade=min(SHADES, max(1, 1 + math.floor((catch / mean - 0.5) * SHADES))),
            low=place in low,
        )
        for place, catch in enumerate(catches_ml)
    )
    rows = math.ceil(len(catches_ml) / row)
    return CanMap(cans, PITCH * min(row, len(catches_ml)), PITCH * rows)
