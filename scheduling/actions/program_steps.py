"""Steps and whole programs that come and go in a draft. A published schedule refuses."""

from scheduling.actions.errors import ScheduleError
from scheduling.actions.programs import draft_of
from scheduling.models import Program, ProgramStep, SeasonSchedule, ZoneMonth
from scheduling.queries.as_computed import needs_of
from sites.models import Controller, User, Zone

FIRST_MINUTES = 10.0  # of a zone for which nothing was computed
MOST_PROGRAMS = 12  # on one controller; more than any is likely to hold
LONGEST_NAME = 40


def add_step(*, program: Program, zone: Zone, by: User | None) -> ProgramStep:
    """The zone at the end of the program, with the minutes computed for it where there are any."""
    with draft_of(program, by, "added step") as schedule:
        if zone.valve is None or zone.valve.controller_id != program.controller_id:
            raise ScheduleError(f"Zone {zone} has no valve on {program.controller}.")
        month = ZoneMonth.objects.filter(schedule=schedule, zone=zone, month=schedule.month).first()
        computed = month if month is not None and month.run_time_min > 0 else None
        # A second step of a zone would halve the first: it comes with minutes of its own.
        alone = not ProgramStep.objects.filter(program__schedule=schedule, zone=zone, as_computed=True).exists()
        last = ProgramStep.objects.filter(program=program).order_by("position").last()
        return ProgramStep.objects.create(
            program=program,
            zone=zone,
            position=last.position + 1 if last else 1,
            run_time_min=computed.run_time_min if computed else FIRST_MINUTES,
            cycles=computed.cycles if computed else 1,
            soak_min=computed.soak_min if computed else 0,
            as_computed=alone and zone.pk in needs_of(schedule),
        )


def copy_step(*, step: ProgramStep, by: User | None) -> ProgramStep:
    """The same step once more, right behind it, with the minutes it has now."""
    with draft_of(step.program, by, "copied step"):
        steps = list(ProgramStep.objects.filter(program=step.program).order_by("position", "pk"))
        twin = ProgramStep.objects.create(
            program=step.program,
            zone=step.zone,
            position=step.position,
            run_time_min=step.run_time_min,
            cycles=step.cycles,
            soak_min=step.soak_min,
            enabled=step.enabled,
        )
        steps.insert(next(n for n, row in enumerate(steps) if row.pk == step.pk) + 1, twin)
        _number(steps)
        return twin


def remove_step(*, step: ProgramStep, by: User | None) -> None:
    with draft_of(step.program, by, "removed step"):
        step.delete()
        _number(list(ProgramStep.objects.filter(program=step.program_id).order_by("position", "pk")))


def add_program(*, schedule: SeasonSchedule, controller: Controller, by: User | None) -> Program:
    """An empty program, to be filled on its page; it waits for the others on this controller."""
    rows = list(Program.objects.filter(schedule=schedule, controller=controller))
    if len(rows) >= MOST_PROGRAMS:
        raise ScheduleError(f"{controller} has {len(rows)} programs already.")
    letter = next(one for one in "ABCDEFGHIJKLMNOPQRSTUVWXYZ" if f"Program {one}" not in {row.name for row in rows})
    program = Program(
        schedule=schedule,
        controller=controller,
        name=f"Program {letter}",
        priority=max((row.priority for row in rows), default=0) + 1,
        starts_at=rows[0].starts_at if rows else schedule.site.watering_window_start,
        weekdays=rows[0].weekdays if rows else [0, 2, 4],
    )
    with draft_of(program, by, "added program"):
        program.save()
    return program


def copy_program(*, program: Program, by: User | None) -> Program:
    """The program with its steps once more, switched off so that nothing waters twice by accident."""
    steps = list(ProgramStep.objects.filter(program=program).order_by("position", "pk"))
    with draft_of(program, by, "copied program"):
        twin = Program.objects.get(pk=program.pk)
        twin.pk, twin.enabled, twin.priority = None, False, program.priority + 1
        twin.name = f"{program.name[: LONGEST_NAME - 5]} copy"
        twin.save(force_insert=True)
        for step in steps:
            step.pk, step.program = None, twin
        ProgramStep.objects.bulk_create(steps)
    return twin


def delete_program(*, program: Program, by: User | None) -> None:
    with draft_of(program, by, "deleted program"):
        Program.objects.filter(pk=program.pk).delete()


def _number(steps: list[ProgramStep]) -> None:
    for position, row in enumerate(steps, start=1):
        row.position = position
    ProgramStep.objects.bulk_update(steps, ["position"])
