"""Computing draft schedules: one site, or thousands in batches with few queries."""

import datetime as dt
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Max, Prefetch

from scheduling.actions.insert import insert_rows
from scheduling.core.water.checks import WaterInputError
from scheduling.models import Program, ProgramStep, SeasonSchedule, ZoneMonth
from scheduling.queries.as_computed import OwnPrograms, freeze_needs, kept_anew, litres_of_rows, own_programs
from scheduling.queries.months import zone_month_values
from scheduling.queries.plan import SitePlan, StationWeather, plan_site, site_seasons, station_weather
from scheduling.queries.programs import PlannedProgram, Programs, fit_programs
from scheduling.queries.soil_state import depletion_this_morning
from sites.actions.audit import record
from sites.models import Controller, Site, User, Zone

SITES_PER_BATCH = 100
Progress = Callable[[int, int], None]


def compute_draft(
    *, site: Site, today: dt.date, by: User | None, month: int | None = None, keep_programs: bool = True
) -> SeasonSchedule:
    """Compute the site's season and put its programs into a draft, in place of the draft before.

    The programs follow this week's weather where the station has the last days, else the normal of the month;
    `month` (1 to 12) asks for that month's normal. Programs that a person shaped are kept with new minutes, unless
    `keep_programs` is off: then they are fitted to the clock anew. Published schedules are never touched.
    """
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

    Programs that a person shaped in the published schedule are kept with new minutes.
    """
    ids = [site.pk for site in sites]
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
    drafts.delete()
    last = dict(
        SeasonSchedule.objects.filter(site__in=ids, season_year=today.year)
        .order_by()
        .values_list("site")
        .annotate(Max("revision"))
    )
    plans = _plans(ids, today, month, stations)
    computed = [(plan, _programs(plan, own.get(plan.site.pk))) for plan in plans]
    schedules = [_schedule(plan, found, today, by, last.get(plan.site.pk, 0) + 1) for plan, found in computed]
    SeasonSchedule.objects.bulk_create(schedules)
    _store_months(schedules, [plan for plan, _ in computed])
    _store_programs(schedules, [found.rows for _, found in computed])
    return schedules


@dataclass(frozen=True)
class _Found:
    """The programs of a draft as rows that are not saved yet."""

    rows: list[tuple[Program, list[ProgramStep]]]
    warnings: list[str]
    litres_per_week: float | None
    own: bool = False


def _programs(plan: SitePlan, own: OwnPrograms | None) -> _Found:
    """Fitted to the clock, or kept as a person shaped them."""
    plan.basis["zone_weeks"] = freeze_needs(plan)
    if own is None:
        fitted = _fitted(plan)
        rows = [_rows_of(planned) for planned in fitted.programs]
        return _Found(rows, list(fitted.warnings), fitted.litres_per_week)
    rows, warnings = kept_anew(own, plan)
    return _Found(rows, warnings, litres_of_rows(rows, plan), own=True)


def _rows_of(planned: PlannedProgram) -> tuple[Program, list[ProgramStep]]:
    program = Program(
        controller=planned.controller,
        name=planned.name,
        priority=planned.priority,
        starts_at=planned.starts_at,
        weekdays=planned.weekdays,
    )
    steps = [
        ProgramStep(
            zone=step.zone,
            position=position,
            run_time_min=step.run_time_min,
            cycles=step.cycles,
            soak_min=step.soak_min,
            as_computed=True,
        )
        for position, step in enumerate(planned.steps, start=1)
    ]
    return program, steps


def _plans(
    ids: list[int], today: dt.date, month: int | None, stations: dict[int | None, StationWeather]
) -> list[SitePlan]:
    """Every site's season and week; `stations` keeps what was read of each for the batches that follow."""
    found = []
    for site in _sites_with_plant(ids):
        if site.weather_station_id not in stations:
            stations[site.weather_station_id] = station_weather(site.weather_station, today)
        found.append(site_seasons(site, stations[site.weather_station_id], today.year))
    depletion = depletion_this_morning(found, stations, today) if month is None else {}
    return [plan_site(item, stations[item.site.weather_station_id], today, month, depletion) for item in found]


def _fitted(plan: SitePlan) -> Programs:
    try:
        return fit_programs(plan)
    except WaterInputError as error:
        return Programs((), (f"No programs: {error}",), None)


def _sites_with_plant(ids: list[int]) -> Iterator[Site]:
    zones = Zone.objects.filter(in_use=True).select_related("valve")
    controllers = Controller.objects.select_related("supply")
    return iter(
        Site.objects.filter(pk__in=ids)
        .order_by("pk")
        .select_related("weather_station")
        .prefetch_related(Prefetch("zones", zones), Prefetch("controllers", controllers))
    )


def _schedule(plan: SitePlan, found: _Found, today: dt.date, by: User | None, revision: int) -> SeasonSchedule:
    return SeasonSchedule(
        site=plan.site,
        season_year=plan.year,
        revision=revision,
        month=plan.month,
        week_starts_on=today,
        computed_by=by,
        basis=plan.basis,
        warnings=plan.warnings + found.warnings,
        not_computed=plan.not_computed,
        litres_per_week=found.litres_per_week,
        own_programs=found.own,
    )


MONTH_COLUMNS = (
    "schedule_id", "zone_id", "month", "reference_et_mm", "plant_factor", "effective_rain_mm", "net_need_mm",
    "run_time_min_per_week", "days_per_week", "run_time_min", "cycles", "soak_min", "percent_of_peak", "water_l",
    "derivation",
)  # fmt: skip
STEP_COLUMNS = ("program_id", "zone_id", "position", "run_time_min", "cycles", "soak_min", "enabled", "as_computed")


def _store_months(schedules: list[SeasonSchedule], plans: list[SitePlan]) -> None:
    values = (
        {"schedule_id": schedule.pk, "zone_id": item.zone.pk, **zone_month_values(item, month, plan.site)}
        for schedule, plan in zip(schedules, plans, strict=True)
        for item in plan.zones
        for month in item.season.months
    )
    insert_rows(ZoneMonth, MONTH_COLUMNS, (tuple(row[name] for name in MONTH_COLUMNS) for row in values))


def _store_programs(schedules: list[SeasonSchedule], found: list[list[tuple[Program, list[ProgramStep]]]]) -> None:
    pairs = []
    for schedule, rows in zip(schedules, found, strict=True):
        for program, steps in rows:
            program.schedule = schedule
            pairs.append((program, steps))
    Program.objects.bulk_create(program for program, _ in pairs)
    insert_rows(
        ProgramStep,
        STEP_COLUMNS,
        (
            (program.pk, *(getattr(step, name) for name in STEP_COLUMNS[1:]))
            for program, steps in pairs
            for step in steps
        ),
    )
