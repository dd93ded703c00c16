"""The coming week's watering of zones, from the soil's state this morning and what is expected of the days ahead.

Today is no day to water on: what is set today runs from tonight on. So the seven days from tomorrow are planned.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from scheduling.core.water.advice import DAYS, Flags, Outlook, Waterings, follow, plan_waterings
from scheduling.core.water.checks import Array, WaterInputError, complete
from scheduling.core.water.climate import Climatology
from scheduling.core.water.outlook import DAYS_BEYOND, Expected, by_normals, outlook_of
from scheduling.core.water.rain import DEFAULT_RAIN_FRACTION
from scheduling.core.water.replay import Ground, ground_of
from scheduling.core.water.season import MOST_WEEKS_APART, ZoneSeason, litres_for, split_run
from scheduling.core.water.sharing import share_days

PLANNED = DAYS + 1  # mornings: today's, on which nothing is given any more, and seven more
MOST_FILLED_DAYS = 3


@dataclass(frozen=True)
class WeekWeather:
    """The coming seven days from today: reference ET and rain in mm, NaN where no forecast was entered.

    rain_chance (7,) is the forecast's probability of that rain, 0 to 1, NaN where it names none. The normals of the
    same days fill what is missing.
    """

    first_day: dt.date
    et_mm: Array
    rain_mm: Array
    normal_et_mm: Array
    normal_rain_mm: Array
    rain_chance: Array = field(default_factory=lambda: np.full(DAYS, np.nan))

    def __post_init__(self) -> None:
        for name in ("et_mm", "rain_mm", "normal_et_mm", "normal_rain_mm", "rain_chance"):
            if np.shape(getattr(self, name)) != (DAYS,):
                raise WaterInputError(name, "seven days are needed")
        complete("normal ET", self.normal_et_mm, 0)
        complete("normal rain", self.normal_rain_mm, 0)
        complete("rain chance", np.nan_to_num(self.rain_chance), 0, 1)

    @property
    def filled_days(self) -> tuple[dt.date, ...]:
        """Days of which at least one value is the normal."""
        silent = np.isnan(self.et_mm) | np.isnan(self.rain_mm)
        return tuple(self.first_day + dt.timedelta(days=int(day)) for day in np.flatnonzero(silent))

    @property
    def days_entered(self) -> int:
        """Days for which somebody entered ET or rain."""
        return int(np.count_nonzero(~(np.isnan(self.et_mm) & np.isnan(self.rain_mm))))


def expected_days(climate: Climatology, week: WeekWeather) -> Expected:
    """The coming days: the forecast where one was entered, the normals for the others and beyond.

    Of forecast rain its probability is counted, half where the forecast names none (common practice).
    """
    dates = np.datetime64(week.first_day) + np.arange(PLANNED + DAYS_BEYOND)
    found = by_normals(climate, dates)
    et, rain, counted = found.et_mm.copy(), found.rain_mm.copy(), found.counted_rain_mm.copy()
    et[:DAYS] = np.where(np.isnan(week.et_mm), et[:DAYS], week.et_mm)
    rain[:DAYS] = np.where(np.isnan(week.rain_mm), rain[:DAYS], week.rain_mm)
    chance = np.where(np.isnan(week.rain_chance), DEFAULT_RAIN_FRACTION, week.rain_chance)
    counted[:DAYS] = np.where(np.isnan(week.rain_mm), counted[:DAYS], chance * week.rain_mm)
    complete("forecast ET", et, 0)
    complete("forecast rain", rain, 0)
    return Expected(dates, et, rain, counted, found.week_sd_et_mm, found.week_sd_rain_mm)


@dataclass(frozen=True)
class Morning:
    """One morning of the week as looked ahead from today, mm.

    depletion_mm with the rain counted until then; reaches_mm by the eve of the next day on which the site may water,
    with what is kept in hand; room_mm is left for rain; depth_mm is given.
    """

    date: dt.date
    demand_mm: float
    rain_mm: float
    counted_mm: float
    depletion_mm: float
    reaches_mm: float
    raw_mm: float
    room_mm: float
    depth_mm: float
    may_water: bool


@dataclass(frozen=True)
class ThisWeek:
    """The coming week of a zone; `dates` are its waterings, each of depth_mm net, none where the soil lasts.

    due_on is the next watering, this week's first or one within five weeks. From one watering to the next but one a
    zone may go whole weeks: then it runs every so many weeks. shared_mm is what sharing days with other zones of a
    program adds to the week's depth.
    """

    first_day: dt.date
    mornings: tuple[Morning, ...]
    dates: tuple[dt.date, ...]
    depth_mm: float
    exact_run_time_min: float
    run_time_min: int
    cycles: int
    cycle_min: int
    soak_min: int
    litres: float | None
    due_on: dt.date | None = None
    every_weeks: int = 1
    shared_mm: float = 0.0
    shared_l: float | None = 0.0
    assumed: bool = False
    warnings: tuple[str, ...] = ()

    @property
    def month(self) -> int:
        """The month in which most of the week lies."""
        return (self.first_day + dt.timedelta(days=3)).month

    @property
    def days_per_week(self) -> float:
        """Watering days of an average week, were it to go on so."""
        return len(self.dates) / self.every_weeks

    @property
    def exact_run_time_min_per_week(self) -> float:
        """Minutes of an average week before rounding."""
        return self.exact_run_time_min * self.days_per_week

    def as_assumed(self) -> ThisWeek:
        """The same from a soil whose watering is not known."""
        return replace(self, assumed=True)

    @property
    def weekdays(self) -> tuple[int, ...]:
        """The weekdays of the waterings, Monday 0."""
        return tuple(sorted(date.weekday() for date in self.dates))


def ahead_of(seasons: Sequence[ZoneSeason], expected: Expected, permitted: Flags) -> tuple[Ground, Outlook]:
    """The zones' ground and what is expected of their days from today on, on which nothing can be set any more."""
    ground = ground_of(seasons)
    may = permitted.copy()
    may[0] = False
    return ground, outlook_of(ground, expected, may, np.array([season.largest_depth_mm for season in seasons]))


def advise(
    seasons: Sequence[ZoneSeason],
    expected: Expected,
    depletion_mm: Array,
    permitted: Flags,
    controller: NDArray[np.int64],
) -> tuple[ThisWeek, ...]:
    """The week of many zones at once, from this morning's depletion (zones,) and the permitted days (days, zones).

    `expected` begins today. controller (zones,) numbers the controller each zone hangs on, -1 for none: its zones
    share at most three programs. Formulas: `advice.plan_waterings`.
    """
    ground, outlook = ahead_of(seasons, expected, permitted)
    largest = np.array([season.largest_depth_mm for season in seasons])
    depletion = np.minimum(complete("depletion", depletion_mm, 0), ground.taw_mm)
    shortest = np.array([season.zone.shortest_run_min for season in seasons])
    least = shortest / 60.0 * ground.rate_mm_h / ground.multiplier
    alone = plan_waterings(outlook, depletion, days=PLANNED, least_mm=least)
    program = share_days(alone.depth_mm > 0, controller)
    plan = alone
    if (program >= 0).any():
        plan = plan_waterings(outlook, depletion, days=PLANNED, least_mm=least, program=program)
    depth = np.minimum(_on_program_days(plan.depth_mm, program, least), largest)
    plan = follow(outlook, plan, depletion, depth)
    due, gap = _due(outlook, depletion, depth)
    weeks = _whole_weeks(depth > 0, gap, controller)
    more = depth.sum(axis=0) - alone.depth_mm.sum(axis=0)
    dates = expected.dates[:PLANNED].astype(dt.date).tolist()
    found = []
    for zone, season in enumerate(seasons):
        mornings = _mornings(outlook, expected, plan, zone)
        next_and_weeks = int(due[zone]), int(weeks[zone])
        found.append(_week(season, mornings, dates, depth[:, zone], next_and_weeks, float(more[zone])))
    return tuple(found)


def _on_program_days(depth: Array, program: NDArray[np.int64], least: Array) -> Array:
    """Zones of a program run on all of its days, each time a part of what they get in the week."""
    shared = depth.copy()
    for number in np.unique(program[program >= 0]):
        member = (program == number) & (depth > 0).any(axis=0)
        days = np.any(depth[:, member] > 0, axis=1)
        part = np.maximum(depth[:, member].sum(axis=0) / max(days.sum(), 1), least[member])
        shared[:, member] = np.where(days[:, None], part, 0.0)
    return shared


def _due(outlook: Outlook, depletion: Array, depth: Array) -> tuple[Array, Array]:
    """Days from today to the next watering, and from the week's last one to the one after; NaN beyond the outlook."""
    zones = len(depletion)
    due, last, gap = np.full(zones, np.nan), np.full(zones, np.nan), np.full(zones, np.nan)
    expected = depletion
    _, _, gain, rest = outlook.until_next
    for row in range(len(outlook.demand_mm) - DAYS):
        if row < len(depth):
            given = depth[row]
        else:
            passes = np.maximum(expected + gain[row], rest[row]) > outlook.raw_mm[row]
            water = passes & outlook.permitted[row] & outlook.in_season[row]
            given = np.where(water, expected, 0.0)
        water = given > 0
        gap = np.where(water & np.isnan(gap) & ~np.isnan(last) & (row >= len(depth)), row - last, gap)
        last = np.where(water & (row < len(depth)), row, last)
        due = np.where(water & np.isnan(due), row, due)
        expected = np.maximum(expected - given + outlook.demand_mm[row] - outlook.rain_mm[row], 0.0)
    return np.where(np.isnan(due), -1, due), gap


def _whole_weeks(given: Flags, gap: Array, controller: NDArray[np.int64]) -> NDArray[np.int64]:
    """Every how many weeks a zone watered once is due; zones of a controller on the same day go together."""
    far = np.where(np.isnan(gap), 7.0 * MOST_WEEKS_APART, gap)
    weeks = np.clip(far // 7, 1, MOST_WEEKS_APART).astype(np.int64)
    weeks[given.sum(axis=0) != 1] = 1
    together: dict[tuple[int, int], int] = {}
    keys = [(int(controller[zone]), int(np.argmax(given[:, zone]))) for zone in range(len(weeks))]
    for zone, key in enumerate(keys):
        if given[:, zone].sum() == 1 and key[0] >= 0:
            together[key] = min(together.get(key, MOST_WEEKS_APART), int(weeks[zone]))
    return np.array(
        [together.get(key, 1) if given[:, zone].sum() == 1 else 1 for zone, key in enumerate(keys)], dtype=np.int64
    )


def _mornings(outlook: Outlook, expected: Expected, plan: Waterings, zone: int) -> tuple[Morning, ...]:
    rain = expected.rain_mm if expected.rain_mm.ndim == 1 else expected.rain_mm[:, zone]
    stands = plan.depletion_mm[:, zone]
    return tuple(
        Morning(
            date=expected.dates[row].astype(dt.date),
            demand_mm=float(outlook.demand_mm[row, zone]),
            rain_mm=float(rain[row]),
            counted_mm=float(outlook.rain_mm[row, zone]),
            depletion_mm=float(stands[row]),
            reaches_mm=float(plan.reaches_mm[row, zone]),
            raw_mm=float(plan.raw_mm[row, zone]),
            room_mm=float(plan.room_mm[row, zone]),
            depth_mm=float(plan.depth_mm[row, zone]),
            may_water=bool(outlook.permitted[row, zone] and outlook.in_season[row, zone]),
        )
        for row in range(PLANNED)
    )


def _week(
    season: ZoneSeason,
    mornings: tuple[Morning, ...],
    dates: list[dt.date],
    depth: Array,
    next_and_weeks: tuple[int, int],
    more_mm: float,
) -> ThisWeek:
    settled, (due, weeks) = season.zone, next_and_weeks
    given = tuple(date for date, mm in zip(dates, depth, strict=True) if mm > 0)
    each = float(depth.max())
    exact = 60.0 * each * settled.multiplier / settled.rate.value_mm_h
    split = split_run(settled, exact)
    run = round(split.run_time_min) if given else 0
    warnings = (f"uniformity {settled.du_lq.value:.2f}: repair before adding water",) if settled.repair_first else ()
    litres_per_mm = litres_for(settled, 60.0 * settled.multiplier / settled.rate.value_mm_h)
    return ThisWeek(
        first_day=dates[0],
        mornings=mornings,
        dates=given,
        depth_mm=each,
        exact_run_time_min=exact,
        run_time_min=run,
        cycles=split.cycles if given else 0,
        cycle_min=round(split.cycle_min) if given else 0,
        soak_min=int(np.ceil(split.soak_min - 1e-9)) if given else 0,
        litres=litres_for(settled, run * len(given)),
        due_on=dates[0] + dt.timedelta(days=due) if due >= 0 else None,
        every_weeks=weeks,
        shared_mm=max(more_mm, 0.0) if given else 0.0,
        shared_l=None if litres_per_mm is None else max(more_mm, 0.0) * litres_per_mm if given else 0.0,
        warnings=warnings,
    )
