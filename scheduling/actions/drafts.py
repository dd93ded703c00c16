"""Computing draft schedules: one site, or thousands in batches with few queries."""

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from django.db import transaction
from django.db.models import Max, Prefetch, QuerySet

from scheduling.actions.errors import SiteIsOff
from scheduling.actions.insert import delete_rows, insert_objects, insert_rows
from scheduling.core.water.checks import WaterInputError
from scheduling.models import Program, ProgramStep, SeasonSchedule, ZoneMonth
from scheduling.models.schedule import no_month_known
from scheduling.queries.advice import WeekAhead, week_ahead
from scheduling.queries.as_computed import (
    OwnPrograms,
    Rows,
    freeze_needs,
    kept_with_new_minutes,
    litres_of_rows,
    own_programs,
)
from scheduling.queries.months import zone_month_values
from scheduling.queries.plan import SitePlan, StationWeather, plan_site, site_seasons, station_weather
from scheduling.queries.programs import Programs, fit_programs
from sites.actions.audit import record
from sites.models import Firm, Site, User, Zone
from sites.queries.site_state import standing_of, state_lines

SITES_PER_BATCH = 100
Progress = Callable[[int, int], None]


def compute_draft(
    *, site: Site, today: dt.date, by: User | None, month: int | None = None, keep_programs: bool = True
) -> SeasonSchedule:
    """Compute the site's season and put its programs into a draft, in place of the draft before.

    The programs follow what the soil needs this week where the station has the last days or a forecast was
    entered, else the normal of the month;
    `month` (1 to 12) asks for that month's normal. Programs that a person shaped are kept with new minutes, unless
    `keep_programs` is off: then they are fitted to the clock again. Published schedules are never touched.
    A site that is off gets no week's programs (`SiteIsOff`); a month's can be made ready for its startup.
    """
    standing = standing_of(site, today)
    if month is None and not standing.is_on:
        raise SiteIsOff(
            f"{site} is {standing.words}: it gets no advice for this week. Choose a month to make its startup's "
            "schedule ready, or record on the site's page that it is on."
        )
    own = own_programs([site.pk], asked=True) if keep_programs else {}
    (schedule,) = _compute_batch([site.pk], today, by, month, {}, own, keep_edited=False)
    record(by=by, verb="computed schedule", subject=schedule, site=site.pk)
    return schedule


def compute_many(
    *,
    sites: Iterable[Site],
    today: dt.date,
    by: User | None,
    month: int | None = None,
    progress: Progress | None = None,
) -> list[SeasonSchedule]:
    """Drafts for many sites, a batch at a time. A draft that a person edited or put on a visit's sheet stays.

    Programs that a person shaped in the published schedule are kept with new minutes. A site that is off gets none,
    and loses the one that was computed while it was on.
    """
    lines = state_lines()
    found = [site.pk for site in sites]
    ids = [pk for pk in found if lines[pk].at(today).is_on]
    _remove_untouched(set(found) - set(ids))
    stations: dict[int | None, StationWeather] = {}
    schedules: list[SeasonSchedule] = []
    for start in range(0, len(ids), SITES_PER_BATCH):
        batch = ids[start : start + SITES_PER_BATCH]
        own = own_programs(batch, asked=False)
        schedules += _compute_batch(batch, today, by, month, stations, own, keep_edited=True)
        if progress:
            progress(min(start + SITES_PER_BATCH, len(ids)), len(ids))
    return schedules


@transaction.atomic
def _compute_batch(
    ids: list[int],
    today: dt.date,
    by: User | None,
    month: int | None,
    stations: dict[int | None, StationWeather],
    own: dict[int, OwnPrograms],
    *,
    keep_edited: bool,
) -> list[SeasonSchedule]:
    list(Site.objects.select_for_update().filter(pk__in=ids).order_by("pk").values_list("pk"))  # one writer a site
    drafts = SeasonSchedule.objects.filter(site__in=ids, state=SeasonSchedule.State.DRAFT)
    if keep_edited:
        kept = set(drafts.exclude(edited_at=None, for_next_visit_at=None).values_list("site_id", flat=True))
        ids = [pk for pk in ids if pk not in kept]
        drafts = drafts.filter(site__in=ids)
    _remove(drafts)
    last = dict(
        SeasonSchedule.objects.filter(site__in=ids, season_year=today.year)
        .order_by()
        .values_list("site")
        .annotate(Max("revision"))
    )
    with Firm.remembered():  # words about a zone are in the firm's units
        plans = _plans(ids, today, month, stations)
        kept_rows: dict[int, Rows] = {}  # of sites whose programs a person shaped
        fitted = [_programs(plan, today, own.get(plan.site.pk), kept_rows) for plan in plans]
    tables = [_month_rows(plan) for plan in plans]
    schedules = [
        _schedule(plan, table, programs, today, by, last.get(plan.site.pk, 0) + 1, own=plan.site.pk in kept_rows)
        for plan, table, programs in zip(plans, tables, fitted, strict=True)
    ]
    insert_objects(schedules)
    keys = dict(drafts.order_by().values_list("site_id", "pk"))  # a site has one draft
    for schedule in schedules:
        schedule.pk = keys[schedule.site_id]
        schedule._state.adding = False
    _store_months(schedules, tables)
    _store_programs(schedules, fitted)
    _store_kept(schedules, kept_rows)
    return schedules


@transaction.atomic
def _remove_untouched(site_ids: Iterable[int]) -> None:
    """Take away the nightly drafts of these sites."""
    drafts = SeasonSchedule.objects.filter(site__in=list(site_ids), state=SeasonSchedule.State.DRAFT)
    _remove(drafts.filter(edited_at=None, for_next_visit_at=None))


def _remove(drafts: QuerySet[SeasonSchedule]) -> None:
    delete_rows(ProgramStep.objects.filter(program__schedule__in=drafts))
    delete_rows(Program.objects.filter(schedule__in=drafts))
    delete_rows(ZoneMonth.objects.filter(schedule__in=drafts))
    delete_rows(drafts)


def _programs(plan: SitePlan, today: dt.date, own: OwnPrograms | None, kept_rows: dict[int, Rows]) -> Programs:
    """Fitted to the clock; or, kept as a person shaped them, no programs but rows that go into `kept_rows`."""
    plan.basis["zone_weeks"] = freeze_needs(plan)
    if own is None:
        return _fitted(plan, today)
    rows, warnings = kept_with_new_minutes(own, plan)
    kept_rows[plan.site.pk] = rows
    return Programs((), tuple(warnings), litres_of_rows(rows, plan))


def _plans(
    ids: list[int], today: dt.date, month: int | None, stations: dict[int | None, StationWeather]
) -> list[SitePlan]:
    """Every site's season and week; `stations` keeps what was read of each for the batches that follow."""
    found = []
    for site in _sites_with_plant(ids):
        if site.weather_station_id not in stations:
            stations[site.weather_station_id] = station_weather(site.weather_station, today)
        found.append(site_seasons(site, stations[site.weather_station_id], today.year))
    ahead = week_ahead(found, stations, today) if month is None else WeekAhead({}, {})
    plans = [plan_site(item, stations[item.site.weather_station_id], today, month, ahead.zones) for item in found]
    for plan in plans:
        plan.published_week = ahead.sites.get(plan.site.pk)
    return plans


def _fitted(plan: SitePlan, today: dt.date) -> Programs:
    try:
        return fit_programs(plan, today)
    except WaterInputError as error:
        return Programs((), (f"No programs: {error}",), None)


def _sites_with_plant(ids: list[int]) -> Iterator[Site]:
    zones = Zone.objects.filter(in_use=True).select_related("valve")
    return iter(
        Site.objects.filter(pk__in=ids)
        .order_by("pk")
        .select_related("weather_station")
        .prefetch_related(Prefetch("zones", zones), "controllers", "supplies__pump")
    )


def _month_rows(plan: SitePlan) -> list[dict[str, Any]]:
    """The table of months: twelve rows a zone."""
    return [
        {"zone_id": item.zone.pk, **zone_month_values(item, month, plan.site)}
        for item in plan.zones
        for month in item.season.months
    ]


def _litres_by_month(table: list[dict[str, Any]]) -> list[float | None]:
    by_month = no_month_known()
    for row in table:
        if row["water_l"] is not None:
            by_month[row["month"] - 1] = (by_month[row["month"] - 1] or 0.0) + row["water_l"]
    return by_month


def _schedule(
    plan: SitePlan,
    table: list[dict[str, Any]],
    fitted: Programs,
    today: dt.date,
    by: User | None,
    revision: int,
    *,
    own: bool,
) -> SeasonSchedule:
    return SeasonSchedule(
        site=plan.site,
        season_year=plan.year,
        revision=revision,
        month=plan.month,
        week_starts_on=today,
        computed_by=by,
        basis=plan.basis,
        warnings=plan.warnings + list(fitted.warnings),
        not_computed=plan.not_computed,
        litres_per_week=fitted.litres_per_week,
        litres_by_month=_litres_by_month(table),
        published_week=plan.published_week,
        own_programs=own,
    )


MONTH_COLUMNS = (
    "schedule_id", "zone_id", "month", "reference_et_mm", "plant_factor", "effective_rain_mm", "net_need_mm",
    "run_time_min_per_week", "days_per_week", "run_time_min", "cycles", "soak_min", "percent_of_peak", "water_l",
    "derivation",
)  # fmt: skip
STEP_COLUMNS = ("program_id", "zone_id", "position", "run_time_min", "cycles", "soak_min", "enabled", "as_computed")


def _store_months(schedules: list[SeasonSchedule], tables: list[list[dict[str, Any]]]) -> None:
    columns = MONTH_COLUMNS[1:]
    insert_rows(
        ZoneMonth,
        MONTH_COLUMNS,
        (
            (schedule.pk, *(row[name] for name in columns))
            for schedule, table in zip(schedules, tables, strict=True)
            for row in table
        ),
    )


def _store_programs(schedules: list[SeasonSchedule], fitted: list[Programs]) -> None:
    planned = [
        (schedule.pk, program)
        for schedule, programs in zip(schedules, fitted, strict=True)
        for program in programs.programs
    ]
    insert_objects(
        [
            Program(
                schedule_id=schedule_pk,
                controller=program.controller,
                name=program.name,
                priority=program.priority,
                starts_at=program.starts_at,
                weekdays=program.weekdays,
                day_rule=Program.DayRule.INTERVAL if program.every_weeks > 1 else Program.DayRule.WEEKDAYS,
                every_n_days=7 * program.every_weeks if program.every_weeks > 1 else 2,
                counted_from=program.counted_from,
            )
            for schedule_pk, program in planned
        ]
    )
    # A controller's programs bear different names.
    rows = Program.objects.filter(schedule__in=schedules).order_by()
    keys = {row[1:]: row[0] for row in rows.values_list("pk", "schedule_id", "controller_id", "name")}
    insert_rows(
        ProgramStep,
        STEP_COLUMNS,
        (
            (
                keys[schedule_pk, program.controller.pk, program.name],
                step.zone.pk,
                position,
                step.run_time_min,
                step.cycles,
                step.soak_min,
                True,
                True,
            )
            for schedule_pk, program in planned
            for position, step in enumerate(program.steps, start=1)
        ),
    )


def _store_kept(schedules: list[SeasonSchedule], kept_rows: dict[int, Rows]) -> None:
    """Programs a person shaped may bear any name: their keys come from the insert itself."""
    pairs = []
    for schedule in schedules:
        for program, steps in kept_rows.get(schedule.site_id, ()):
            program.schedule = schedule
            pairs.append((program, steps))
    Program.objects.bulk_create(program for program, _ in pairs)
    rows = (
        (program.pk, *(getattr(step, name) for name in STEP_COLUMNS[1:]))
        for program, steps in pairs
        for step in steps
    )
    insert_rows(ProgramStep, STEP_COLUMNS, rows)
