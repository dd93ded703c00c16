"""Changing a draft's programs by hand. A published schedule refuses."""

import datetime as dt
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import Prefetch
from django.utils import timezone

from scheduling.actions.errors import ScheduleError
from scheduling.models import Program, ProgramStep, SeasonSchedule
from scheduling.queries.as_computed import needs_of, refill
from scheduling.queries.water_now import litres_per_week
from sites.actions.audit import record
from sites.models import User

DAY_FIELDS = (
    "further_starts",
    "day_rule",
    "every_n_days",
    "counted_from",
    "active_from",
    "active_until",
    "enabled",
    "priority",
)


@dataclass(frozen=True)
class StepChange:
    """What a step is to be after the change; minutes are of a watering day, all cycles together.

    as_computed: None leaves it. Figures typed over the computed ones, and a step switched off, stay as typed.
    """

    pk: int
    run_time_min: float
    cycles: int
    soak_min: float
    enabled: bool
    as_computed: bool | None = None


@contextmanager
def draft_of(program: Program, by: User | None, verb: str) -> Iterator[SeasonSchedule]:
    """Hold the program's schedule while it changes; refuse unless it is still a draft."""
    with transaction.atomic():
        schedule = SeasonSchedule.objects.select_for_update().filter(pk=program.schedule_id).first()
        if schedule is None:
            raise ScheduleError(
                "This draft was computed again since you opened it. Nothing was saved; open the new one."
            )
        if schedule.state != SeasonSchedule.State.DRAFT:
            raise ScheduleError("A published schedule is never changed. Compute a new draft and publish that.")
        yield schedule
        _refill(schedule)
        schedule.own_programs = True
        schedule.litres_per_week = litres_per_week(schedule)
        schedule.edited_at = timezone.now()
        schedule.save(update_fields=["litres_per_week", "edited_at", "own_programs"])
        record(by=by, verb=verb, subject=schedule, program=program.pk)


def _refill(schedule: SeasonSchedule) -> None:
    """Steps as computed share their zone's week again: days, starts or steps may have changed."""
    steps = Prefetch("steps", ProgramStep.objects.order_by("position", "pk"))
    programs = list(Program.objects.filter(schedule=schedule).prefetch_related(steps))
    refill([(program, list(program.steps.all())) for program in programs], needs_of(schedule), schedule.site)
    following = [step for program in programs for step in program.steps.all() if step.as_computed]
    ProgramStep.objects.bulk_update(following, ["run_time_min", "cycles", "soak_min", "enabled"])


def edit_program(
    *,
    program: Program,
    name: str,
    starts_at: dt.time,
    weekdays: list[int],
    steps: list[StepChange],
    by: User | None,
    order: Sequence[int] = (),
    **days: Any,
) -> Program:
    """Set the program's name, starts, days and the figures of its steps; steps not named stay as they are.

    order: the keys of all its steps in their new order; ignored where a step came or went since. days: any of
    `DAY_FIELDS`.
    """
    with draft_of(program, by, "edited program"):
        program.name, program.starts_at, program.weekdays = name, starts_at, sorted(weekdays)
        for field in DAY_FIELDS:
            setattr(program, field, days.get(field, getattr(program, field)))
        program.save(update_fields=["name", "starts_at", "weekdays", *DAY_FIELDS])
        rows = {step.pk: step for step in ProgramStep.objects.filter(program=program)}
        for change in steps:
            if (row := rows.get(change.pk)) is not None:
                row.as_computed = _follows(row, change)
                row.run_time_min, row.cycles = change.run_time_min, change.cycles
                row.soak_min, row.enabled = change.soak_min, change.enabled
        if sorted(order) == sorted(rows):
            for position, key in enumerate(order, start=1):
                rows[key].position = position
        ProgramStep.objects.bulk_update(
            rows.values(), ["run_time_min", "cycles", "soak_min", "enabled", "position", "as_computed"]
        )
    return program


def _follows(row: ProgramStep, change: StepChange) -> bool:
    if change.as_computed and not row.as_computed:
        return True
    same = (row.run_time_min, row.cycles, row.soak_min) == (change.run_time_min, change.cycles, change.soak_min)
    switched_off = row.enabled and not change.enabled
    return row.as_computed and change.as_computed is not False and same and not switched_off


def move_step(*, step: ProgramStep, up: bool, by: User | None) -> None:
    """Swap the step with the one before (or after) it; at the end nothing happens."""
    with draft_of(step.program, by, "moved step"):
        steps = list(ProgramStep.objects.filter(program=step.program).order_by("position", "pk"))
        place = next(number for number, row in enumerate(steps) if row.pk == step.pk)
        other = place - 1 if up else place + 1
        if 0 <= other < len(steps):
            steps[place], steps[other] = steps[other], steps[place]
        for position, row in enumerate(steps, start=1):
            row.position = position
        ProgramStep.objects.bulk_update(steps, ["position"])
