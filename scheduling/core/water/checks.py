"""Refusing bad numbers at the door of the water core, in words a person can act on."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


class WaterInputError(ValueError):
    """An input that must not be guessed; `field` names it, `rows` lists the offending positions (flat)."""

    def __init__(self, field: str, problem: str, rows: tuple[int, ...] = ()):
        self.field = field
        self.problem = problem
        self.rows = rows
        where = f" (rows {', '.join(map(str, rows[:5]))}{', ...' if len(rows) > 5 else ''})" if rows else ""
        super().__init__(f"{field}: {problem}{where}")


def floats(value: ArrayLike) -> Array:
    """Any array-like as float64."""
    return np.asarray(value, dtype=np.float64)


def refuse(field: str, bad: NDArray[np.bool_], problem: str) -> None:
    """Raise `WaterInputError` with the positions where `bad` is true."""
    if bad.any():
        raise WaterInputError(field, problem, tuple(int(i) for i in np.flatnonzero(bad)[:100]))


LARGEST = float(np.finfo(np.float64).max)


def complete(field: str, value: ArrayLike, low: float = -LARGEST, high: float = LARGEST) -> Array:
    """`value` as float64, refused where it is not a finite number inside low..high."""
    array = floats(value)
    # NaN survives min and max and fails both comparisons: one cheap test for the usual, clean case.
    if array.size == 0 or (low <= array.min() and array.max() <= high):
        return array
    refuse(field, np.atleast_1d(~np.isfinite(array)), "is missing or not a number")
    refuse(field, np.atleast_1d((array < low) | (array > high)), f"must lie between {low:g} and {high:g}")
    return array
