"""A schedule's week compiled to commands for valves and pump, and proved: all controllers of a supply together."""

import datetime as dt
import zoneinfo
from collections import defaultdict
from collections.abc import Iterable

from django.db.models import Prefetch

from scheduling.core.sequence.compile import REACH, Options, compile_programs
from scheduling.core.sequence.plant import Plant, on_controller
from scheduling.core.sequence.programs import Dates, Program, Step
from scheduling.core.sequence.timeline import Timeline
from scheduling.models import Program as ProgramRow
from scheduling.models import ProgramStep, SeasonSchedule, WateringPause
from scheduling.queries.as_computed import wired
from scheduling.queries.calendar import dates_from, paused_dates, runs_on
from scheduling.queries.sequence_proof import in_units, supply_week, with_concern
from scheduling.queries.sequence_weeks import ControllerWeek, TimedRun, WeekTimeline
from scheduling.queries.week_concerns import LEFT_OUT, Concern, concerns
from sites.core.plant import SitePlant
from sites.models import Controller, Site, WaterSupply
from sites.models import Valve as ValveRow
from sites.queries.plant import PlantRows, described


def week_timeline(schedule: SeasonSchedule, *, week_starts_on: dt.date) -> WeekTimeline:
    """Compile the seven days of the schedule's programs for each controller and verify what shares a supply."""
    site = schedule.site
    dates = _dates(site, week_starts_on)
    steps = ProgramStep.objects.select_related("zone__valve").order_by("position", "pk")
    programs: dict[int, list[ProgramRow]] = defaultdict(list)
    for program in schedule.programs.prefetch_related(Prefetch("steps", steps)):
        program.schedule = schedule
        programs[program.controller_id].append(program)
    controllers = Controller.objects.filter(site=site, pk__in=programs).prefetch_related(
        Prefetch("valves", ValveRow.objects.prefetch_related("zones"))
    )
    supplies = list(WaterSupply.objects.filter(site=site).select_related("pump"))
    plant = plant_of(site, supplies, controllers)
    groups: dict[object, tuple[WaterSupply | None, list[ControllerWeek]]] = {}
    for controller in controllers:
        supply = controller.waters_from(supplies)
        week = _controller_week(controller, plant, programs[controller.pk], dates, week_starts_on)
        key = ("supply", supply.pk) if supply else ("controller", controller.pk)
        groups.setdefault(key, (supply, []))[1].append(week)
    zone = zoneinfo.ZoneInfo(site.time_zone)
    return WeekTimeline(week_starts_on, tuple(supply_week(supply, weeks, zone) for supply, weeks in groups.values()))


def plant_of(site: Site, supplies: list[WaterSupply], controllers: Iterable[Controller]) -> SitePlant:
    """The site's plant from rows already read: supplies with pumps, controllers with valves and their zones."""
    valves = [valve for controller in controllers for valve in controller.valves.all()]
    zones = [zone for valve in valves for zone in valve.zones.all()]
    return described(site, PlantRows(supplies=supplies, controllers=list(controllers), valves=valves, zones=zones))


def _dates(site: Site, first: dt.date) -> frozenset[dt.date]:
    """The dates without a pause, from a week before the week to a week after it: so far the compiler reaches."""
    begin, end = first - REACH, first + dt.timedelta(days=6) + REACH
    pauses = WateringPause.objects.filter(site=site, starts_on__lte=end, ends_on__gte=begin)
    return frozenset(dates_from(begin, end)) - paused_dates(pauses, begin, end)


def _controller_week(
    controller: Controller,
    plant: SitePlant,
    rows: list[ProgramRow],
    dates: frozenset[dt.date],
    first: dt.date,
) -> ControllerWeek:
    """Compiled, not yet proved."""
    site = controller.site
    zone = zoneinfo.ZoneInfo(site.time_zone)
    try:
        own = on_controller(plant, plant.the_controller(controller.pk))
        timeline = compile_programs(
            own,
            [_program(row, site, dates) for row in rows],
            first,
            first + dt.timedelta(days=6),
            zone,
            Options(
                window=(site.watering_window_start, site.watering_window_end),
                refuse_collisions=controller.colliding_programs == Controller.Collision.REFUSE,
            ),
        )
    except ValueError as error:
        return not_compiled(controller, error)
    names = {row.pk: row.name for row in rows}
    week = compiled(controller, own, timeline, names, concerns(timeline, plant, controller.pk, zone), zone)
    return with_concern(week, _unwired(rows, timeline, zone))


def _unwired(rows: list[ProgramRow], timeline: Timeline, zone: zoneinfo.ZoneInfo) -> Concern | None:
    """Steps whose zone lost its valve, or got one of another controller, since the program was made."""
    lost = [f"zone {step.zone} of {row.name}" for row in rows if row.enabled
            for step in row.steps.all() if step.enabled and not wired(step, row)]  # fmt: skip
    if not lost:
        return None
    return Concern(
        LEFT_OUT, f"On no valve of this controller, so not watered: {', '.join(lost)}", timeline.at(0, zone)
    )


def not_compiled(controller: Controller, error: ValueError) -> ControllerWeek:
    return ControllerWeek(controller, False, f"Cannot be compiled: {error}", (), (), (), (), 0)


def compiled(
    controller: Controller,
    plant: Plant,
    timeline: Timeline,
    names: dict[int, str],
    concerns: tuple[Concern, ...],
    zone: zoneinfo.ZoneInfo,
) -> ControllerWeek:
    """A timeline in local time and in words, before its proof."""
    valves = {valve.id: valve.name for valve in plant.valves}
    return ControllerWeek(
        controller=controller,
        ok=None,
        words="Nothing runs in this week.",
        kept=(),
        story=(),
        notices=tuple(dict.fromkeys(in_units(notice.text, notice.excess) for notice in timeline.notices)),
        runs=tuple(
            TimedRun(
                timeline.at(run.open_s, zone),
                timeline.at(run.close_s, zone),
                valves[run.valve_id],
                names.get(run.program_id, ""),
            )
            for run in timeline.runs
        ),
        pump_starts=len(timeline.pump_runs()),
        plant=plant,
        timeline=timeline,
        concerns=concerns,
    )


def _program(row: ProgramRow, site: Site, dates: frozenset[dt.date]) -> Program:
    return Program(
        id=row.pk,
        name=row.name,
        start_times=row.start_times,
        days=Dates(frozenset(date for date in dates if runs_on(row, site, date))),
        steps=tuple(
            Step(valve_id, step.run_time_min, step.cycles, step.soak_min, step.enabled)
            for step in row.steps.all()
            if wired(step, row) and (valve_id := step.zone.valve_id) is not None
        ),
        priority=row.priority,
    )
