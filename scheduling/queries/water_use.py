"""What a site used: scheduled litres by zone and month, the meter, the budget and the bill, against last year."""

import calendar
import datetime as dt
import zoneinfo
from collections import defaultdict
from dataclasses import dataclass, field

from django.db.models import Prefetch, Q
from django.utils import timezone

from scheduling.core.water.season_chart import MonthBars, month_bars
from scheduling.models import Program, ProgramStep, SeasonSchedule, WateringPause, ZoneMonth
from scheduling.queries.calendar import dates_from, paused_dates, starts_on
from scheduling.queries.published import days_in_force
from scheduling.queries.site_budget import Cost, MeterUse, SiteBudget, cost_of_months, metered_use, site_budget
from sites.core.units import Quantity, to_display
from sites.models import Firm, Site, Zone

BASIS = (
    "Run times of the revision that was published on each day: its programs in the month they were made for, its "
    "table of months otherwise; days on which watering was paused count nothing."
)
Litres = float | None


@dataclass(frozen=True)
class ZoneUse:
    """Litres of one zone, January first; None where they cannot be told.

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
class SiteWaterUse:
    """A season's water of one site from 1 January to `until`; the year before over the same days.

    `litres` sums the zones that can be told; `unknown_zones` names the others. `metered_l` is None without reads.
    """

    site_id: int
    season_year: int
    until: dt.date
    zones: tuple[ZoneUse, ...]
    scheduled_days: int
    paused_days: int
    unknown_zones: tuple[str, ...]
    meters: tuple[MeterUse, ...]
    budget: SiteBudget
    cost: Cost | None
    last_year_litres: float | None
    basis: str = BASIS

    @property
    def litres(self) -> float:
        return sum(self.litres_by_month)

    @property
    def litres_by_month(self) -> tuple[float, ...]:
        return tuple(sum(zone.litres_by_month[month] or 0.0 for zone in self.zones) for month in range(12))

    @property
    def last_year_by_month(self) -> tuple[float, ...] | None:
        """None where nothing was published last year."""
        if self.last_year_litres is None:
            return None
        return tuple(sum(zone.last_year_by_month[month] or 0.0 for zone in self.zones) for month in range(12))

    @property
    def metered_l(self) -> float | None:
        known = [meter.litres for meter in self.meters if meter.litres is not None and meter.irrigation_only]
        return sum(known) if known else None

    @property
    def change_percent(self) -> float | None:
        """Against the same days of the year before."""
        if not self.last_year_litres:
            return None
        return 100.0 * (self.litres / self.last_year_litres - 1.0)


def site_water_use(site: Site, *, season_year: int, until: dt.date | None = None) -> SiteWaterUse:
    """The site's water of a season year up to `until`, left out: up to today or the year's end.

    Litres by month follow the revisions that were published, from their day until they were superseded.
    """
    until = min(until or timezone.localdate(), dt.date(season_year, 12, 31))
    before = _year_before(until)
    history = _History.of(site, dt.date(season_year - 1, 1, 1), until)
    this_year = history.litres(dt.date(season_year, 1, 1), until)
    last_year = history.litres(dt.date(season_year - 1, 1, 1), before)
    zones = tuple(
        ZoneUse(zone.pk, zone.number, zone.name, this_year.of(zone.pk), last_year.of(zone.pk))
        for zone in Zone.objects.filter(site=site).order_by("number")
        if zone.in_use or zone.pk in this_year.months or zone.pk in last_year.months
    )
    unknown = tuple(f"{zone.number} {zone.name}" for zone in zones if zone.litres is None)
    by_month = [sum(zone.litres_by_month[month] or 0.0 for zone in zones) for month in range(until.month)]
    return SiteWaterUse(
        site_id=site.pk,
        season_year=season_year,
        until=until,
        zones=zones,
        scheduled_days=this_year.days,
        paused_days=this_year.paused,
        unknown_zones=unknown,
        meters=metered_use(site, dt.date(season_year, 1, 1), until),
        budget=site_budget(site),
        cost=cost_of_months(site, by_month),
        last_year_litres=(sum(_sum(zone.last_year_by_month) or 0.0 for zone in zones) if last_year.days else None),
    )


@dataclass
class _Span:
    """Litres of a span of days by zone and month; a zone with an unknown flow holds None.

    `zones` are those the revisions of the span were computed for: they may run, or have no need in these days.
    """

    months: dict[int, list[Litres]] = field(default_factory=dict)
    zones: set[int] = field(default_factory=set)
    days: int = 0
    paused: int = 0

    def of(self, zone_id: int) -> tuple[Litres, ...]:
        silent = None if self.days and zone_id not in self.zones else 0.0
        return tuple(self.months.get(zone_id, [silent] * 12))

    def add(self, zone_id: int, month: int, litres: Litres) -> None:
        row = self.months.setdefault(zone_id, [0.0] * 12)
        so_far = row[month - 1]
        row[month - 1] = None if litres is None or so_far is None else so_far + litres


class _History:
    """A site's published revisions with their days, programs and months, read once."""

    def __init__(self, site: Site, schedules: list[SeasonSchedule], pauses: list[WateringPause]) -> None:
        self.site, self.schedules, self.pauses = site, schedules, pauses
        self.water: dict[int, dict[tuple[int, int], Litres]] = defaultdict(dict)
        self.flow: dict[int, dict[int, Litres]] = defaultdict(dict)
        rows = ZoneMonth.objects.filter(schedule__in=schedules).values_list(
            "schedule_id", "zone_id", "month", "water_l", "derivation__flow_l_min"
        )
        for schedule_id, zone_id, month, water, flow in rows:
            self.water[schedule_id][zone_id, month] = water
            self.flow[schedule_id][zone_id] = flow

    @classmethod
    def of(cls, site: Site, first: dt.date, until: dt.date) -> "_History":
        steps = ProgramStep.objects.order_by("position")
        schedules = (
            SeasonSchedule.objects.filter(site=site, published_at__lt=_midnight(until + dt.timedelta(days=1), site))
            .filter(Q(superseded_at=None) | Q(superseded_at__gte=_midnight(first, site)))
            .defer("basis")
            .prefetch_related(Prefetch("programs", Program.objects.prefetch_related(Prefetch("steps", steps))))
            .order_by("published_at", "pk")
        )
        pauses = WateringPause.objects.filter(site=site, starts_on__lte=until, ends_on__gte=first)
        return cls(site, list(schedules), list(pauses))

    def litres(self, first: dt.date, until: dt.date) -> _Span:
        span = _Span()
        paused = paused_dates(self.pauses, first, until)
        for schedule in self.schedules:
            start, end = days_in_force(schedule, self.site)
            by_month: dict[int, list[dt.date]] = defaultdict(list)
            for date in dates_from(max(first, start), min(until, end)):
                span.days += 1
                span.zones |= self.flow[schedule.pk].keys()
                span.paused += date in paused
                if date not in paused:
                    by_month[date.month].append(date)
            for month, dates in by_month.items():
                self._add_month(span, schedule, month, dates)
        return span

    def _add_month(self, span: _Span, schedule: SeasonSchedule, month: int, dates: list[dt.date]) -> None:
        year = dates[0].year
        steps = [(program, step) for program in schedule.programs.all() for step in program.steps.all()]
        if month == schedule.month and year == schedule.season_year:
            for program, step in steps:
                if step.enabled:
                    times = sum(starts_on(program, self.site, date) for date in dates)
                    flow = self.flow[schedule.pk].get(step.zone_id)
                    span.add(step.zone_id, month, None if flow is None else times * step.run_time_min * flow)
            return
        switched_off = {step.zone_id for _, step in steps} - {step.zone_id for _, step in steps if step.enabled}
        share = len(dates) / calendar.monthrange(year, month)[1]
        for (zone_id, of_month), water in self.water[schedule.pk].items():
            if of_month == month and zone_id not in switched_off:
                span.add(zone_id, month, None if water is None else water * share)


def _midnight(date: dt.date, site: Site) -> dt.datetime:
    return dt.datetime.combine(date, dt.time(), tzinfo=zoneinfo.ZoneInfo(site.time_zone))


def _year_before(date: dt.date) -> dt.date:
    if (date.month, date.day) == (2, 29):
        return dt.date(date.year - 1, 2, 28)
    return date.replace(year=date.year - 1)


def _sum(values: tuple[Litres, ...]) -> Litres:
    """None where a part is not known."""
    if any(value is None for value in values):
        return None
    return sum(value or 0.0 for value in values)


def budget_bars(use: SiteWaterUse) -> MonthBars:
    """Use beside allowance, month by month, in the firm's unit of volume."""
    system = Firm.current().units

    def shown(litres: tuple[float, ...]) -> list[float]:
        return [to_display(value / 1000.0, Quantity.VOLUME, system) for value in litres]

    return month_bars(shown(use.litres_by_month), shown(use.budget.allowance_by_month_l))
