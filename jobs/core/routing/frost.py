"""Freeze-date probabilities of a station's history, and the season windows that follow from them.

Definition (NOAA climate normals; Koss et al. 1988): the spring probability at a date is the chance that a minimum
at or below the threshold occurs LATER, the autumn probability that one occurs EARLIER. Years without a freeze are
a discrete part of the distribution, the freeze dates its continuous part.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import NormalDist, fmean, stdev
from typing import Literal

FREEZE_C = 0.0  # US weather-service term: freeze, 32 F
HARD_FREEZE_C = -2.2  # hard freeze, 28 F
ENOUGH_SEASONS = 20  # 30 preferred
MOST_MISSING_DAYS = 10
LAPSE_K_PER_M = 0.0065  # ICAO Standard Atmosphere (ISO 2533): 6.5 K per km
RELEVANT_MARGIN_DAYS = 15  # our choice: how far beyond the record's freeze dates a gap still matters

Side = Literal["spring", "autumn"]
Method = Literal["auto", "normal", "empirical"]


def nist_percentile(values: Sequence[float], p: float) -> float:
    """The p-quantile (0..1) of values by the primary rule of the NIST/SEMATECH e-Handbook; ends are not exceeded."""
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

    Size correction and critical value 0.752: D'Agostino and Stephens 1986, table 4.7 (from memory).
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
        day = self.day_at(chance)
        if day is None:
            return None
        whole = math.ceil(day - 1e-9) if self.side == "spring" else math.floor(day + 1e-9)
        return season_start(season_year, self.southern) + timedelta(whole - 1)

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


def season_half(side: Side, season_year: int, southern: bool) -> tuple[date, date]:
    """First and last date searched: spring January to July, autumn August to December; south six months later."""
    start = season_start(season_year, southern)
    split = date(season_year + 1, 2, 1) if southern else date(season_year, 8, 1)
    end = season_start(season_year + 1, southern) - timedelta(1)
    return (start, split - timedelta(1)) if side == "spring" else (split, end)


def freeze_risk(
    minima_c: Mapping[date, float],
    side: Side,
    threshold_c: float,
    *,
    latitude: float,
    rise_m: float = 0.0,
    method: Method = "auto",
) -> FreezeRisk:
    """Freeze dates from daily minimum temperatures of a station, for a site `rise_m` above it.

    The minima are lowered by 6.5 K per km of rise (standard atmosphere; a hollow that collects cold air is
    colder than that). A season counts only if it has at most 10 missing days in the part of the half-year in
    which this record ever had its last or first freeze, 15 days more on either side; if no season had one, in
    the whole half.
    """
    southern = latitude < 0
    limit_c = threshold_c + LAPSE_K_PER_M * rise_m
    years = range(min(minima_c).year - 1, max(minima_c).year + 1) if minima_c else range(0)
    found: dict[int, float | None] = {}
    for year in years:
        first, last = season_half(side, year, southern)
        present = [d for d in _days(first, last) if d in minima_c]
        if present:
            cold = [d for d in present if minima_c[d] <= limit_c]
            day = (cold[-1] if side == "spring" else cold[0]) if cold else None
            found[year] = None if day is None else float((day - season_start(year, southern)).days + 1)
    complete = [y for y in found if _missing(minima_c, side, y, southern, found) <= MOST_MISSING_DAYS]
    dates = tuple(x for y in complete if (x := found[y]) is not None)
    rejected = tuple(y for y in found if y not in complete)
    return FreezeRisk(side, threshold_c, dates, len(complete), southern, rejected, method)


def _days(first: date, last: date) -> list[date]:
    return [first + timedelta(i) for i in range((last - first).days + 1)]


def _missing(
    minima_c: Mapping[date, float], side: Side, year: int, southern: bool, found: Mapping[int, float | None]
) -> int:
    """Missing days of a season where a freeze could have been missed."""
    first, last = season_half(side, year, southern)
    seen = [x for x in found.values() if x is not None]
    if seen:
        start = season_start(year, southern)
        first = max(first, start + timedelta(min(seen) - 1 - RELEVANT_MARGIN_DAYS))
        last = min(last, start + timedelta(max(seen) - 1 + RELEVANT_MARGIN_DAYS))
    return sum(d not in minima_c for d in _days(first, last))


@dataclass(frozen=True)
class FrostLimit:
    """A date with its reason; `on` is None when the record gives no date. `sufficient` as in FreezeRisk."""

    on: date | None
    reason: str
    sufficient: bool


def startup_opens(risk: FreezeRisk, season_year: int, chance: float, where: str, cold: str) -> FrostLimit:
    """The first date on which a later freeze is at most this likely; `where` and `cold` are words for the reason."""
    on = risk.date_at(chance, season_year)
    return FrostLimit(on, _reason(risk, on, chance, "after", where, cold), risk.sufficient)


def winterise_by(risk: FreezeRisk, season_year: int, chance: float, where: str, cold: str) -> FrostLimit:
    """The last date by which an earlier freeze is at most this likely; work must be done by then."""
    on = risk.date_at(chance, season_year)
    return FrostLimit(on, _reason(risk, on, chance, "by", where, cold), risk.sufficient)


def _reason(risk: FreezeRisk, on: date | None, chance: float, word: str, where: str, cold: str) -> str:
    if on is None and risk.seasons:
        text = f"{cold} met in {len(risk.dates)} of {risk.seasons} seasons only, {where}"
    elif on is None:
        text = f"no usable season of minimum temperatures, {where}"
    else:
        text = f"{chance:.0%} chance of {cold} {word} {on.day} {on:%b}, {where}".replace("%", " %", 1)
    return text if risk.sufficient else f"{text} (insufficient: {risk.seasons} seasons of at least {ENOUGH_SEASONS})"
