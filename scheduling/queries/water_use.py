"""What a site used, one truth: planned, expected and metered water, the bridge between them, budget and bill."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from django.utils import timezone

from scheduling.core.water.budget import YearOnYear, year_on_year
from scheduling.core.water.checks import Array, WaterInputError
from scheduling.core.water.climate import daily_normals
from scheduling.core.water.season_chart import MonthBars, month_bars
from scheduling.core.water.used import losses, net_need_mm, used_by_day
from scheduling.queries.climate import days_with_normals, station_climatology
from scheduling.queries.from_the_field import WaterFault
from scheduling.queries.metered import MeterDays, MeterUse, largest_l_per_day, meter_days, together, uses_of
from scheduling.queries.overnight import nights
from scheduling.queries.published import DailyRuns, daily_runs
from scheduling.queries.site_budget import Cost, SiteBudget, cost_of_months, site_budget
from sites.core.units import Quantity, to_display
from sites.models import Firm, Site, Zone

BASIS = (
    "Planned: run times of the revision that was published on each day, its programs in the month they were made "
    "for, its table of months otherwise. Expected: as set at the controller, less what could not run. Used: by the "
    "meter between its readings, as expected on other days. Between two its water is spread over the days "
    "as the schedule has it."
)
A_DAY = dt.timedelta(days=1)
FEWEST_DAYS_COMPARED = 30  # known in both years: common practice, no source
Litres = float | None


@dataclass(frozen=True)
class ZoneUse:
    """Expected litres of one zone, January first; None where they cannot be told.

    That is so where the zone's flow and area are both unknown, and where no revision of the span holds the zone.
    """

    zone_id: int
    number: int
    name: str
    litres_by_month: tuple[Litres, ...]
    last_year_by_month: tuple[Litres, ...]

    @property
    def months(self) -> list[tuple[Litres, Litres]]:
        """This year and last year, month by month."""
        return list(zip(self.litres_by_month, self.last_year_by_month, strict=True))

    @property
    def litres(self) -> Litres:
        return _sum(self.litres_by_month)

    @property
    def last_year_litres(self) -> Litres:
        return _sum(self.last_year_by_month)


@dataclass(frozen=True)
class FaultWater:
    """What one fault took or gave between two days: `litres` is None where nobody measured it."""

    fault: WaterFault
    first: dt.date
    last: dt.date
    litres: float | None
    measured_l_h: float | None = None


@dataclass(frozen=True)
class Bridge:
    """From planned to used water, litres. The parts add up; `rest_l` is what nobody explains.

    `added`: faults that let water run beside the plan, with litres where a night between two readings measured them.
    `metered_l` is told between `metered_from` and `metered_until`; None without such readings.
    """

    planned_l: float
    off_l: float
    paused_l: float
    set_otherwise_l: float
    stopped: tuple[FaultWater, ...]
    expected_l: float
    added: tuple[FaultWater, ...]
    used_l: float
    off_days: int
    paused_days: int
    metered_l: float | None = None
    metered_from: dt.date | None = None
    metered_until: dt.date | None = None
    metered_days: int = 0
    days: int = 0

    @property
    def stopped_l(self) -> float:
        return sum(one.litres or 0.0 for one in self.stopped)

    @property
    def added_l(self) -> float:
        return sum(one.litres or 0.0 for one in self.added)

    @property
    def unmeasured(self) -> tuple[FaultWater, ...]:
        return tuple(one for one in self.added if one.litres is None)

    @property
    def metered(self) -> bool:
        return self.metered_l is not None

    @property
    def unmetered_l(self) -> float:
        """The part of the used water that is expected, on days the meter does not tell."""
        return self.used_l - (self.metered_l or 0.0)

    @property
    def rest_l(self) -> float:
        """Metered beyond what is explained; negative where less ran."""
        return self.used_l - self.expected_l - self.added_l if self.metered else 0.0


@dataclass(frozen=True)
class AgainstLastYear:
    """This year's used water against last year's, over the days on which both are known.

    `corrected` puts both to normal weather; None where hardly anything was to be watered.
    """

    first: dt.date
    last: dt.date
    days: int
    this_l: float
    last_l: float
    metered_days: int
    corrected: YearOnYear | None
    this_need_mm: float | None
    last_need_mm: float | None

    @property
    def raw_change_percent(self) -> float:
        return 100.0 * (self.this_l / self.last_l - 1.0)

    @property
    def change_percent(self) -> float:
        """Corrected by weather where that can be told."""
        return self.corrected.normalised_change_percent if self.corrected else self.raw_change_percent

    @property
    def saved_l(self) -> Litres:
        """Last year's use put to this year's weather, less this year's; None where that cannot be told."""
        if self.corrected is None or not self.this_need_mm or not self.last_need_mm:
            return None
        return self.last_l * self.this_need_mm / self.last_need_mm - self.this_l


@dataclass(frozen=True)
class SiteWaterUse:
    """A season's water of one site from 1 January to `until`, beside the same days of the year before.

    `used_by_month_l` adds up to the bridge's used water. `unknown_zones` cannot be told and are in no sum.
    """

    site_id: int
    season_year: int
    until: dt.date
    zones: tuple[ZoneUse, ...]
    bridge: Bridge
    used_by_month_l: tuple[float, ...]
    last_year_by_month_l: tuple[float, ...] | None
    against_last_year: AgainstLastYear | None
    scheduled_days: int
    unknown_zones: tuple[str, ...]
    meters: tuple[MeterUse, ...]
    budget: SiteBudget
    cost: Cost | None
    basis: str = BASIS

    @property
    def used_l(self) -> float:
        return self.bridge.used_l

    @property
    def expected_by_month_l(self) -> tuple[float, ...]:
        return tuple(sum(zone.litres_by_month[month] or 0.0 for zone in self.zones) for month in range(12))


def site_water_use(site: Site, *, season_year: int, until: dt.date | None = None) -> SiteWaterUse:
    """The site's water of a season year up to `until`, left out: up to today or the year's end."""
    until = min(until or timezone.localdate(), dt.date(season_year, 12, 31))
    two = _TwoYears(site, season_year, until)
    this_year, last_year = two.this_year, two.last_year
    zones = tuple(
        ZoneUse(zone.pk, zone.number, zone.name, two.by_month(zone.pk, this_year), two.by_month(zone.pk, last_year))
        for zone in Zone.objects.filter(site=site).order_by("number")
        if zone.in_use or zone.pk in two.runs.as_set.minutes
    )
    used = two.months_of(two.used_l, this_year)
    known_last = bool(two.known[last_year].any())
    return SiteWaterUse(
        site_id=site.pk,
        season_year=season_year,
        until=until,
        zones=zones,
        bridge=two.bridge(),
        used_by_month_l=used,
        last_year_by_month_l=two.months_of(two.used_l, last_year) if known_last else None,
        against_last_year=two.against_last_year(),
        scheduled_days=int(two.runs.in_force[this_year].sum()),
        unknown_zones=tuple(f"{zone.number} {zone.name}" for zone in zones if zone.litres is None),
        meters=tuple(meter.over(dt.date(season_year, 1, 1), until) for meter in two.meters),
        budget=site_budget(site),
        cost=cost_of_months(site, used[: until.month]),
    )


class _TwoYears:
    """The days from 1 January of last year to `until`, read once; slices of them are the two seasons."""

    def __init__(self, site: Site, year: int, until: dt.date) -> None:
        self.site, self.year, self.until = site, year, until
        self.first = dt.date(year - 1, 1, 1)
        self.runs: DailyRuns = daily_runs([site], self.first, until)[site.pk]
        self.dates = [self.first + number * A_DAY for number in range(self.runs.days)]
        self.month_row = np.array([date.month - 1 for date in self.dates])
        begins, same_day = (dt.date(year, 1, 1) - self.first).days, _year_before(until)
        self.this_year = slice(begins, self.runs.days)
        self.last_year = slice(0, (same_day - self.first).days + 1)
        self.expected_l: Array = self._expected()
        self.meters: list[MeterDays] = meter_days(site, self.first, self.expected_l)
        self.metered_l: Array = together(self.meters, self.runs.days)
        self.used_l: Array = used_by_day(self.metered_l, self.expected_l)
        # What ran is known where a schedule was in force or the meter tells.
        self.known = self.runs.in_force | ~np.isnan(self.metered_l)

    def _none(self) -> Array:
        return np.zeros(self.runs.days)

    def _expected(self) -> Array:
        """Litres a day of all zones; one whose flow is not known on some day of a season is in no sum of it."""
        total = self._none()
        for litres in self.runs.litres.values():
            for season in (slice(0, self.this_year.start), self.this_year):
                if not np.isnan(litres[season]).any():
                    total[season] += litres[season]
        return total

    def by_month(self, zone_id: int, season: slice) -> tuple[Litres, ...]:
        litres = self.runs.litres.get(zone_id)
        if litres is None:
            silent = None if self.runs.in_force[season].any() and zone_id not in self.runs.zones else 0.0
            return (silent,) * 12
        if np.isnan(litres[season]).any():
            return (None,) * 12
        return self.months_of(litres, season)

    def months_of(self, daily_l: Array, season: slice) -> tuple[float, ...]:
        sums = np.bincount(self.month_row[season], weights=daily_l[season], minlength=12)
        return tuple(float(value) for value in sums)

    def bridge(self) -> Bridge:
        season, runs = self.this_year, self.runs
        ids = sorted(set(runs.planned.litres) | set(runs.as_set.litres))
        planned, as_set = (
            np.array([water.litres.get(pk, self._none()) for pk in ids]).reshape(len(ids), -1).T[season]
            if ids
            else np.zeros((season.stop - season.start, 0))
            for water in (runs.planned, runs.as_set)
        )
        stops = [fault for fault in runs.faults if fault.stops and runs.days_of(fault)[season].any()]
        where = [np.outer(runs.days_of(fault)[season], [pk in fault.zone_ids for pk in ids]) for fault in stops]
        parts = losses(planned, as_set, runs.on[season], runs.paused[season], where)
        metered = self.metered_l[season]
        told = np.flatnonzero(~np.isnan(metered))
        begins = dt.date(self.year, 1, 1)
        return Bridge(
            planned_l=parts.planned_l,
            off_l=parts.off_l,
            paused_l=parts.paused_l,
            set_otherwise_l=parts.set_otherwise_l,
            stopped=tuple(
                self._fault_water(fault, litres)
                for fault, litres in zip(stops, parts.stopped_l, strict=True)
                if litres > 0
            ),
            expected_l=parts.expected_l,
            added=tuple(self._added()),
            used_l=float(self.used_l[season].sum()),
            off_days=int((~runs.on[season]).sum()),
            paused_days=int((runs.paused[season] & runs.on[season] & runs.in_force[season]).sum()),
            metered_l=float(metered[told].sum()) if len(told) else None,
            metered_from=begins + int(told[0]) * A_DAY if len(told) else None,
            metered_until=begins + (int(told[-1]) + 1) * A_DAY if len(told) else None,
            metered_days=len(told),
            days=len(metered),
        )

    def _fault_water(self, fault: WaterFault, litres: float | None, l_h: float | None = None) -> FaultWater:
        begins = dt.date(self.year, 1, 1)
        return FaultWater(fault, max(fault.first, begins), min(fault.last or self.until, self.until), litres, l_h)

    def _added(self) -> list[FaultWater]:
        """Faults that let water run beside the plan; a night's flow is told once, for the first that was open."""
        begins = dt.date(self.year, 1, 1)
        faults = [fault for fault in self.runs.faults if not fault.stops and (fault.last or self.until) >= begins]
        if not faults:
            return []
        rates, taken, found = self._leaking_nights(), set[dt.date](), []
        for fault in faults:
            last = fault.last or self.until
            rate = next(((day, l_h) for day, l_h in rates if fault.first <= day <= last and day not in taken), None)
            if rate is None:
                found.append(self._fault_water(fault, None))
                continue
            taken |= {day for day, _ in rates if fault.first <= day <= last}
            # The pipes are under water only while the site is on.
            days = int((self.runs.days_of(fault) & self.runs.on)[self.this_year].sum())
            found.append(self._fault_water(fault, rate[1] * 24.0 * days, rate[1]))
        return found

    def _leaking_nights(self) -> list[tuple[dt.date, float]]:
        """The mornings after a night without watering in which one irrigation meter moved, with its flow in L/h."""
        meters = [one.meter for one in self.meters if one.meter.irrigation_only and not one.meter.removed_on]
        if len(meters) != 1:
            return []
        largest_l = largest_l_per_day(self.site)
        _, unit_l, _ = uses_of(meters[0], largest_l)
        around = nights(meters[0], self.site, self.runs, largest_l / unit_l, unit_l)
        return [(night.last.read_on, night.flow.litres_per_hour) for night in around if night.leaks]

    def against_last_year(self) -> AgainstLastYear | None:
        pairs = []
        for place in range(self.this_year.start, self.this_year.stop):
            date = self.dates[place]
            if (date.month, date.day) != (2, 29):
                pairs.append((place, (date.replace(year=date.year - 1) - self.first).days))
        quiet = self.known | ~self.runs.on
        common = [(this, last) for this, last in pairs if quiet[this] and quiet[last]]
        if len(common) < FEWEST_DAYS_COMPARED or not any(self.known[last] for _, last in common):
            return None
        this, last = (np.array(places) for places in zip(*common, strict=True))
        # Like with like: the meter on days it tells in both years, what is expected on the others.
        told = ~np.isnan(self.metered_l[this]) & ~np.isnan(self.metered_l[last])
        this_l, last_l = (float(np.where(told, self.used_l[row], self.expected_l[row]).sum()) for row in (this, last))
        if last_l <= 0:
            return None
        needs = self._needs(this, last)
        corrected = None
        if needs is not None and min(needs[:2]) > 0:
            corrected = year_on_year(this_l, needs[0], last_l, needs[1], needs[2])
        return AgainstLastYear(
            first=self.dates[this[0]],
            last=self.dates[this[-1]],
            days=len(common),
            this_l=this_l,
            last_l=last_l,
            metered_days=int(told.sum()),
            corrected=corrected,
            this_need_mm=needs[0] if needs else None,
            last_need_mm=needs[1] if needs else None,
        )

    def _needs(self, this: np.ndarray, last: np.ndarray) -> tuple[float, float, float] | None:
        """ET less rain of these days this year, last year and in a normal year, mm; None without weather."""
        station = self.site.weather_station
        if station is None:
            return None
        try:
            climate = station_climatology(station)
        except WaterInputError:
            return None
        days = days_with_normals(station, climate, self.first, self.until)
        et, rain = (daily_normals(normal.mean, days.dates) for normal in (climate.et_mm, climate.rain_mm))
        return (
            net_need_mm(days.et_mm, days.rain_mm, self.month_row, this),
            net_need_mm(days.et_mm, days.rain_mm, self.month_row, last),
            net_need_mm(et, rain, self.month_row, this),
        )


def _year_before(date: dt.date) -> dt.date:
    if (date.month, date.day) == (2, 29):
        return dt.date(date.year - 1, 2, 28)
    return date.replace(year=date.year - 1)


def _sum(values: Sequence[Litres]) -> Litres:
    """None where a part is not known."""
    if any(value is None for value in values):
        return None
    return sum(value or 0.0 for value in values)


def budget_bars(use: SiteWaterUse) -> MonthBars:
    """Used water beside allowance, month by month, in the firm's unit of volume."""
    system = Firm.current().units

    def shown(litres: tuple[float, ...]) -> list[float]:
        return [to_display(value / 1000.0, Quantity.VOLUME, system) for value in litres]

    return month_bars(shown(use.used_by_month_l), shown(use.budget.allowance_by_month_l))
