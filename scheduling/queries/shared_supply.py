"""Drafted programs of several controllers on one supply: moved apart until they are proved together."""

import datetime as dt
import math
import zoneinfo
from collections.abc import Sequence
from dataclasses import replace

from scheduling.core.sequence.compile import compile_programs
from scheduling.core.sequence.parts import Part
from scheduling.core.sequence.plant import Plant, on_controller
from scheduling.core.sequence.programs import Program, Step, Weekdays
from scheduling.core.sequence.together import verify_together
from scheduling.queries.planned import PlannedProgram
from sites.core.plant import SitePlant
from sites.models import Site

MOST_MOVES = 30
A_MONDAY = dt.date(2001, 1, 1)  # the week goes round: any will do
DAY_MIN = 24 * 60


def apart(site: Site, plant: SitePlant, programs: Sequence[PlannedProgram]) -> list[PlannedProgram]:
    """Start the controllers planned later sooner, by what the proof says is missing, until they are proved together.

    programs: of one supply, controller by controller; the first one's stay. Where no start helps, or one controller
    is not proved alone, they stay as they are: the sequence's page tells.
    """
    zone = zoneinfo.ZoneInfo(site.time_zone)
    by_controller: dict[int, list[PlannedProgram]] = {}
    for program in programs:
        by_controller.setdefault(program.controller.pk, []).append(program)
    try:
        plants = {pk: on_controller(plant, plant.the_controller(pk)) for pk in by_controller}
    except ValueError:
        return list(programs)
    settled: list[Part] = []
    found: list[PlannedProgram] = []
    for pk, own in by_controller.items():
        minutes = _sooner_by(settled, plants[pk], own, zone)
        moved = [_sooner(program, minutes) for program in own]
        settled.append(_part(plants[pk], moved, zone))
        found += moved
    return found


def _sooner_by(settled: list[Part], plant: Plant, own: list[PlannedProgram], zone: zoneinfo.ZoneInfo) -> int:
    """Minutes by which these programs start sooner than planned; 0 where no number of them helps."""
    minutes = 0
    for _ in range(MOST_MOVES):
        part = _part(plant, [_sooner(program, minutes) for program in own], zone)
        clash = verify_together((*settled, part)).clash
        if clash is None:
            return minutes
        minutes += max(1, math.ceil(-clash.margin_s / 60))
        if minutes >= DAY_MIN:
            break
    return 0


def _sooner(program: PlannedProgram, minutes: int) -> PlannedProgram:
    """The same program so much sooner; past midnight on the days before."""
    start_min = program.starts_at.hour * 60 + program.starts_at.minute - minutes
    days_before, start_min = -(start_min // DAY_MIN), start_min % DAY_MIN
    return replace(
        program,
        starts_at=dt.time(start_min // 60, start_min % 60),
        weekdays=sorted((day - days_before) % 7 for day in program.weekdays),
        counted_from=program.counted_from and program.counted_from - dt.timedelta(days=days_before),
    )


def _part(plant: Plant, planned: list[PlannedProgram], zone: zoneinfo.ZoneInfo) -> Part:
    """As if all ran every week and on every day they may: what is apart then is apart always."""
    programs = [
        Program(
            id=number,
            name=one.name,
            start_times=(one.starts_at,),
            days=Weekdays(frozenset(one.weekdays)),
            steps=tuple(
                Step(step.zone.valve_id, step.run_time_min, step.cycles, step.soak_min)
                for step in one.steps
                if step.zone.valve_id is not None
            ),
            priority=one.priority,
        )
        for number, one in enumerate(planned)
    ]
    return Part(plant, compile_programs(plant, programs, A_MONDAY, A_MONDAY + dt.timedelta(days=6), zone))
