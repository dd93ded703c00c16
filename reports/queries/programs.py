"""The published programs of a site as they are printed on sheets and cards."""

from reports.documents.controller_card import Program, ZoneMinutes
from scheduling.models import SeasonSchedule
from scheduling.queries.schedule_page import ControllerCard, ProgramCard, schedule_sheet
from sites.models import Site


def published_schedule(site: Site) -> SeasonSchedule | None:
    return SeasonSchedule.objects.published().filter(site=site).select_related("site").first()


def printed_programs(schedule: SeasonSchedule, *, controllers: set[int]) -> tuple[Program, ...]:
    """One entry a program of the controllers with these ids."""
    return tuple(
        _printed(card, program)
        for card in schedule_sheet(schedule).controllers
        if card.controller.pk in controllers
        for program in card.programs
        if program.program.enabled
    )


def _printed(card: ControllerCard, program: ProgramCard) -> Program:
    return Program(
        controller=card.controller.name,
        name=program.program.name,
        days=program.days,
        start_times=", ".join(f"{start:%H:%M}" for start in program.program.start_times),
        zones=tuple(
            ZoneMinutes(
                zone=str(line.step.zone.number),
                name=line.step.zone.name,
                minutes=f"{line.step.run_time_min:g} min",
                cycles=line.cycles_words,
            )
            for line in program.steps
            if line.step.enabled
        ),
        total=f"{program.minutes:g} min, done by {program.ends_at:%H:%M}",
    )
