"""A controller's published schedule and its plant as the cards for its door print them."""

import calendar
import datetime as dt
from collections import defaultdict

from jobs.queries.plant_drawing import told_of
from reports.documents.controller_card import CardZone, ControllerCard
from reports.documents.wiring_card import WiringCard
from reports.queries.letterhead import day, letterhead
from reports.queries.programs import printed_programs, published_schedule
from scheduling.models import Program, ProgramStep, SeasonSchedule, ZoneMonth
from sites.core.plant import SitePlant
from sites.models import Controller, Firm
from sites.queries.plant import site_plant


def controller_card_data(controller: Controller) -> ControllerCard:
    """What is set at the controller, with the season by zone."""
    site, plant = controller.site, site_plant(controller.site)
    schedule = published_schedule(site)
    months = _months(schedule)
    return ControllerCard(
        firm=letterhead(Firm.current()),
        reference=f"{site.name}, controller {controller.pk}",
        plant=plant,
        controller=plant.the_controller(controller.pk),
        revision=f"{schedule.season_year}, revision {schedule.revision}" if schedule else "none published",
        published_on=day(schedule.published_at.date()) if schedule and schedule.published_at else "",
        programs=printed_programs(schedule, controllers={controller.pk}) if schedule else (),
        zones=_outputs(plant, controller, schedule, months),
        months=tuple(calendar.month_abbr[month] for month in months),
    )


def wiring_card_data(controller: Controller, today: dt.date) -> WiringCard:
    plant = site_plant(controller.site)
    return WiringCard(
        firm=letterhead(Firm.current()),
        reference=f"{controller.site.name}, controller {controller.pk}",
        plant=plant,
        controller=plant.the_controller(controller.pk),
        told=told_of(controller.site),
        made_on=day(today),
    )


def _months(schedule: SeasonSchedule | None) -> list[int]:
    """The months in which anything is watered."""
    if schedule is None:
        return []
    rows = ZoneMonth.objects.filter(schedule=schedule, run_time_min__gt=0)
    return sorted(set(rows.values_list("month", flat=True)))


def _outputs(
    plant: SitePlant, controller: Controller, schedule: SeasonSchedule | None, months: list[int]
) -> tuple[CardZone, ...]:
    """The outputs in order of the terminals, the master valve too."""
    set_now, minutes = _set_now(controller, schedule), _months_of(schedule)
    lines = []
    for valve in plant.valves_on(controller.pk):
        terminal = str(valve.terminal) if valve.terminal is not None else "?"
        zones = plant.zones_of(valve.id)
        if not zones:
            name = f"{valve.name} (master valve)" if valve.is_master else f"{valve.name} (no zone)"
            lines.append(CardZone(terminal, name, "", tuple("" for _ in months)))
        for zone in zones:
            by_month = tuple(minutes.get((zone.id, month), "–") for month in months)
            lines.append(CardZone(terminal, str(zone), set_now.get(zone.id, "off"), by_month))
    return tuple(lines)


def _set_now(controller: Controller, schedule: SeasonSchedule | None) -> dict[int, str]:
    """ "A 2 × 9 min" by zone, from the programs as published."""
    words: dict[int, list[str]] = defaultdict(list)
    programs = Program.objects.filter(schedule=schedule, controller=controller, enabled=True) if schedule else ()
    steps = ProgramStep.objects.filter(program__in=programs, enabled=True).select_related("program")
    order = ("program__priority", "program_id", "position", "pk")
    for step in steps.order_by(*order):
        letter = step.program.name.removeprefix("Program ")
        cycles = f"{step.cycles} × " if step.cycles > 1 else ""
        soak = f", soak {step.soak_min:.4g} min" if step.cycles > 1 else ""
        words[step.zone_id].append(f"{letter} {cycles}{step.run_time_min / step.cycles:.4g} min{soak}")
    return {zone: "; ".join(parts) for zone, parts in words.items()}


def _months_of(schedule: SeasonSchedule | None) -> dict[tuple[int, int], str]:
    """ "50×1" by zone and month: minutes of a watering day, and how many such days a week they were computed for."""
    rows = ZoneMonth.objects.filter(schedule=schedule) if schedule else ZoneMonth.objects.none()
    return {
        (zone, month): f"{minutes:.0f}×{days:.2g}" if minutes else "–"
        for zone, month, minutes, days in rows.values_list("zone_id", "month", "run_time_min", "days_per_week")
    }
