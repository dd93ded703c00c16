"""Freeze-date probabilities of a station's history, and the season windows that follow from them.

Definition (NOAA_NORMALS; Koss et al. 1988): the spring probability at a date is the chance that a minimum
at or below the threshold occurs LATER, the autumn probability that one occurs EARLIER. Years without a freeze are
a discrete part of the distribution, the freeze dates its continuous part.
"""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import NormalDist, fmean, stdev
from typing import Literal

from sites.core import told, writing

FREEZE_C = 0.0  # US weather-service term: freeze, 32 F
HARD_FREEZE_C = -2.2  # hard freeze, 28 F
ENOUGH_SEASONS = 20  # 30 preferred
MOST_MISSING_DAYS = 10  # UTAH_FREEZE
LAPSE_K_PER_M = 0.0065  # ICAO_ATMOSPHERE: 6.5 K per km
RELEVANT_MARGIN_DAYS = 15  # our choice: how far beyond the record's freeze dates a gap still matters
STEP_M = 10  # our choice: heights count in steps of 0.065 K, less than a thermometer tells apart

Side = Literal["spring", "autumn"]
Method = Literal["auto", "normal", "empirical"]


def nist_percentile(values: Sequence[float], p: float) -> float:
    """The p-quantile (0..1) of values by the primary rule of NIST_PERCENTILES; ends are not exceeded."""
    ordered = sorted(values)
    count = len(ordered)
    if not count or not 0 <= p <= 1:
        raise ValueError("a percentile needs values and a fraction between 0 and 1")
    rank = p * (count + 1)
    k = math.floor(rank)
    if k < 1:
        return ordered[0]
    if k >= count:
        return ordered[-1]
    return ordered[k - 1] + (rank - k) * (ordered[k] - ordered[k - 1])


def looks_normal(values: Sequence[float]) -> bool:
    """Anderson-Darling test at 5 %, mean and deviation estimated; true when normality is not rejected.

    Size correction and critical value 0.752: STEPHENS_1986, pp. 122-141.
    """
    count = len(values)
    if count < 3 or stdev(values) == 0:
        return False
    fitted = NormalDist(fmean(values), stdev(values))
    cdf = [min(max(fitted.cdf(x), 1e-12), 1 - 1e-12) for x in sorted(values)]
    terms = sum((2 * i + 1) * (math.log(cdf[i]) + math.log(1 - cdf[-1 - i])) for i in range(count))
    a_squared = -count - terms / count
    return a_squared * (1 + 0.75 / count + 2.25 / count**2) < 0.752


@dataclass(frozen=True)
class FreezeRisk:
    """When a threshold is last (spring) or first (autumn) met, from `dates` of the seasons that had a freeze.

    `dates` are season days, 1 = first day of the season year (1 January; 1 July in the south). `seasons` counts
    valid seasons with and without freeze, `rejected` those with too many gaps. `sufficient` is false below 20
    seasons: figures are still given, and any text made from them says so.
    """

    side: Side
    threshold_c: float
    dates: tuple[float, ...]
    seasons: int
    southern: bool = False
    rejected: tuple[int, ...] = ()
    method: Method = "auto"

    @property
    def sufficient(self) -> bool:
        return self.seasons >= ENOUGH_SEASONS

    @property
    def freeze_share(self) -> float:
        """Share of seasons with a freeze (q)."""
        return len(self.dates) / self.seasons if self.seasons else 0.0

    @property
    def used_method(self) -> str:
        """normal or empirical; auto takes normal unless the dates look otherwise."""
        if self.method != "auto":
            return self.method
        # Below eight dates the test rejects hardly anything; the normal form at least reaches past the record.
        return "normal" if len(self.dates) < 8 or looks_normal(self.dates) else "empirical"

    def day_at(self, chance: float) -> float | None:
        """Season day with this chance of a later (spring) or earlier (autumn) freeze; None if never so likely."""
        if not 0 < chance < 1:
            raise ValueError("a chance must lie between 0 and 1")
        if chance >= self.freeze_share or len(self.dates) < 2:
            return None
        part = chance / self.freeze_share
        fraction = 1 - part if self.side == "spring" else part
        if self.used_method == "empirical" or stdev(self.dates) == 0:
            return nist_percentile(self.dates, fraction)
        return NormalDist(fmean(self.dates), stdev(self.dates)).inv_cdf(fraction)

    def date_at(self, chance: float, season_year: int) -> date | None:
        """The same as a calendar date, rounded to the safe side: spring up, autumn down."""
        return safe_date(self.day_at(chance), self.side, season_year, self.southern)

    def chance(self, on: date, season_year: int) -> float:
        """Chance of a freeze after (spring) or before (autumn) this date, 0..1."""
        if not self.dates:
            return 0.0
        day = (on - season_start(season_year, self.southern)).days + 1
        share = self._share_before(day)
        return self.freeze_share * (1 - share if self.side == "spring" else share)

    def _share_before(self, day: float) -> float:
        if len(self.dates) > 1 and self.used_method == "normal" and stdev(self.dates) > 0:
            return NormalDist(fmean(self.dates), stdev(self.dates)).cdf(day)
        ordered, count = sorted(self.dates), len(self.dates)
        if day < ordered[0]:
            return 0.0
        if day >= ordered[-1]:
            return 1.0
        k = max(i for i, x in enumerate(ordered) if x <= day)
        return (k + 1 + (day - ordered[k]) / (ordered[k + 1] - ordered[k])) / (count + 1)


def season_start(season_year: int, southern: bool) -> date:
    """First day of a season year: 1 January, in the southern hemisphere 1 July."""
    return date(season_year, 7 if southern else 1, 1)


def safe_date(day: float | None, side: Side, season_year: int, southern: bool) -> date | None:
    """A season day as a calendar date, rounded to the safe side: spring up, autumn down."""
    if day is None:
        return None
    whole = math.ceil(day - 1e-9) if side == "spring" else math.floor(day + 1e-9)
    return season_start(season_year, southern) + timedelta(whole - 1)


def season_half(side: Side, season_year: int, southern: bool) -> tuple[date, date]:
    """First and last date searched: spring January to July, autumn August to December; south six months later."""
    start = season_start(season_year, southern)
    split = date(season_year + 1, 2, 1) if southern else date(season_year, 8, 1)
    end = season_start(season_year + 1, southern) - timedelta(1)
    return (start, split - timedelta(1)) if side == "spring" else (split, end)


@dataclass(frozen=True)
class _Season:
    """One half-year of a record. `steps` are the (minimum, season day) that are colder than all before them, read
    forward in autumn and backward in spring: the first at or below a limit is the day of the freeze."""

    year: int
    first_day: int
    last_day: int
    steps: tuple[tuple[float, int], ...]
    gaps: tuple[int, ...]

    def freeze_day(self, limit_c: float) -> float | None:
        place = bisect_left(self.steps, -limit_c, key=lambda step: -step[0])
        return float(self.steps[place][1]) if place < len(self.steps) else None

    def missing(self, first_day: float, last_day: float) -> int:
        """Days without a minimum between these, both included."""
        first, last = max(first_day, self.first_day), min(last_day, self.last_day)
        return max(0, bisect_right(self.gaps, last) - bisect_left(self.gaps, first))


@dataclass(frozen=True)
class FreezeRecord:
    """A station's daily minima of one side of the year, made ready to be asked for many heights."""

    side: Side
    southern: bool
    seasons: tuple[_Season, ...]

    @classmethod
    def of(cls, minima_c: Mapping[date, float], side: Side, latitude: float) -> "FreezeRecord":
        southern = latitude < 0
        years = range(min(minima_c).year - 1, max(minima_c).year + 1) if minima_c else range(0)
        seasons = (_season(minima_c, side, year, southern) for year in years)
        return cls(side, southern, tuple(season for season in seasons if season))

    def risk(self, threshold_c: float, rise_m: float = 0.0, method: Method = "auto") -> FreezeRisk:
        """Freeze dates for a place `rise_m` above the station.

        The minima are lowered by 6.5 K per km of rise (standard atmosphere; a hollow that collects cold air is
        colder than that). A season counts only if it has at most 10 missing days in the part of the half-year in
        which this record ever had its last or first freeze, 15 days more on either side; if no season had one, in
        the whole half.
        """
        limit_c = threshold_c + LAPSE_K_PER_M * rise_m
        days = [season.freeze_day(limit_c) for season in self.seasons]
        seen = [day for day in days if day is not None]
        first = min(seen) - RELEVANT_MARGIN_DAYS if seen else -math.inf
        last = max(seen) + RELEVANT_MARGIN_DAYS if seen else math.inf
        valid = [season.missing(first, last) <= MOST_MISSING_DAYS for season in self.seasons]
        dates = tuple(day for day, good in zip(days, valid, strict=True) if good and day is not None)
        rejected = tuple(season.year for season, good in zip(self.seasons, valid, strict=True) if not good)
        return FreezeRisk(self.side, threshold_c, dates, sum(valid), self.southern, rejected, method)


def _season(minima_c: Mapping[date, float], side: Side, year: int, southern: bool) -> _Season | None:
    """None where the station was silent all the half-year."""
    first, last = season_half(side, year, southern)
    start = season_start(year, southern)
    days = range((first - start).days + 1, (last - start).days + 2)
    minima = {day: minima_c.get(start + timedelta(day - 1)) for day in days}
    if all(value is None for value in minima.values()):
        return None
    order = reversed(days) if side == "spring" else days
    gaps = tuple(day for day in days if minima[day] is None)
    return _Season(year, days[0], days[-1], tuple(_colder(order, minima)), gaps)


def _colder(days: Iterable[int], minima: Mapping[int, float | None]) -> Iterable[tuple[float, int]]:
    coldest = math.inf
    for day in days:
        value = minima[day]
        if value is not None and value < coldest:
            coldest = value
            yield value, day


def freeze_risk(
    minima_c: Mapping[date, float],
    side: Side,
    threshold_c: float,
    *,
    latitude: float,
    rise_m: float = 0.0,
    method: Method = "auto",
) -> FreezeRisk:
    """Freeze dates from daily minimum temperatures of a station, for a site `rise_m` above it (FreezeRecord.risk)."""
    return FreezeRecord.of(minima_c, side, latitude).risk(threshold_c, rise_m, method)


@dataclass(frozen=True)
class FrostLimit:
    """A date with its reason; `on` is None when the record gives no date. `sufficient` as in FreezeRisk."""

    on: date | None
    reason: str
    sufficient: bool


def startup_opens(risk: FreezeRisk, season_year: int, chance: float, where: str, cold: str) -> FrostLimit:
    """The first date on which a later freeze is at most this likely; `where` and `cold` are words for the reason."""
    return _limit(risk, risk, risk.date_at(chance, season_year), chance, where, cold)


def winterise_by(risk: FreezeRisk, season_year: int, chance: float, where: str, cold: str) -> FrostLimit:
    """The last date by which an earlier freeze is at most this likely; work must be done by then."""
    return _limit(risk, risk, risk.date_at(chance, season_year), chance, where, cold)


def _limit(risk: FreezeRisk, record: FreezeRisk, on: date | None, chance: float, where: str, cold: str) -> FrostLimit:
    """The date in words: `risk` is that of the place, `record` tells whether there are seasons enough."""
    if on is None and risk.seasons:
        text = f"{cold} met in {len(risk.dates)} of {risk.seasons} seasons only, {where}"
    elif on is None:
        text = f"no usable season of minimum temperatures, {where}"
    else:
        word = "after" if risk.side == "spring" else "by"
        text = f"{writing.percent(chance)} chance of {cold} {word} {told.on(on)}, {where}"
    if not record.sufficient:
        text = f"{text} (insufficient: {record.seasons} seasons of at least {ENOUGH_SEASONS})"
    return FrostLimit(on, text, record.sufficient)


class FreezeLadder:
    """A station's freeze dates by height above it: a higher place never comes out warmer than a lower one.

    Dates fitted for neighbouring heights can cross by some days, because seasons drop in and out and the form of
    the fit changes; the air does not. Upwards from the station each step is therefore at least as careful as every
    step below it, downwards at most as careful as every step above it. Heights are rounded up to whole steps.
    Whether the record is long enough is asked once, at the station's own height, so that all its sites agree.
    """

    def __init__(self, record: FreezeRecord, threshold_c: float) -> None:
        self.record, self.threshold_c = record, threshold_c
        self._risks: dict[int, FreezeRisk] = {}
        self._days: dict[tuple[int, float], float] = {}

    @property
    def at_station(self) -> FreezeRisk:
        return self._risk(0)

    def risk(self, rise_m: float) -> FreezeRisk:
        """The fit of this height alone, without regard to its neighbours."""
        return self._risk(_step(rise_m))

    def date_at(self, rise_m: float, season_year: int, chance: float) -> date | None:
        """As FreezeRisk.date_at, in order of height."""
        day = self._ordered(_step(rise_m), chance)
        southern = self.record.southern
        return safe_date(day if math.isfinite(day) else None, self.record.side, season_year, southern)

    def limit(self, rise_m: float, season_year: int, chance: float, where: str, cold: str) -> FrostLimit:
        """Startup's first or winterization's last date at this height, with its reason."""
        on = self.date_at(rise_m, season_year, chance)
        return _limit(self.risk(rise_m), self.at_station, on, chance, where, cold)

    def _risk(self, step: int) -> FreezeRisk:
        if step not in self._risks:
            self._risks[step] = self.record.risk(self.threshold_c, step * STEP_M)
        return self._risks[step]

    def _ordered(self, step: int, chance: float) -> float:
        """The season day of a step, in order with all steps between it and the station."""
        choose = max if (self.record.side == "spring") == (step > 0) else min
        stride, known = (1 if step > 0 else -1), self._days
        for n in range(0, step + stride, stride):
            if (n, chance) not in known:
                own = self._fitted(n, chance)
                known[n, chance] = choose(own, known[n - stride, chance]) if n else own
        return known[step, chance]

    def _fitted(self, step: int, chance: float) -> float:
        """Infinitely far where a freeze is never so likely: no date is needed."""
        day = self._risk(step).day_at(chance)
        if day is None:
            return -math.inf if self.record.side == "spring" else math.inf
        return day


def _step(rise_m: float) -> int:
    return math.ceil(rise_m / STEP_M - 1e-9)
