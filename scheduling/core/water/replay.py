"""A span of days lived through again by many zones: what the planting needed, what it got, what that did to the soil.

The net depth of a run is its gross depth over the scheduling multiplier: the share above that makes up for
unevenness and goes below the roots where heads overlap, so it counts as lost, never as stored. Runoff is left out:
runs are split into cycles the soil takes in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduling.core.water.advice import Flags, Outlook
from scheduling.core.water.balance import (
    Balance,
    DailyDrive,
    GivenIrrigation,
    Irrigation,
    IrrigationByAdvice,
    IrrigationByNeed,
    ZoneSoil,
    soil_water_balance,
)
from scheduling.core.water.checks import Array, WaterInputError
from scheduling.core.water.season import ZoneSeason, litres_for

MIDDLE_OF_A_CYCLE = 0.5  # of RAW: where a watered zone stands on an ordinary day, common practice


@dataclass(frozen=True)
class Days:
    """Reference ET and rain of consecutive days, mm: (days,) or (days, stations); no NaN.

    `filled` counts the days on which a normal stands in for a silent station.
    """

    dates: NDArray[np.datetime64]
    et_mm: Array
    rain_mm: Array
    filled: int = 0

    @property
    def month_row(self) -> NDArray[np.int64]:
        """0 for January, by day."""
        return self.dates.astype("datetime64[M]").astype(np.int64) % 12


@dataclass(frozen=True)
class Ground:
    """Zones as the balance sees them: (zones,), but plant_factor and growing (12, zones), January first.

    litres_per_min is NaN where neither flow nor area is known.
    """

    taw_mm: Array
    mad: Array
    plant_factor: Array
    growing: Flags
    rate_mm_h: Array
    multiplier: Array
    litres_per_min: Array

    @property
    def raw_mm(self) -> Array:
        """Readily available water."""
        return self.mad * self.taw_mm

    @property
    def litres_per_mm(self) -> Array:
        """Litres that a net depth of 1 mm takes; NaN where neither flow nor area is known."""
        return self.litres_per_min * 60.0 * self.multiplier / self.rate_mm_h


def ground_of(seasons: Sequence[ZoneSeason]) -> Ground:
    """The zones' soil and emitters. Where a planting is new, the root zone of December counts for the year."""
    if not seasons:
        raise WaterInputError("zones", "at least one is needed")
    flows = [litres_for(season.zone, 1.0) for season in seasons]
    return Ground(
        taw_mm=np.array([season.taw_mm[-1] for season in seasons]),
        mad=np.array([season.zone.mad.value for season in seasons]),
        plant_factor=np.array([[month.plant_factor for month in season.months] for season in seasons]).T,
        growing=np.array(
            [[month.zero_because != "out of season" for month in season.months] for season in seasons]
        ).T,
        rate_mm_h=np.array([season.zone.rate.value_mm_h for season in seasons]),
        multiplier=np.array([season.zone.multiplier for season in seasons]),
        litres_per_min=np.array([np.nan if flow is None else flow for flow in flows]),
    )


@dataclass(frozen=True)
class Replay:
    """Days x zones: the balance, and the water put down for it as minutes, gross mm and litres (NaN: not known)."""

    days: Days
    ground: Ground
    balance: Balance
    minutes: Array
    gross_mm: Array

    @property
    def litres(self) -> Array:
        """Water of each day and zone."""
        return self.minutes * self.ground.litres_per_min

    @property
    def growing(self) -> Flags:
        """Whether plants use water on the day, (days, zones)."""
        return self.ground.growing[self.days.month_row]

    @property
    def stress(self) -> Flags:
        """Days in the growing months that began with depletion beyond RAW."""
        return (self.balance.ks < 1.0) & self.growing

    @property
    def lost_irrigation_mm(self) -> Array:
        """Irrigation that went below the roots: what overfilled the soil, and what unevenness cost."""
        overfilled = np.minimum(self.balance.deep_percolation_mm, self.balance.irrigation_mm)
        return overfilled + (self.gross_mm - self.balance.irrigation_mm)

    @property
    def lost_rain_mm(self) -> Array:
        """Rain that went below the roots."""
        return np.maximum(self.balance.deep_percolation_mm - self.balance.irrigation_mm, 0.0)

    @property
    def lost_irrigation_l(self) -> Array:
        """The lost irrigation in litres: its share of the gross depth times the water put down."""
        share = np.divide(
            self.lost_irrigation_mm, self.gross_mm, out=np.zeros_like(self.gross_mm), where=self.gross_mm > 0
        )
        return share * self.litres

    @property
    def displaced_mm(self) -> Array:
        """Irrigation that was given for nothing: rain that followed found it still in the soil and ran through."""
        still = np.zeros(self.gross_mm.shape[1])
        displaced, lost = np.zeros_like(self.gross_mm), self.lost_rain_mm
        for day in range(len(displaced)):
            still = still + self.balance.irrigation_mm[day] - self.balance.eta_mm[day]
            displaced[day] = np.minimum(np.maximum(still, 0.0), lost[day])
            still = np.maximum(still - displaced[day], 0.0)
        return displaced

    @property
    def displaced_l(self) -> Array:
        """The same in litres."""
        return self.displaced_mm * self.ground.litres_per_mm


def replay_given(ground: Ground, days: Days, minutes: Array, start_mm: Array | None = None) -> Replay:
    """With run times as they were, (days, zones) minutes."""
    gross = minutes / 60.0 * ground.rate_mm_h
    balance = _balance(ground, days, GivenIrrigation(gross / ground.multiplier), start_mm)
    return Replay(days, ground, balance, np.asarray(minutes, dtype=float), gross)


def replay_by_need(ground: Ground, days: Days, permitted: Flags, start_mm: Array | None = None) -> Replay:
    """Watered as the planting needs it: refilled on permitted days of growing months before RAW is used up.

    permitted (days,) or (days, zones). Minutes are exact, not rounded to what a controller takes.
    """
    flags = permitted[:, None] if permitted.ndim == 1 else permitted
    asleep = ~ground.growing[days.month_row]
    return _watered(
        ground, days, IrrigationByNeed(np.broadcast_to(flags, asleep.shape), look_ahead=True), start_mm, asleep
    )


def replay_by_advice(
    ground: Ground, days: Days, outlook: Outlook, set_on: Flags, start_mm: Array | None = None
) -> Replay:
    """Watered as advised on the days of `set_on` (days,), each time from the soil as it stood that morning.

    The outlook has the rows of `days` and at least two weeks more. Minutes are exact, not rounded.
    """
    return _watered(ground, days, IrrigationByAdvice(outlook, set_on), start_mm)


def _watered(
    ground: Ground, days: Days, irrigation: Irrigation, start_mm: Array | None, paused: Flags | None = None
) -> Replay:
    balance = _balance(ground, days, irrigation, start_mm, paused)
    gross = balance.irrigation_mm * ground.multiplier
    return Replay(days, ground, balance, 60.0 * gross / ground.rate_mm_h, gross)


def _balance(
    ground: Ground, days: Days, irrigation: Irrigation, start_mm: Array | None, paused: Flags | None = None
) -> Balance:
    station = None
    if days.et_mm.ndim == 2:
        if days.et_mm.shape[1] != len(ground.taw_mm):
            raise WaterInputError("ET", "needs one column a zone")
        station = np.arange(len(ground.taw_mm))
    start = MIDDLE_OF_A_CYCLE * ground.raw_mm if start_mm is None else start_mm
    return soil_water_balance(
        DailyDrive(days.et_mm, days.rain_mm, ground.plant_factor, station=station, factor_row=days.month_row),
        ZoneSoil(ground.taw_mm, ground.mad, start),
        irrigation,
        paused,
    )
