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
from sites.models import Controller, Firm, Valve, WaterSupply
from sites.queries.plant import site_plant


def controller_card_data(controller: Controller) -> ControllerCard:
    """What is set at the controller, with the season by zone; the firm and the shut-off to call for."""
    firm, site = Firm.current(), controller.site
    schedule = published_schedule(site)
    programs = printed_programs(schedule, controllers={controller.pk}) if schedule else ()
    months = _months(schedule)
    load = f", {controller.transformer_va:g} VA" if controller.transformer_va else ""
    return ControllerCard(
        firm=letterhead(firm),
        reference=f"{site.name}, controller {controller.pk}",
        site_name=site.name,
        controller=controller.name,
        location=controller.location,
        terminals=str(controller.terminals),
        supply=f"{controller.get_output_display()}{load}",
        revision=f"{schedule.season_year}, revision {schedule.revision}" if schedule else "none published",
        published_on=day(schedule.published_at.date()) if schedule and schedule.published_at else "",
        programs=programs,
        zones=_zones(controller, schedule, months),
        months=tuple(calendar.month_abbr[month] for month in months),
        pump_rule=pump_rule(controller),
        call=who_to_call(controller, firm),
    )


def wiring_card_data(controller: Controller, today: dt.date) -> WiringCard:
    firm, plant = Firm.current(), site_plant(controller.site)
    return WiringCard(
        firm=letterhead(firm),
        reference=f"{controller.site.name}, controller {controller.pk}",
        plant=plant,
        controller=plant.controller(controller.pk),
        told=told_of(controller.site),
        made_on=day(today),
        call=who_to_call(controller, firm),
    )


def _supply(controller: Controller) -> WaterSupply | None:
    return controller.waters_from(list(controller.site.supplies.select_related("pump")))


def who_to_call(controller: Controller, firm: Firm) -> tuple[str, ...]:
    supply = _supply(controller)
    reach = ", ".join(part for part in (firm.phone, firm.email) if part)
    lines = [f"{firm.name}{': ' if reach else ''}{reach}"]
    if supply is not None and supply.shutoff_location:
        lines.append(_to_stop(supply))
    return tuple(lines)


def _to_stop(supply: WaterSupply) -> str:
    """The order that stops all water; a pump is never shut off against."""
    pumped = supply.kind in (WaterSupply.Kind.PUMP, WaterSupply.Kind.WELL) or hasattr(supply, "pump")
    pump_off = "pump off first, then " if pumped else ""
    return (
        f"To stop all water: {pump_off}shut {supply.name}, {supply.shutoff_location}; not if a building or fire line "
        "hangs on it."
    )


def pump_rule(controller: Controller) -> str:
    """How the pump must be switched, in one line; empty where the controller starts none."""
    supply = _supply(controller)
    pump = getattr(supply, "pump", None)
    if supply is None or supply.kind != WaterSupply.Kind.PUMP:
        return ""
    if pump is None:
        return "not in the register; never let it run against closed valves."
    stop = "closes and at each change of zone" if controller.one_valve_at_a_time else "closes; zones overlap"
    return (
        f"start it {pump.prime_delay_s} s after the first valve is open, stop it before the last one {stop}. "
        f"Runs at least {pump.minimum_run_s} s, rests {pump.minimum_rest_s} s, "
        f"at most {pump.most_starts_per_hour} starts an hour. Never against closed valves."
    )


def _months(schedule: SeasonSchedule | None) -> list[int]:
    """The months in which anything is watered."""
    if schedule is None:
        return []
    rows = ZoneMonth.objects.filter(schedule=schedule, run_time_min__gt=0)
    return sorted(set(rows.values_list("month", flat=True)))


def _zones(controller: Controller, schedule: SeasonSchedule | None, months: list[int]) -> tuple[CardZone, ...]:
    """The outputs in order of the terminals, the master valve too."""
    set_now, minutes = _set_now(controller, schedule), _months_of(schedule)
    valves = Valve.objects.filter(controller=controller).prefetch_related("zones")
    lines = []
    for valve in sorted(valves, key=lambda row: (row.terminal is None, row.terminal or 0, row.pk)):
        terminal = str(valve.terminal) if valve.terminal is not None else "?"
        zones = [zone for zone in valve.zones.all() if zone.in_use]
        if not zones:
            name = f"{valve.name} (master valve)" if valve.is_master else f"{valve.name} (no zone)"
            lines.append(CardZone(terminal, name, "", tuple("" for _ in months)))
        for zone in zones:
            by_month = tuple(minutes.get((zone.pk, month), "–") for month in months)
            lines.append(CardZone(terminal, str(zone), set_now.get(zone.pk, "off"), by_month))
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
