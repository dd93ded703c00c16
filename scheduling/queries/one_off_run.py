"""A one-off run of a controller, compiled and proved as a week is."""

import datetime as dt
import zoneinfo
from collections.abc import Sequence

from django.db.models import Prefetch

from scheduling.core.sequence.compile import Options, compile_once
from scheduling.core.sequence.programs import Step, walk_through_steps
from scheduling.models import Program, ProgramStep, SeasonSchedule
from scheduling.queries.sequence import ControllerWeek, not_compiled, plant_of, verified
from sites.models import Controller, Valve, Zone


def one_off_run(controller: Controller, steps: Sequence[Step], starts_at: dt.datetime, name: str) -> ControllerWeek:
    """The run's commands from `starts_at` with proof or counter-example."""
    site = controller.site
    row = (  # its valves and their zones read once: chart and concerns ask each of them
        Controller.objects.filter(pk=controller.pk)
        .prefetch_related(Prefetch("valves", Valve.objects.prefetch_related("zones")))
        .get()
    )
    try:
        plant = plant_of(row, list(site.supplies.select_related("pump")))
    except ValueError as error:
        return not_compiled(row, error)
    options = Options(window=(site.watering_window_start, site.watering_window_end))
    timeline = compile_once(plant, steps, starts_at, options, name)
    return verified(row, plant, timeline, {0: name}, zoneinfo.ZoneInfo(site.time_zone))


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
