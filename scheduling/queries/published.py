"""Which revision a site was watered by on each day, and for how many minutes each zone ran.

The one place where a schedule becomes water: planned as published, less what could not run.
"""

import datetime as dt
import functools
import zoneinfo
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, field
from functools import partial
from operator import eq

import numpy as np
from django.db.models import Prefetch, Q

from scheduling.core.water.checks import Array
from scheduling.core.water.clock import spread_weekdays
from scheduling.models import AppliedSchedule, Program, ProgramStep, SeasonSchedule, WateringPause, ZoneMonth
from scheduling.queries.calendar import dates_from, paused_dates, starts_on
from scheduling.queries.from_the_field import WaterFault, water_faults
from scheduling.queries.programs import watering_rule
from sites.models import Site
from sites.queries.site_state import state_lines

NO_LOAD = dict.fromkeys(range(7), 0.0)
A_DAY = dt.timedelta(days=1)
Span = tuple[dt.date, dt.date]
Mask = np.ndarray
Meant = Callable[[int | None], bool]  # whether a controller is meant


class Water:
    """Minutes and litres by zone and day; a zone whose flow was not known when it was computed has NaN litres."""

    def __init__(self, days: int) -> None:
        self.days = days
        self.minutes: dict[int, Array] = {}
        self.litres: dict[int, Array] = {}

    def add(self, zone_id: int, places: Sequence[int], minutes: Array | float, flow_l_min: float | None) -> None:
        """Add minutes on these days, each named once."""
        if zone_id not in self.minutes:
            self.minutes[zone_id], self.litres[zone_id] = np.zeros(self.days), np.zeros(self.days)
        self.minutes[zone_id][places] += minutes
        flow = np.nan if flow_l_min is None else flow_l_min
        self.litres[zone_id][places] += np.where(np.asarray(minutes) > 0, np.multiply(minutes, flow), 0.0)


@dataclass
class DailyRuns:
    """A site's days from `first` on: what was published, what was set at the controllers, and what of it could run.

    `in_force`: a schedule was published on the day; `paused`, `on`: the site's pauses and its state. `zones` are
    those the revisions were computed for. `faults` changed what flowed, in the order they were found.
    """

    first: dt.date
    days: int
    as_set: Water
    in_force: Mask
    paused: Mask
    on: Mask
    faults: list[WaterFault] = field(default_factory=list)
    zones: set[int] = field(default_factory=set)
    plan: Callable[[], Water] | None = None

    @functools.cached_property
    def planned(self) -> Water:
        """As published on each day, nothing taken off; worked out when it is asked for."""
        return self.plan() if self.plan else self.as_set

    @functools.cached_property
    def minutes(self) -> dict[int, Array]:
        """Minutes by zone that could run: set at the controller, the site on, not paused, the zone sound."""
        return {pk: minutes * self.runs(pk) for pk, minutes in self.as_set.minutes.items()}

    @functools.cached_property
    def litres(self) -> dict[int, Array]:
        """Litres by zone that could run; NaN on days on which a zone of unknown flow ran."""
        return {pk: np.where(self.runs(pk), litres, 0.0) for pk, litres in self.as_set.litres.items()}

    def runs(self, zone_id: int) -> Mask:
        """The days on which the zone could run."""
        stopped = np.zeros(self.days, np.bool_)
        for fault in self.faults:
            if fault.stops and zone_id in fault.zone_ids:
                stopped |= self.days_of(fault)
        return self.on & ~self.paused & ~stopped

    def days_of(self, fault: WaterFault) -> Mask:
        """The days on which a fault was there."""
        return _mask(self.first, self.days, [(fault.first, fault.last or dt.date.max)])

    def of(self, zone_ids: Sequence[int]) -> Array:
        """(days, zones) minutes; 0 for a zone that no schedule holds."""
        return self._columns(self.minutes, zone_ids)

    def planned_of(self, zone_ids: Sequence[int]) -> Array:
        """The same as published, nothing taken off."""
        return self._columns(self.planned.minutes, zone_ids)

    def _columns(self, minutes: dict[int, Array], zone_ids: Sequence[int]) -> Array:
        none = np.zeros(self.days)
        return np.array([minutes.get(zone_id, none) for zone_id in zone_ids]).T.reshape(self.days, len(zone_ids))

    @property
    def settled_from(self) -> int | None:
        """The day from which on a schedule was in force to the end without a gap; None where there is none now."""
        if not self.days or not self.in_force[-1]:
            return None
        gaps = np.flatnonzero(~self.in_force)
        return int(gaps[-1]) + 1 if len(gaps) else 0


def _mask(first: dt.date, days: int, spans: Iterable[Span]) -> Mask:
    mask = np.zeros(days, np.bool_)
    for start, end in spans:
        mask[max((start - first).days, 0) : max((end - first).days + 1, 0)] = True
    return mask


def days_in_force(schedule: SeasonSchedule, site: Site) -> Span:
    """First and last day of a revision at the site; the day of publication counts for the new revision."""
    zone = zoneinfo.ZoneInfo(site.time_zone)
    assert schedule.published_at is not None
    start = schedule.published_at.astimezone(zone).date()
    if schedule.superseded_at is None:
        return start, dt.date.max - dt.timedelta(days=2)
    return start, schedule.superseded_at.astimezone(zone).date() - A_DAY


def daily_runs(sites: Iterable[Site], first: dt.date, until: dt.date) -> dict[int, DailyRuns]:
    """What many sites were to water and could water by day and zone, both days included; the queries do not grow.

    By a revision's programs in the month they were made for; by its table of months otherwise, on days spread over
    the week as the site permits. A controller that is set by hand follows what was noted as set on it, from that
    day on; before the first note, and any other controller, what was published.
    """
    by_id = {site.pk: site for site in sites}
    days = (until - first).days + 1
    lines, pauses = state_lines(by_id), _pauses(by_id, first, until)
    faults = defaultdict(list)
    for fault in water_faults(by_id, first, until):
        faults[fault.site_id].append(fault)
    runs = {
        pk: DailyRuns(
            first=first,
            days=days,
            as_set=Water(days),
            in_force=np.zeros(days, np.bool_),
            paused=_mask(first, days, ((date, date) for date in paused_dates(pauses[pk], first, until))),
            on=_mask(first, days, lines[pk].spans_on(first, until)),
            faults=faults[pk],
        )
        for pk in by_id
    }
    noted = _noted(by_id, until)
    also = {row.schedule_id for rows in noted.values() for row in rows}
    schedules = list(_published(by_id, first, until, also))
    months = _months(schedules, first, until)
    by_site = defaultdict(list)
    for schedule in schedules:
        by_site[schedule.site_id].append(schedule)
    for pk, revisions in by_site.items():
        mine = [row for row in noted[pk] if row.schedule_id in {schedule.pk for schedule in revisions}]
        _Site(by_id[pk], runs[pk], until, revisions, months, mine).fill()
    return runs


def _pauses(site_ids: Collection[int], first: dt.date, until: dt.date) -> dict[int, list[WateringPause]]:
    pauses: dict[int, list[WateringPause]] = defaultdict(list)
    for pause in WateringPause.objects.filter(site__in=site_ids, starts_on__lte=until, ends_on__gte=first):
        pauses[pause.site_id].append(pause)
    return pauses


@dataclass(frozen=True)
class _Noted:
    """That a revision was set at a hand-set controller."""

    controller_id: int
    schedule_id: int
    applied_on: dt.date


def _noted(site_ids: Collection[int], until: dt.date) -> dict[int, list[_Noted]]:
    """By site what was noted as set, in order of time."""
    rows = AppliedSchedule.objects.filter(
        controller__site__in=site_ids, controller__set_by_hand=True, applied_on__lte=until
    ).order_by("applied_on", "schedule__published_at", "pk")
    noted: dict[int, list[_Noted]] = defaultdict(list)
    columns = rows.values_list("controller__site_id", "controller_id", "schedule_id", "applied_on")
    for site_id, controller_id, schedule_id, applied_on in columns:
        noted[site_id].append(_Noted(controller_id, schedule_id, applied_on))
    return noted


def _published(
    site_ids: Collection[int], first: dt.date, until: dt.date, also: Collection[int]
) -> Iterable[SeasonSchedule]:
    """Revisions in force on some of the days, and those a controller may still have been set to."""
    after = dt.datetime.combine(until + 2 * A_DAY, dt.time(), tzinfo=dt.UTC)  # a day to spare for every time zone
    before = dt.datetime.combine(first - A_DAY, dt.time(), tzinfo=dt.UTC)
    steps = Prefetch("steps", ProgramStep.objects.order_by("position"))
    return (
        SeasonSchedule.objects.filter(site__in=list(site_ids), published_at__lt=after)
        .filter(Q(superseded_at=None) | Q(superseded_at__gte=before) | Q(pk__in=also))
        .defer("basis", "warnings", "not_computed")
        .prefetch_related(Prefetch("programs", Program.objects.prefetch_related(steps)))
        .order_by("site_id", "published_at", "pk")
    )


@dataclass(frozen=True)
class _MonthRow:
    """A zone's month in a revision."""

    zone_id: int
    controller_id: int | None
    run_time_min: float
    days_per_week: float
    flow_l_min: float | None


def _months(schedules: list[SeasonSchedule], first: dt.date, until: dt.date) -> dict[int, dict[int, list[_MonthRow]]]:
    """Schedule -> month -> zones."""
    wanted = {date.month for date in dates_from(first, until)} if (until - first).days < 366 else set(range(1, 13))
    table: dict[int, dict[int, list[_MonthRow]]] = defaultdict(lambda: defaultdict(list))
    rows = ZoneMonth.objects.filter(schedule__in=schedules, month__in=wanted).order_by()
    for pk, month, *row in rows.values_list(
        "schedule_id",
        "month",
        "zone_id",
        "zone__valve__controller_id",
        "run_time_min",
        "days_per_week",
        "derivation__flow_l_min",
    ):
        table[pk][month].append(_MonthRow(*row))
    return table


class _Site:
    """Fills the days of one site from its revisions."""

    def __init__(
        self,
        site: Site,
        run: DailyRuns,
        until: dt.date,
        revisions: list[SeasonSchedule],
        months: dict[int, dict[int, list[_MonthRow]]],
        noted: list[_Noted],
    ) -> None:
        self.site, self.run, self.until = site, run, until
        self.revisions, self.months = revisions, months
        self.published = {row.pk: self._inside(days_in_force(row, site)) for row in revisions}
        self.noted: dict[int, list[_Noted]] = defaultdict(list)
        for row in noted:
            self.noted[row.controller_id].append(row)

    def fill(self) -> None:
        for schedule in self.revisions:
            self.run.in_force |= _mask(self.run.first, self.run.days, self.published[schedule.pk])
            self.run.zones |= {row.zone_id for rows in self.months[schedule.pk].values() for row in rows}
        if not self.noted:
            self._add_all(self.run.as_set, lambda _: True)
            return
        self.run.plan = self.planned
        self._add_all(self.run.as_set, lambda controller_id: controller_id not in self.noted)
        for controller_id in self.noted:
            for schedule in self.revisions:
                spans = self._set_on(controller_id, schedule)
                self._add(self.run.as_set, schedule, spans, partial(eq, controller_id))

    def planned(self) -> Water:
        water = Water(self.run.days)
        self._add_all(water, lambda _: True)
        return water

    def _add_all(self, water: Water, meant: Meant) -> None:
        for schedule in self.revisions:
            self._add(water, schedule, self.published[schedule.pk], meant)

    def _inside(self, span: Span) -> list[Span]:
        start, end = max(span[0], self.run.first), min(span[1], self.until)
        return [(start, end)] if start <= end else []

    def _set_on(self, controller_id: int, schedule: SeasonSchedule) -> list[Span]:
        """The days on which a hand-set controller ran by this revision."""
        rows = self.noted[controller_id]
        spans = []
        for start, end in self.published[schedule.pk]:
            spans += self._inside((start, min(end, rows[0].applied_on - A_DAY)))
        for row, following in zip(rows, [*rows[1:], None], strict=True):
            if row.schedule_id == schedule.pk:
                spans += self._inside((row.applied_on, following.applied_on - A_DAY if following else self.until))
        return spans

    def _add(self, water: Water, schedule: SeasonSchedule, spans: list[Span], meant: Meant) -> None:
        """Add a revision's water on these days, of the controllers that are meant."""
        by_month: dict[tuple[int, int], list[dt.date]] = defaultdict(list)
        for start, end in spans:
            for date in dates_from(start, end):
                by_month[date.year, date.month].append(date)
        steps = [(program, step) for program in schedule.programs.all() for step in program.steps.all()]
        off = {step.zone_id for _, step in steps} - {step.zone_id for _, step in steps if step.enabled}
        for (year, month), dates in by_month.items():
            table = self.months[schedule.pk][month]
            if (year, month) == (schedule.season_year, schedule.month):
                flows = {row.zone_id: row.flow_l_min for row in table}
                self._add_programs(water, schedule, flows, dates, meant)
                continue
            for row in table:
                if row.run_time_min > 0 and row.zone_id not in off and meant(row.controller_id):
                    watered = watering_dates(self.site, row.days_per_week, dates)
                    places = [(date - self.run.first).days for date in watered]
                    water.add(row.zone_id, places, row.run_time_min, row.flow_l_min)

    def _add_programs(
        self,
        water: Water,
        schedule: SeasonSchedule,
        flows: dict[int, float | None],
        dates: list[dt.date],
        meant: Meant,
    ) -> None:
        places = [(date - self.run.first).days for date in dates]
        for program in schedule.programs.all():
            if not meant(program.controller_id):
                continue
            program.schedule = schedule  # an interval may count from the schedule's own week
            starts = np.array([starts_on(program, self.site, date) for date in dates], dtype=float)
            for step in program.steps.all():
                if step.enabled:
                    water.add(step.zone_id, places, starts * step.run_time_min, flows.get(step.zone_id))


def watering_dates(site: Site, days_per_week: float, dates: list[dt.date]) -> list[dt.date]:
    """The dates on which a zone with so many days a week is watered."""
    if days_per_week >= 1 and site.permitted_days in (Site.PermittedDays.ODD, Site.PermittedDays.EVEN):
        odd = site.permitted_days == Site.PermittedDays.ODD
        return [date for date in dates if date.day % 2 == odd]
    weekdays = _spread(watering_rule(site).weekdays, max(1, round(days_per_week)))
    every_weeks = max(1, round(1 / days_per_week))
    return [date for date in dates if date.weekday() in weekdays and date.toordinal() // 7 % every_weeks == 0]


@functools.cache
def _spread(permitted: frozenset[int], count: int) -> frozenset[int]:
    return frozenset(spread_weekdays(permitted, count, NO_LOAD))


def permitted_dates(site: Site, dates: Sequence[dt.date], weekdays: frozenset[int] | None = None) -> np.ndarray:
    """Whether watering is allowed on each date; `weekdays` asks as if only these were permitted."""
    if weekdays is None and site.permitted_days in (Site.PermittedDays.ODD, Site.PermittedDays.EVEN):
        odd = site.permitted_days == Site.PermittedDays.ODD
        return np.array([date.day % 2 == odd for date in dates])
    allowed = watering_rule(site).weekdays if weekdays is None else weekdays
    return np.array([date.weekday() in allowed for date in dates])
