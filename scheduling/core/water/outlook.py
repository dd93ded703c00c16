"""What zones are expected to use in the days to come, from what is expected of the weather."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduling.core.water.advice import DAYS, RAIN_SHARE, Flags, Outlook
from scheduling.core.water.checks import Array, WaterInputError
from scheduling.core.water.climate import Climatology, daily_normals
from scheduling.core.water.replay import Ground
from scheduling.core.water.soil import allowed_share

DAYS_BEYOND = 35  # rows behind the last planned day: longer than any gap between permitted days


@dataclass(frozen=True)
class Expected:
    """Weather expected of consecutive days, mm: (days,) or (days, zones).

    rain_mm is what is expected, counted_rain_mm the part of it that is counted. The standard deviations are of a
    week's sums around what is expected.
    """

    dates: NDArray[np.datetime64]
    et_mm: Array
    rain_mm: Array
    counted_rain_mm: Array
    week_sd_et_mm: Array
    week_sd_rain_mm: Array

    @property
    def month_row(self) -> NDArray[np.int64]:
        """0 for January, by day."""
        return self.dates.astype("datetime64[M]").astype(np.int64) % 12


def by_normals(climate: Climatology, dates: NDArray[np.datetime64]) -> Expected:
    """A station's normals of the days, of whose rain a share is counted."""
    month = dates.astype("datetime64[M]").astype(np.int64) % 12
    rain = daily_normals(climate.rain_mm.mean, dates)
    return Expected(
        dates,
        daily_normals(climate.et_mm.mean, dates),
        rain,
        RAIN_SHARE * rain,
        climate.week_sd_et_mm[month],
        climate.week_sd_rain_mm[month],
    )


def days_and_beyond(dates: NDArray[np.datetime64]) -> NDArray[np.datetime64]:
    """The days and as many behind them as an outlook needs."""
    return np.arange(dates[0], dates[-1] + 1 + DAYS + DAYS_BEYOND)


def by_normals_of_each_year(climates: Mapping[int, Climatology], dates: NDArray[np.datetime64]) -> Expected:
    """The normals known for each calendar year, and a stretch beyond the last day by those of its year."""
    span = days_and_beyond(dates)
    years = np.minimum(span, dates[-1]).astype("datetime64[Y]").astype(int) + 1970
    parts = [by_normals(climates[year], span[years == year]) for year in np.unique(years).tolist()]
    columns = ("et_mm", "rain_mm", "counted_rain_mm", "week_sd_et_mm", "week_sd_rain_mm")
    return Expected(span, *(np.concatenate([getattr(part, name) for part in parts]) for name in columns))


def outlook_of(
    ground: Ground, expected: Expected, permitted: Flags, largest_depth_mm: Array | float = np.inf
) -> Outlook:
    """What the zones of the ground are expected to use; permitted (days,) or (days, zones).

    A zone is let dry out no further than largest_depth_mm, what one night can put down again.
    """
    zones = len(ground.taw_mm)
    et, rain, sd_et, sd_rain = (
        values[:, None] if values.ndim == 1 else values
        for values in (expected.et_mm, expected.counted_rain_mm, expected.week_sd_et_mm, expected.week_sd_rain_mm)
    )
    flags = permitted[:, None] if permitted.ndim == 1 else permitted
    shape = (len(expected.dates), zones)
    if len(flags) != len(expected.dates):
        raise WaterInputError("permitted", "needs the days of the outlook")
    factor = ground.plant_factor[expected.month_row]
    demand = factor * et
    return Outlook(
        demand_mm=demand,
        rain_mm=np.broadcast_to(rain, shape),
        demand_sd_mm=factor * sd_et,
        net_sd_mm=np.hypot(factor * sd_et, sd_rain),
        raw_mm=np.minimum(allowed_share(ground.mad, demand) * ground.taw_mm, largest_depth_mm),
        permitted=np.broadcast_to(flags, shape),
        in_season=ground.growing[expected.month_row],
    )
