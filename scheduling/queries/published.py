"""Which revision a site was watered by on each day, and for how many minutes each zone ran."""

import datetime as dt
import functools
import zoneinfo
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from django.db.models import Prefetch, Q

from scheduling.core.water.checks import Array
from scheduling.core.water.clock import spread_weekdays
from scheduling.models import Program, ProgramStep, SeasonSchedule, WateringPause, ZoneMonth
from scheduling.queries.calendar import dates_from, paused_dates, starts_on
from scheduling.queries.programs import watering_rule
from sites.models import Site

NO_LOAD = dict.fromkeys(range(7), 0.0)
A_DAY = dt.timedelta(days=1)


@dataclass
class DailyRuns:
    """A site's days from `first` on: minutes by zone, which days a schedule was in force, which were paused."""

    first: dt.date
    days: int
    minutes: dict[int, Array] = field(default_factory=dict)
    in_force: np.ndarray = field(default_factory=lambda: np.zeros(0, np.bool_))
    paused: np.ndarray = field(default_factory=lambda: np.zeros(0, np.bool_))

    def of(self, zone_ids: Sequence[int]) -> Array:
        """(days, zones) minutes; 0 for a zone that no schedule holds."""
        none = np.zeros(self.days)
        return np.array([self.minutes.get(zone_id, none) for zone_id in zone_ids]).T.reshape(self.days, len(zone_ids))

    @property
    def settled_from(self) -> int | None:
        """The day from which on a schedule was in force to the end without a gap; None where there is none now."""
        if not self.days or not self.in_force[-1]:
            return None
        gaps = np.flatnonzero(~self.in_force)
        return int(gaps[-1]) + 1 if len(gaps) else 0


def days_in_force(schedule: SeasonSchedule, site: Site) -> tuple[dt.date, dt.date]:
    """First and last day of a revision at the site; the day of publication counts for the new revision."""
    zone = zoneinfo.ZoneInfo(site.time_zone)
    assert schedule.published_at is not None
    start = schedule.published_at.astimezone(zone).date()
    if schedule.superseded_at is None:
        return start, dt.date.max - dt.timedelta(days=2)
    return start, schedule.superseded_at.astimezone(zone).date() - A_DAY


def daily_runs(sites: Iterable[Site], first: dt.date, until: dt.date) -> dict[int, DailyRuns]:
    """Minutes by day and zone of many sites, both days included, in four queries however many they are.

    By a revision's programs in the month they were made for; by its table of months otherwise, on days spread over
    the week as the site permits. A paused day has none.
    """
    by_id = {site.pk: site for site in sites}
    runs = {pk: DailyRuns(first, (until - first).days + 1) for pk in by_id}
    for run in runs.values():
        run.in_force, run.paused = np.zeros(run.days, np.bool_), np.zeros(run.days, np.bool_)
    pauses: dict[int, list[WateringPause]] = defaultdict(list)
    for pause in WateringPause.objects.filter(site__in=by_id, starts_on__lte=until, ends_on__gte=first):
        pauses[pause.site_id].append(pause)
    for pk, rows in pauses.items():
        for date in paused_dates(rows, first, until):
            runs[pk].paused[(date - first).days] = True
    schedules = list(_published(by_id, first, until))
    months = _months(schedules, first, until)
    for schedule in schedules:
        _add(runs[schedule.site_id], schedule, by_id[schedule.site_id], months[schedule.pk], first, until)
    return runs


def _published(site_ids: Iterable[int], first: dt.date, until: dt.date) -> Iterable[SeasonSchedule]:
    after = dt.datetime.combine(until + 2 * A_DAY, dt.time(), tzinfo=dt.UTC)  # a day to spare for every time zone
    before = dt.datetime.combine(first - A_DAY, dt.time(), tzinfo=dt.UTC)
    steps = Prefetch("steps", ProgramStep.objects.order_by("position"))
    return (
        SeasonSchedule.objects.filter(site__in=list(site_ids), published_at__lt=after)
        .filter(Q(superseded_at=None) | Q(superseded_at__gte=before))
        .defer("basis", "warnings", "not_computed")
        .prefetch_related(Prefetch("programs", Program.objects.prefetch_related(steps)))
        .order_by("site_id", "published_at", "pk")
    )


def _months(
    schedules: list[SeasonSchedule], first: dt.date, until: dt.date
) -> dict[int, dict[int, list[tuple[int, float, float]]]]:
    """Schedule -> month -> (zone, run time of a watering day, days a week)."""
    wanted = {date.month for date in dates_from(first, until)} if (until - first).days < 366 else set(range(1, 13))
    table: dict[int, dict[int, list[tuple[int, float, float]]]] = defaultdict(lambda: defaultdict(list))
    rows = ZoneMonth.objects.filter(schedule__in=schedules, month__in=wanted, run_time_min__gt=0).order_by()
    for pk, month, zone, run, days in rows.values_list(
        "schedule_id", "month", "zone_id", "run_time_min", "days_per_week"
    ):
        table[pk][month].append((zone, run, days))
    return table


def _add(
    run: DailyRuns,
    schedule: SeasonSchedule,
    site: Site,
    months: dict[int, list[tuple[int, float, float]]],
    first: dt.date,
    until: dt.date,
) -> None:
    start, end = days_in_force(schedule, site)
    by_month: dict[tuple[int, int], list[dt.date]] = defaultdict(list)
    for date in dates_from(max(first, start), min(until, end)):
        place = (date - first).days
        run.in_force[place] = True
        if not run.paused[place]:
            by_month[date.year, date.month].append(date)
    steps = [(program, step) for program in schedule.programs.all() for step in program.steps.all()]
    off = {step.zone_id for _, step in steps} - {step.zone_id for _, step in steps if step.enabled}
    for (year, month), dates in by_month.items():
        if (year, month) == (schedule.season_year, schedule.month):
            _add_programs(run, schedule, site, dates)
            continue
        for zone, minutes, days in months[month]:
            if zone not in off:
                for date in _watering_dates(site, days, dates):
                    _minutes(run, zone)[(date - first).days] += minutes


def _minutes(run: DailyRuns, zone: int) -> Array:
    if zone not in run.minutes:
        run.minutes[zone] = np.zeros(run.days)
    return run.minutes[zone]


def _add_programs(run: DailyRuns, schedule: SeasonSchedule, site: Site, dates: list[dt.date]) -> None:
    for program in schedule.programs.all():
        program.schedule = schedule  # an interval may count from the schedule's own week
        times = [((date - run.first).days, starts_on(program, site, date)) for date in dates]
        for step in program.steps.all():
            if step.enabled:
                minutes = _minutes(run, step.zone_id)
                for place, starts in times:
                    minutes[place] += starts * step.run_time_min


def _watering_dates(site: Site, days_per_week: float, dates: list[dt.date]) -> list[dt.date]:
    """The dates on which a zone with so many days a week is watered."""
    if site.permitted_days in (Site.PermittedDays.ODD, Site.PermittedDays.EVEN):
        odd = site.permitted_days == Site.PermittedDays.ODD
        return [date for date in dates if date.day % 2 == odd]
    weekdays = _spread(watering_rule(site).weekdays, max(1, round(days_per_week)))
    return [date for date in dates if date.weekday() in weekdays]


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
