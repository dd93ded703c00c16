"""When to water and how much: many zones at once, looking ahead over the days of the coming week.

A zone is watered on the last permitted day before its depletion would pass the readily available water. Two things
could make it pass: the days stay dry and warmer than usual, or they bring the rain that is counted and are warmer and
drier than usual by as much. The milder of the two decides. It is refilled to field capacity, less the rain counted
for the rest of the week.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scheduling.core.water.checks import Array, WaterInputError, complete

Flags = NDArray[np.bool_]
DAYS = 7
# How much of the rain that normals promise is counted. Rain comes in lumps, and what falls on a soil just watered
# runs through. No source: of a fifth to a half, tried on four recorded years, about a third lost least.
RAIN_SHARE = 0.3
# Kept in hand: a standard deviation of the station's weeks, so that five weeks in six end above the limit.
MARGIN_SD = 1.0
# Of the readily available water: a run of less only wets the top. Set for days yet to come it is given only where
# the expected weather asks for it, not for what is kept in hand. Common practice, no source.
SMALL_SHARE = 0.4


@dataclass(frozen=True)
class Outlook:
    """What the coming days are expected to bring; every array of shape (days, zones), mm.

    rain_mm is the part that is counted. demand_sd_mm and net_sd_mm are the standard deviations of a week's demand,
    and of demand less rain, around what is expected. raw_mm is the depletion allowed on the day. `permitted` are
    the days on which the site may water, `in_season` those on which plants want it and its water is on. The rows
    reach at least a week beyond the last day to be planned.
    """

    demand_mm: Array
    rain_mm: Array
    demand_sd_mm: Array
    net_sd_mm: Array
    raw_mm: Array
    permitted: Flags
    in_season: Flags

    def __post_init__(self) -> None:
        shape = np.shape(self.demand_mm)
        for field in ("demand_mm", "rain_mm", "demand_sd_mm", "net_sd_mm", "raw_mm"):
            if complete(field, getattr(self, field), 0).shape != shape:
                raise WaterInputError(field, "needs the days and zones of the demand")
        for field in ("permitted", "in_season"):
            if np.shape(getattr(self, field)) != shape:
                raise WaterInputError(field, "needs the days and zones of the demand")

    @cached_property
    def until_next(self) -> tuple[Array, Array, Array, Array]:
        """From each day to the eve of the next permitted one: days, demand, and two figures of the rain counted.

        Depletion D becomes max(D + gain, rest) by then: what exceeds field capacity on the way runs through.
        """
        days, demand, gain, rest = (np.empty(self.demand_mm.shape) for _ in range(4))
        following = [np.zeros(self.demand_mm.shape[1]) for _ in range(4)]
        for day in range(len(demand) - 1, -1, -1):
            net = self.demand_mm[day] - self.rain_mm[day]
            days[day] = following[0] + 1.0
            demand[day] = following[1] + self.demand_mm[day]
            gain[day] = following[2] + net
            rest[day] = np.maximum(following[2], following[3])
            ends = self.permitted[day]
            following = [np.where(ends, 0.0, found[day]) for found in (days, demand, gain, rest)]
        return days, demand, gain, rest

    @cached_property
    def rain_before(self) -> Array:
        """Rain counted on all days before each row, (days + 1, zones)."""
        return np.concatenate([np.zeros((1, self.rain_mm.shape[1])), np.cumsum(self.rain_mm, axis=0)])


@dataclass(frozen=True)
class Waterings:
    """The days planned, (days, zones) mm: what stands in the soil each morning and what is given.

    depletion_mm with the rain counted, dry_mm without any; reaches_mm is what is set against raw_mm: the depletion
    by the eve of the next permitted day, with what is kept in hand. room_mm is left for rain. depth_mm is 0 where
    nothing is given.
    """

    depletion_mm: Array
    dry_mm: Array
    reaches_mm: Array
    raw_mm: Array
    room_mm: Array
    depth_mm: Array

    @property
    def count(self) -> NDArray[np.int64]:
        """Waterings of each zone."""
        return np.count_nonzero(self.depth_mm > 0, axis=0)


def plan_waterings(
    outlook: Outlook,
    depletion_mm: Array,
    *,
    first: int = 0,
    days: int = DAYS,
    least_mm: Array | float = 0.0,
    program: NDArray[np.int64] | None = None,
) -> Waterings:
    """The waterings of `days` days from row `first`, from the depletion of that morning, (zones,) mm.

    A zone gets the same depth each time, as a controller's program gives it: never more than its soil has room for
    on any of the days. A depth below least_mm is not given. Zones of one `program`, numbered from 0 and -1 for a zone
    by itself, are watered together, on the last permitted day for any of them.
    """
    depletion = complete("depletion", depletion_mm, 0)
    if depletion.shape != outlook.demand_mm.shape[1:]:
        raise WaterInputError("depletion", "needs one figure a zone")
    shared = None if program is None or not (program >= 0).any() else program
    plan = _one_pass(outlook, depletion, first, days, least_mm, shared, np.full_like(depletion, np.inf))
    if days == 1 or (plan.count < 2).all():
        return plan
    plan = _one_pass(outlook, depletion, first, days, least_mm, shared, np.where(plan.count > 1, _mean(plan), np.inf))
    return _even(outlook, plan, depletion, first)


def _one_pass(
    outlook: Outlook,
    depletion: Array,
    first: int,
    days: int,
    least_mm: Array | float,
    program: NDArray[np.int64] | None,
    most_mm: Array,
) -> Waterings:
    plan = Waterings(*(np.zeros((days, len(depletion))) for _ in range(6)))
    end = min(first + max(days, DAYS), len(outlook.rain_mm))
    expected, dry = depletion, depletion
    for day in range(days):
        row = first + day
        likely, reaches = _reaches(outlook, day, row, expected, dry)
        room = outlook.rain_before[end] - outlook.rain_before[row]
        wanted = (reaches > outlook.raw_mm[row]) & outlook.permitted[row] & outlook.in_season[row]
        depth = np.minimum(np.maximum(expected - room, 0.0), most_mm)
        worth = (depth >= SMALL_SHARE * outlook.raw_mm[row]) | (likely > outlook.raw_mm[row]) | (days == 1)
        wanted &= worth & (depth >= least_mm)
        if program is not None:
            wanted = _together(wanted, program)
        depth = np.where(wanted & (depth >= least_mm), depth, 0.0)
        for field, found in zip(
            (plan.depletion_mm, plan.dry_mm, plan.reaches_mm, plan.raw_mm, plan.room_mm, plan.depth_mm),
            (expected, dry, reaches, outlook.raw_mm[row], room, depth),
            strict=True,
        ):
            field[day] = found
        expected = np.maximum(expected - depth + outlook.demand_mm[row] - outlook.rain_mm[row], 0.0)
        dry = dry - depth + outlook.demand_mm[row]
    return plan


def _together(wanted: Flags, program: NDArray[np.int64]) -> Flags:
    """Watered where any zone of the program is to be."""
    member = program >= 0
    by_program = np.bincount(program[member], weights=wanted[member]) > 0
    together = wanted.copy()
    together[member] = by_program[program[member]]
    return together


def _mean(plan: Waterings) -> Array:
    return plan.depth_mm.sum(axis=0) / np.maximum(plan.count, 1)


def _even(outlook: Outlook, plan: Waterings, depletion: Array, first: int) -> Waterings:
    """The same days with one depth: the mean, or what the soil takes on the day with least room."""
    given, mean = plan.depth_mm > 0, _mean(plan)
    most, expected = mean.copy(), depletion
    for day in range(len(given)):
        most = np.where(given[day], np.minimum(most, expected), most)
        expected = np.maximum(expected - np.where(given[day], mean, 0.0) + _net(outlook, first + day), 0.0)
    depth = np.where(given, most, 0.0)
    return follow(outlook, plan, depletion, depth, first=first)


def follow(outlook: Outlook, plan: Waterings, depletion: Array, depth: Array, *, first: int = 0) -> Waterings:
    """What stands in the soil when `depth` (days, zones) mm is given, whatever the plan had."""
    stands, dry, reaches = np.empty_like(depth), np.empty_like(depth), np.empty_like(depth)
    expected, without = depletion, depletion
    for day in range(len(depth)):
        stands[day], dry[day] = expected, without
        reaches[day] = _reaches(outlook, day, first + day, expected, without)[1]
        expected = np.maximum(expected - depth[day] + _net(outlook, first + day), 0.0)
        without = without - depth[day] + outlook.demand_mm[first + day]
    return Waterings(stands, dry, reaches, plan.raw_mm, plan.room_mm, depth)


def _reaches(outlook: Outlook, day: int, row: int, expected: Array, dry: Array) -> tuple[Array, Array]:
    """The depletion by the eve of the next permitted day, as is likely and with what is kept in hand."""
    ahead_days, ahead_demand, ahead_gain, ahead_rest = outlook.until_next
    weeks = np.sqrt((day + ahead_days[row]) / DAYS)
    without_rain = dry + ahead_demand[row] + MARGIN_SD * outlook.demand_sd_mm[row] * weeks
    likely = np.maximum(expected + ahead_gain[row], ahead_rest[row])
    return likely, np.minimum(without_rain, likely + MARGIN_SD * outlook.net_sd_mm[row] * weeks)


def _net(outlook: Outlook, row: int) -> Array:
    return outlook.demand_mm[row] - outlook.rain_mm[row]
