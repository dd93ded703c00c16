"""Geometry of the water charts, drawn on the server: numbers in, places on the drawing out. No colour, no units.

What a line means is told by its style and its label as well as by its colour; every figure stands in a table beside.
"""

from __future__ import annotations

import calendar
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scheduling.core.water.checks import Array

LEFT, RIGHT, TOP = 62, 12, 16
PANEL, GAP, FOOT = 190, 34, 26
WIDTH = 960
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True)
class Tick:
    """A mark on an axis: where, and what stands there."""

    at: float
    label: str


@dataclass(frozen=True)
class Bar:
    """A rectangle of the drawing; `label` tells its figure."""

    x: float
    y: float
    width: float
    height: float
    label: str = ""


def nice_ticks(largest: float, wanted: int = 4) -> list[float]:
    """About `wanted` round values from 0 up to the first at or above `largest`."""
    if largest <= 0:
        return [0.0, 1.0]
    power = 10.0 ** math.floor(math.log10(largest / wanted))
    step = next(each * power for each in STEPS if each * power * wanted >= largest)
    return [step * number for number in range(math.ceil(largest / step - 1e-9) + 1)]


@dataclass(frozen=True)
class SeasonChart:
    """Two panels over one time axis: a week's rain, irrigation and ET above, the soil's depletion below.

    `points` are SVG polyline points. In the lower panel 0 lies at the top: the deeper the line, the drier the soil.
    `stress` are the spans in which depletion was beyond the readily available water.
    """

    width: int
    height: int
    left: int
    right: int
    months: tuple[Tick, ...]
    depth_ticks: tuple[Tick, ...]
    depletion_ticks: tuple[Tick, ...]
    rain: tuple[Bar, ...]
    irrigation: tuple[Bar, ...]
    et_points: str
    depletion_points: str
    raw_y: float
    stress: tuple[Bar, ...]
    upper: Bar
    lower: Bar


def season_chart(
    dates: NDArray[np.datetime64],
    et_mm: Array,
    rain_mm: Array,
    irrigation_mm: Array,
    depletion_mm: Array,
    raw_mm: float,
    taw_mm: float,
    stress: NDArray[np.bool_],
    unit_mm: float = 1.0,
) -> SeasonChart:
    """The chart of one zone's days (n,); `unit_mm` is the shown unit of depth, so that its ticks are round."""
    days = len(dates)
    inner = WIDTH - LEFT - RIGHT
    per_day = inner / max(days, 1)
    starts = range(0, days, 7)
    weekly = [np.array([each[at : at + 7].sum() for at in starts]) for each in (rain_mm, irrigation_mm, et_mm)]
    ticks = nice_ticks(max(float(each.max()) for each in weekly) / unit_mm)
    scale = PANEL / (ticks[-1] * unit_mm)
    floor, second = TOP + PANEL, TOP + PANEL + GAP
    soil_scale = PANEL / taw_mm
    soil_ticks = [tick for tick in nice_ticks(taw_mm / unit_mm) if tick * unit_mm <= taw_mm * 1.001]

    def bars(values: Array, offset: float) -> tuple[Bar, ...]:
        found = []
        for at, value in zip(starts, values.tolist(), strict=True):
            share = min(7, days - at) / 7  # a week that is not over has narrower bars, inside the frame
            place = LEFT + (at + offset * share) * per_day
            found.append(Bar(place, floor - value * scale, 7 * per_day * 0.4 * share, value * scale))
        return tuple(bar for bar in found if bar.height > 0)

    middles = [LEFT + min(at + 3.5, days) * per_day for at in starts]
    return SeasonChart(
        width=WIDTH,
        height=second + PANEL + FOOT,
        left=LEFT,
        right=WIDTH - RIGHT,
        months=_months(dates, per_day),
        depth_ticks=tuple(Tick(floor - tick * unit_mm * scale, f"{tick:g}") for tick in ticks),
        depletion_ticks=tuple(Tick(second + tick * unit_mm * soil_scale, f"{tick:g}") for tick in soil_ticks),
        rain=bars(weekly[0], 0.4),
        irrigation=bars(weekly[1], 3.4),
        et_points=_points(middles, floor - weekly[2] * scale),
        depletion_points=_points(LEFT + (np.arange(days) + 1) * per_day, second + depletion_mm * soil_scale),
        raw_y=second + raw_mm * soil_scale,
        stress=_spans(stress, per_day, second),
        upper=Bar(LEFT, TOP, inner, PANEL),
        lower=Bar(LEFT, second, inner, PANEL),
    )


def _points(xs: ArrayLike, ys: ArrayLike) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in zip(np.asarray(xs), np.asarray(ys), strict=True))


def _months(dates: NDArray[np.datetime64], per_day: float) -> tuple[Tick, ...]:
    ticks = []
    for place, date in enumerate(dates.tolist()):
        if date.day == 1:
            ticks.append(Tick(LEFT + place * per_day, calendar.month_abbr[date.month]))
    return tuple(ticks)


def _spans(flags: NDArray[np.bool_], per_day: float, top: float) -> tuple[Bar, ...]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    return tuple(
        Bar(LEFT + start * per_day, top, (end - start) * per_day, PANEL, f"{end - start} days")
        for start, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    )


@dataclass(frozen=True)
class MonthBars:
    """Two bars a month, what was used and what was allowed, with a scale."""

    width: int
    height: int
    left: int
    right: int
    floor: int
    used: tuple[Bar, ...]
    allowed: tuple[Bar, ...]
    months: tuple[Tick, ...]
    ticks: tuple[Tick, ...]


def month_bars(used: Sequence[float], allowed: Sequence[float]) -> MonthBars:
    """Twelve months each, any unit (the shown one): used beside allowed."""
    inner, floor = WIDTH - LEFT - RIGHT, TOP + PANEL
    slot = inner / 12
    ticks = nice_ticks(max(*used, *allowed, 0.0))
    scale = PANEL / ticks[-1]

    def bars(values: Sequence[float], offset: float) -> tuple[Bar, ...]:
        return tuple(
            Bar(LEFT + slot * (month + offset), floor - value * scale, slot * 0.36, value * scale, f"{value:.3g}")
            for month, value in enumerate(values)
        )

    return MonthBars(
        width=WIDTH,
        height=floor + FOOT,
        left=LEFT,
        right=WIDTH - RIGHT,
        floor=floor,
        used=bars(used, 0.1),
        allowed=bars(allowed, 0.52),
        months=tuple(Tick(LEFT + slot * (month + 0.5), calendar.month_abbr[month + 1]) for month in range(12)),
        ticks=tuple(Tick(floor - tick * scale, f"{tick:g}") for tick in ticks),
    )


@dataclass(frozen=True)
class GroupedBars:
    """Bars side by side in groups, one series a way of watering, with a scale."""

    width: int
    height: int
    left: int
    right: int
    series: tuple[tuple[Bar, ...], ...]
    groups: tuple[Tick, ...]
    ticks: tuple[Tick, ...]


def grouped_bars(series: Sequence[Sequence[float]], groups: Sequence[str]) -> GroupedBars:
    """Every series has a value a group, any unit (the shown one)."""
    inner, floor = WIDTH - LEFT - RIGHT, TOP + PANEL
    slot, share = inner / len(groups), 0.8 / len(series)
    ticks = nice_ticks(max((value for values in series for value in values), default=0.0))
    scale = PANEL / ticks[-1]
    return GroupedBars(
        width=WIDTH,
        height=floor + FOOT,
        left=LEFT,
        right=WIDTH - RIGHT,
        series=tuple(
            tuple(
                Bar(
                    LEFT + slot * (group + 0.1 + share * place),
                    floor - value * scale,
                    slot * share * 0.9,
                    value * scale,
                    f"{value:.3g}",
                )
                for group, value in enumerate(values)
            )
            for place, values in enumerate(series)
        ),
        groups=tuple(Tick(LEFT + slot * (group + 0.5), label) for group, label in enumerate(groups)),
        ticks=tuple(Tick(floor - tick * scale, f"{tick:g}") for tick in ticks),
    )
