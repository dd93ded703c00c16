"""From planned water to used water: what could not run, what ran beside the plan, and the rest nobody explains.

Definitions of our own; the check values in the tests are recomputed by hand.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduling.core.water.checks import Array, WaterInputError


@dataclass(frozen=True)
class Losses:
    """Litres of a span. Each part is taken off what the parts before it left, so that they add up:

    `planned_l` - `off_l` - `paused_l` + `set_otherwise_l` - sum of `stopped_l` = `expected_l`.
    """

    planned_l: float
    off_l: float
    paused_l: float
    set_otherwise_l: float
    stopped_l: tuple[float, ...]
    expected_l: float


def losses(
    planned_l: Array, as_set_l: Array, on: np.ndarray, paused: np.ndarray, stopped: Sequence[np.ndarray]
) -> Losses:
    """What of the plan could run.

    planned_l, as_set_l: (days, zones) litres as published and as set at the controllers, NaN where a zone's flow is
    not known; such a zone counts nothing. on, paused: (days,) whether the site is on, and paused. stopped: for each
    fault (days, zones) where it stops the water; a day and zone stopped twice counts for the first.
    """
    if planned_l.shape != as_set_l.shape or on.shape != (planned_l.shape[0],) or paused.shape != on.shape:
        raise WaterInputError("water", "days and zones must agree")
    unknown = np.isnan(planned_l).any(axis=0) | np.isnan(as_set_l).any(axis=0)
    plan = np.where(unknown, 0.0, planned_l)
    ran = np.where(unknown, 0.0, as_set_l)
    live = on & ~paused
    left = ran * live[:, None]
    stops = []
    for where in stopped:
        stops.append(float(left[where].sum()))
        left = np.where(where, 0.0, left)
    return Losses(
        planned_l=float(plan.sum()),
        off_l=float(plan[~on].sum()),
        paused_l=float(plan[on & paused].sum()),
        set_otherwise_l=float((ran - plan)[live].sum()),
        stopped_l=tuple(stops),
        expected_l=float(left.sum()),
    )


def spread_over_days(use_l: float, expected_l: Array) -> Array:
    """The use between two readings day by day: as the schedule would have it, evenly where it expects nothing."""
    total = float(expected_l.sum())
    if total > 0:
        return use_l * expected_l / total
    return np.full(len(expected_l), use_l / len(expected_l))


def used_by_day(metered_l: Array, expected_l: Array) -> Array:
    """The meter where it tells the day, what is expected elsewhere; metered_l is NaN where it does not tell."""
    return np.where(np.isnan(metered_l), expected_l, metered_l)


def net_need_mm(et_mm: Array, rain_mm: Array, month_row: np.ndarray, days: np.ndarray) -> float:
    """ET less rain over the chosen days, month by month and never below nothing: a wet winter waters no summer."""
    short = np.bincount(month_row[days], weights=(et_mm - rain_mm)[days], minlength=12)
    return float(np.maximum(short, 0.0).sum())
