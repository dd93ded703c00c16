"""A one-off run of a controller, compiled and proved as a week is."""

import datetime as dt
import zoneinfo
from collections.abc import Sequence

from django.db.models import Prefetch

from scheduling.core.sequence.compile import Options, compile_once
from scheduling.core.sequence.plant import on_controller
from scheduling.core.sequence.programs import Step, walk_through_steps
from scheduling.models import Program, ProgramStep, SeasonSchedule
from scheduling.queries.sequence import compiled, not_compiled, plant_of, week_timeline
from scheduling.queries.sequence_proof import supply_week
from scheduling.queries.sequence_weeks import SupplyWeek
from scheduling.queries.week_concerns import COLLISION, Concern, concerns
from sites.models import Controller, Site, Valve, WaterSupply, Zone


def one_off_run(controller: Controller, steps: Sequence[Step], starts_at: dt.datetime, name: str) -> SupplyWeek:
    """The run's commands from `starts_at` with proof or counter-example, and which published program it meets."""
    site, zone = controller.site, zoneinfo.ZoneInfo(controller.site.time_zone)
    row = (  # its valves and their zones read once: chart and concerns ask each of them
        Controller.objects.filter(pk=controller.pk)
        .prefetch_related(Prefetch("valves", Valve.objects.prefetch_related("zones")))
        .get()
    )
    supplies = list(site.supplies.select_related("pump"))
    supply, plant = row.waters_from(supplies), plant_of(site, supplies, [row])
    try:
        own = on_controller(plant, plant.the_controller(row.pk))
    except ValueError as error:
        return supply_week(supply, [not_compiled(row, error)], zone)
    options = Options(window=(site.watering_window_start, site.watering_window_end))
    timeline = compile_once(own, steps, starts_at, options, name)
    met = _programs_beside(site, supply, row, (starts_at, timeline.at(timeline.lasts_s, zone)))
    found = (*concerns(timeline, plant, row.pk, zone), *met)
    return supply_week(supply, [compiled(row, own, timeline, {0: name}, found, zone)], zone)


def _programs_beside(
    site: Site, supply: WaterSupply | None, controller: Controller, span: tuple[dt.datetime, dt.datetime]
) -> tuple[Concern, ...]:
    """The first published program that waters from the same supply, or on the same controller, during the run."""
    published = SeasonSchedule.objects.published().filter(site=site).select_related("site").first()
    if published is None:
        return ()
    begins, ends = span
    week = week_timeline(published, week_starts_on=begins.date() - dt.timedelta(days=1))
    for other in week.supplies:
        for one in other.controllers:
            if one.controller.pk != controller.pk and (supply is None or other.supply != supply):
                continue
            run = next((run for run in one.runs if run.opens_at < ends and run.closes_at > begins), None)
            if run is not None:
                words = (
                    f"{run.program} of {one.controller} waters from {run.opens_at:%H:%M}, during this run, which is "
                    "proved without it. Choose another time, or pause the site's watering for that day"
                )
                return (Concern(COLLISION, words, run.opens_at, unsafe=True),)
    return ()


def all_zones(controller: Controller, minutes: float) -> tuple[Step, ...]:
    """A walk-through of every zone valve that waters something, in the order of the terminals."""
    valves = Valve.objects.filter(controller=controller, is_master=False, zones__in_use=True).distinct()
    ordered = sorted(valves, key=lambda valve: (valve.terminal is None, valve.terminal or 0, valve.pk))
    return walk_through_steps(tuple(valve.pk for valve in ordered), minutes)


def zone_valves(controller: Controller) -> list[Valve]:
    return list(Valve.objects.filter(controller=controller, is_master=False).prefetch_related("zones"))


def published_programs(controller: Controller) -> list[Program]:
    return list(
        Program.objects.filter(controller=controller, schedule__state=SeasonSchedule.State.PUBLISHED, enabled=True)
    )


def zones_without_valve(program: Program) -> list[Zone]:
    """Zones that the program waters and nothing opens."""
    return [
        row.zone
        for row in ProgramStep.objects.filter(program=program, enabled=True, zone__valve=None).select_related("zone")
    ]


def program_steps(program: Program) -> tuple[Step, ...]:
    rows = ProgramStep.objects.filter(program=program, enabled=True).select_related("zone").order_by("position")
    return tuple(
        Step(row.zone.valve_id, row.run_time_min, row.cycles, row.soak_min)
        for row in rows
        if row.zone.valve_id is not None
    )
