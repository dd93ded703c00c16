"""Meter readings into use: rollover, replaced meters, estimated readings, and leaks that run at night."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from scheduling.core.water.checks import WaterInputError
from sites.core import writing


@dataclass(frozen=True)
class Reading:
    """One reading of a counter; `series` changes with a new meter, `estimated` marks readings nobody took."""

    at: dt.datetime
    value: float
    series: str = ""
    estimated: bool = False


@dataclass(frozen=True)
class Use:
    """Use between two neighbouring readings in counter units times the multiplier.

    `use` is None where it cannot be told; `remark` says why or what was assumed.
    """

    start: dt.datetime
    end: dt.datetime
    use: float | None
    estimated: bool
    remark: str = ""

    @property
    def days(self) -> float:
        """Length in days."""
        return (self.end - self.start).total_seconds() / 86400.0


def rollover_use(before: float, after: float, digits: int) -> float:
    """Counter units used when the counter may have passed its end: (r2 - r1) mod 10^digits."""
    return (after - before) % 10.0**digits


def consumption(
    readings: Sequence[Reading], digits: int, largest_use_per_day: float, multiplier: float = 1.0
) -> tuple[Use, ...]:
    """Use between each pair of readings, in time order.

    A falling counter counts as rolled over only if that use stays below `largest_use_per_day` (counter
    units); otherwise it is not told. A new series (meter change) starts afresh. Two readings at one instant are
    refused.
    """
    ordered = sorted(readings, key=lambda reading: reading.at)
    uses = []
    for before, after in zip(ordered, ordered[1:], strict=False):
        if after.at == before.at:
            raise WaterInputError("readings", f"two readings at {writing.day_time(after.at)}")
        for reading in (before, after):
            if not 0 <= reading.value < 10.0**digits:
                raise WaterInputError("readings", f"{reading.value:g} does not fit a counter of {digits} digits")
        estimated = before.estimated or after.estimated
        use, remark = _units(before, after, digits, largest_use_per_day)
        value = None if use is None else use * multiplier
        uses.append(Use(before.at, after.at, value, estimated, remark))
    return tuple(uses)


def _units(before: Reading, after: Reading, digits: int, largest_per_day: float) -> tuple[float | None, str]:
    if before.series != after.series:
        return None, "meter changed: needs the last reading of the old and the first of the new meter"
    if after.value >= before.value:
        return after.value - before.value, ""
    used = rollover_use(before.value, after.value, digits)
    days = (after.at - before.at).total_seconds() / 86400.0
    if used <= largest_per_day * days:
        return used, "counter rolled over"
    if before.estimated:
        return None, "the estimated reading before was too high"
    return None, "the counter fell: readings or meter to be checked"


def leak_rate_l_h(before_m3: float, after_m3: float, hours: float) -> float:
    """Leak in litres an hour from two readings with all valves closed and no other use."""
    if hours <= 0:
        raise WaterInputError("hours", "must be above 0")
    if after_m3 < before_m3:
        raise WaterInputError("readings", "the second is below the first")
    return 1000.0 * (after_m3 - before_m3) / hours


@dataclass(frozen=True)
class LeakCheck:
    """A leak test between two readings; `tellable` is False where the meter could not have shown it."""

    litres_per_hour: float
    m3_per_month: float
    smallest_tellable_l_h: float

    @property
    def month_l(self) -> float:
        """Litres of a month at this rate."""
        return 1000.0 * self.m3_per_month

    @property
    def tellable(self) -> bool:
        """The movement is more than the counter's last digit."""
        return self.litres_per_hour > self.smallest_tellable_l_h


def leak_check(before_m3: float, after_m3: float, hours: float, resolution_m3: float) -> LeakCheck:
    """Leak rate with the smallest rate the counter's resolution can show in that time."""
    rate = leak_rate_l_h(before_m3, after_m3, hours)
    return LeakCheck(rate, rate * 24.0 * 30.4 / 1000.0, 1000.0 * resolution_m3 / hours)


# Reads further apart are no longer taken around one night: common practice, no source.
LONGEST_NIGHT_H = 16.0


def counter_step(counters: Sequence[Decimal]) -> float:
    """The finest step the readings were written down in, counter units: 1 where all are whole numbers."""
    places = [-int(counter.normalize().as_tuple().exponent) for counter in counters]
    return 10.0 ** -max([0, *places])


def overnight(
    before: Reading, after: Reading, digits: int, largest_use_per_day: float, litres_per_unit: float, step: float
) -> LeakCheck | None:
    """The flow between an evening's and the next morning's reading, with what these could have shown at all.

    Each reading may be off by one `step` of the counter, so a difference of a step is nothing. None where they are
    estimated, too far apart, or do not tell the use.
    Source: definition; the check value is our own.
    """
    hours = (after.at - before.at).total_seconds() / 3600.0
    if before.estimated or after.estimated or not 0 < hours <= LONGEST_NIGHT_H:
        return None
    (use,) = consumption([before, after], digits, largest_use_per_day)
    if use.use is None:
        return None
    step_m3 = step * litres_per_unit / 1000.0
    return leak_check(0.0, round(use.use / step) * step_m3, hours, step_m3)


# Off-season use a day above this share of the season's use a day is suspicious: common practice, no source.
SUSPICIOUS_OFF_SEASON_SHARE = 0.10


def suspects_leak(off_season: Sequence[Use], in_season: Sequence[Use], base_use_per_day: float = 0.0) -> bool | None:
    """True where the water runs on when nothing should be irrigated; None where the readings do not tell.

    Uses measured readings only; `base_use_per_day` (indoor use) is taken off first.
    """
    quiet, busy = (
        [use for use in uses if use.use is not None and not use.estimated] for uses in (off_season, in_season)
    )
    if not quiet or not busy:
        return None
    quiet_rate, busy_rate = (
        sum(use.use or 0.0 for use in uses) / sum(use.days for use in uses) - base_use_per_day
        for uses in (quiet, busy)
    )
    return quiet_rate > SUSPICIOUS_OFF_SEASON_SHARE * max(busy_rate, 0.0) and quiet_rate > 0


# How far the litres of one zone may be off, by where its flow comes from: common practice, no source.
UNSURE_SHARE = {"measured": 0.08, "register": 0.20, "default": 0.40}
COMMON_SHARE = 0.05  # what moves all zones together: pressure, the meter itself; common practice, no source


def expected_band(litres: Sequence[float], origins: Sequence[str]) -> tuple[float, float]:
    """Lowest and highest litres a meter may honestly show where `litres` by zone are expected.

    Zones err by themselves, so their errors add as squares; what moves them all adds in full. Origins are those of
    the zones' flows: "measured", "register", "default".
    """
    total = sum(litres)
    own = sum((UNSURE_SHARE[origin] * each) ** 2 for each, origin in zip(litres, origins, strict=True)) ** 0.5
    width = own + COMMON_SHARE * total
    return max(0.0, total - width), total + width
