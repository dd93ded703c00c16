"""Changing a draft's programs by hand. A published schedule refuses."""

import datetime as dt
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone

from scheduling.actions.errors import ScheduleError
from scheduling.models import Program, ProgramStep, SeasonSchedule
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
)


@dataclass(frozen=True)
class StepChange:
    """What a step is to be after the change; minutes are of a watering day, all cycles together."""

    pk: int
    run_time_min: float
    cycles: int
    soak_min: float
    enabled: bool


@contextmanager
def draft_of(program: Program, by: User | None, verb: str) -> Iterator[SeasonSchedule]:
    """Hold the program's schedule while it changes; refuse unless it is still a draft."""
    with transaction.atomic():
        schedule = SeasonSchedule.objects.select_for_update().filter(pk=program.schedule_id).first()
        if schedule is None:
            raise ScheduleError("This draft was computed anew in the meantime. Open the new one.")
        if schedule.state != SeasonSchedule.State.DRAFT:
            raise ScheduleError("A published schedule is never changed. Compute a new draft and publish that.")
        yield schedule
        schedule.litres_per_week = litres_per_week(schedule)
        schedule.edited_at = timezone.now()
        schedule.save(update_fields=["litres_per_week", "edited_at"])
        record(by=by, verb=verb, subject=schedule, program=program.pk)


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

    order: the keys of all its steps in their new order; ignored where a step came or went meanwhile. days: any of
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
                row.run_time_min, row.cycles = change.run_time_min, change.cycles
                row.soak_min, row.enabled = change.soak_min, change.enabled
        if sorted(order) == sorted(rows):
            for position, key in enumerate(order, start=1):
                rows[key].position = position
        ProgramStep.objects.bulk_update(rows.values(), ["run_time_min", "cycles", "soak_min", "enabled", "position"])
    return program


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
