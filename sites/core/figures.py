"""Figures that nothing can have, refused by name at the door of the computing functions; sums of what is known."""

import functools
import inspect
import math
from collections.abc import Callable, Iterable
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")

# By the end of a figure's name: the least and the most that can be meant. Wide on purpose: what is likely stands in
# the rulebook, here stands what would make the arithmetic answer nonsense.
LIMITS = {
    "_l_min": (0.0, 1e9), "_m3_h": (0.0, 1e9), "nozzle_m3_h": (1e-9, 1e9), "last_m3_h": (0.0, math.inf),
    "_m3": (0.0, 1e12), "length_m": (0.0, 1e6), "rise_m": (-1e4, 1e4),
    "head_m": (-1e4, 1e5), "static_m": (-1e4, 1e4), "shutoff_m": (0.0, 1e5), "_mm": (0.0, 1e4), "_mm2": (0.0, 1e4),
    "_kpa": (-1e18, 1e18), "pressure_kpa": (0.0, 1e9),
    "wave_m_s": (1.0, 5e3), "velocity_m_s": (0.0, 100.0), "velocity_change_m_s": (-100.0, 100.0),
    "_ohm": (0.0, 1e9), "_c": (-60.0, 120.0), "_v": (0.0, 1e4), "_a": (0.0, 1e4), "_va": (0.0, 1e6),
    "hours": (0.0, 1e6), "efficiency": (0.0, 1.0), "exponent": (0.0, 2.0), "discharge": (0.0, 1.0), "c": (0.0, 1e6),
    "b": (0.0, 1e300), "before": (0.0, 1e12), "after": (0.0, 1e12), "digits": (1, 12), "multiplier": (1e-6, 1e6),
}  # fmt: skip


def sum_known(values: Iterable[float | None]) -> float | None:
    """The sum, None where one of them is not known."""
    total = 0.0
    for value in values:
        if value is None:
            return None
        total += value
    return total


class ImpossibleFigure(ValueError):
    """A figure that cannot be: `field` names it."""

    def __init__(self, field: str, value: float, least: float, most: float) -> None:
        self.field = field
        super().__init__(f"{field} must be a number from {least:g} to {most:g}, not {value}")


def possible(field: str, value: object) -> None:
    """Refuse NaN, infinity and sizes outside `LIMITS`; what is no number, or has no limits, passes."""
    if not isinstance(value, int | float) or isinstance(value, bool):
        return
    limits = limits_of(field)
    if limits and not limits[0] <= value <= limits[1]:
        raise ImpossibleFigure(field, value, *limits)


@functools.cache
def limits_of(field: str) -> tuple[float, float] | None:
    fitting = [end for end in LIMITS if field == end or (field.endswith(end) and not end.isalpha())]
    return LIMITS[max(fitting, key=len)] if fitting else None


def door(function: Callable[P, R]) -> Callable[P, R]:
    """A function that takes raw figures: each argument is looked at once, by its name."""
    names = tuple(inspect.signature(function).parameters)

    @functools.wraps(function)
    def guarded(*args: P.args, **kwargs: P.kwargs) -> R:
        for name, value in (*zip(names, args, strict=False), *kwargs.items()):
            possible(name, value)
        return function(*args, **kwargs)

    return guarded


class Possible:
    """A base for frozen dataclasses: their figures are looked at once, when one is made."""

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            possible(name, value)
