"""From what zones need to programs on their controllers, inside the site's permitted days and window."""

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

from scheduling.core.water.clock import (
    DAY_MIN,
    PARITY_DAYS_PER_WEEK,
    ClockPlan,
    ClockProgram,
    ClockZone,
    WateringRule,
    fit_to_clock,
)
from scheduling.core.water.season import litres_for, longest_cycle_and_soak
from scheduling.core.water.sharing import MOST_PROGRAMS
from scheduling.core.water.week import ThisWeek
from scheduling.queries.plan import SitePlan, ZonePlan
from scheduling.queries.planned import PlannedProgram, PlannedStep
from scheduling.queries.shared_supply import apart
from sites.core.units import format_quantity
from sites.models import Controller, Firm, Site, WaterSupply
from sites.queries.plant import site_plant

# Minutes between two valves, and to fill the line at the start: common practice, no source.
GAP_MIN, PUMP_GAP_MIN, PUMP_FILL_MIN = 0.25, 1.0, 1.0
VALVE_STROKES_S = 30.0  # a valve opening and one closing, on the slow side: common practice, no source


@dataclass(frozen=True)
class Programs:
    """What fits the site's clock, in words what does not, and the water of a week where every flow is known."""

    programs: tuple[PlannedProgram, ...]
    warnings: tuple[str, ...]
    litres_per_week: float | None


def watering_rule(site: Site) -> WateringRule:
    """The site's permission in the words of the clock."""
    parities: dict[str, Literal["odd", "even"]] = {"odd": "odd", "even": "even"}
    named = site.permitted_days == Site.PermittedDays.WEEKDAYS
    return WateringRule(
        weekdays=frozenset(site.permitted_weekdays if named else range(7)),
        parity=parities.get(site.permitted_days, ""),
        window_start_min=_minute(site.watering_window_start),
        window_end_min=_minute(site.watering_window_end),
    )


def days_per_week(site: Site, weekdays: Iterable[int]) -> float:
    """Watering days in an average week of a program that starts on these weekdays."""
    if site.permitted_days in (Site.PermittedDays.ODD, Site.PermittedDays.EVEN):
        return PARITY_DAYS_PER_WEEK * len(list(weekdays)) / 7
    return float(len(list(weekdays)))


def litres_per_minute(plan: ZonePlan) -> float | None:
    return litres_for(plan.season.zone, 1.0)


def fit_programs(plan: SitePlan, today: dt.date) -> Programs:
    """Programs for every controller of the site; controllers on one supply water one after the other."""
    site = plan.site
    if not plan.zones:
        return Programs((), (), None)
    wired, warnings = _by_controller(plan)
    warnings += [f"Zone {item.zone}: uniformity below 0.40, repair before adding water" for item in plan.zones
                 if item.season.zone.repair_first]  # fmt: skip
    programs: list[PlannedProgram] = []
    supply_ends: dict[int, int] = {}
    rule = watering_rule(site)
    supplies = list(site.supplies.all())
    for controller in site.controllers.all():
        items = wired.get(controller.pk, [])
        supply = controller.waters_from(supplies)
        own_rule = _rule_on(rule, controller, supply)
        if supply and supply.pk in supply_ends:
            own_rule = replace(own_rule, window_end_min=supply_ends[supply.pk])
        fitted = fit_to_clock([clock_zone(item) for item in items], own_rule, MOST_PROGRAMS)
        planned = [_planned(controller, fit, items, own_rule, today) for fit in fitted.programs]
        programs += planned
        warnings += _words(controller, fitted, items, own_rule, bool(supply and supply.pk in supply_ends))
        if supply and planned:
            supply_ends[supply.pk] = min(fit.start_min for fit in fitted.programs) if fitted.fits else (
                own_rule.window_start_min)  # fmt: skip
    planned_alone, programs = programs, _apart(site, programs, supplies)
    warnings += _before_the_window(rule, planned_alone, programs)
    return Programs(tuple(programs), tuple(dict.fromkeys(warnings)), _litres_per_week(site, plan, programs))


def _apart(site: Site, programs: list[PlannedProgram], supplies: list[WaterSupply]) -> list[PlannedProgram]:
    """With the rest and the starts an hour that a supply's pump needs between the programs of its controllers."""
    by_supply: dict[int, list[PlannedProgram]] = defaultdict(list)
    for program in programs:
        supply = program.controller.waters_from(supplies)
        by_supply[supply.pk if supply else 0].append(program)
    shared = {pk for pk, own in by_supply.items() if pk and len({one.controller.pk for one in own}) > 1}
    if not shared:
        return programs
    plant = site_plant(site)
    moved = {pk: apart(site, plant, own) if pk in shared else own for pk, own in by_supply.items()}
    return [one for own in moved.values() for one in own]


def _before_the_window(rule: WateringRule, alone: list[PlannedProgram], apart: list[PlannedProgram]) -> list[str]:
    """Which controllers had to start before the permitted time, so that what they share is kept."""
    starts = {(one.controller.pk, one.name): one.starts_at for one in alone}
    early: dict[Controller, int] = {}
    for one in apart:
        before = _minute(starts[one.controller.pk, one.name])
        sooner_min, free_min = (before - _minute(one.starts_at)) % DAY_MIN, (before - rule.window_start_min) % DAY_MIN
        if sooner_min > free_min:
            early[one.controller] = max(early.get(one.controller, 0), sooner_min - free_min)
    return [
        f"{controller}: with what its supply needs between two controllers its programs do not fit into the window; "
        f"they start {minutes} min before it."
        for controller, minutes in early.items()
    ]


def _rule_on(rule: WateringRule, controller: Controller, supply: WaterSupply | None) -> WateringRule:
    """The site's rule with what this supply gives, and the time that pump, commands and valves take."""
    pumped = supply is not None and supply.kind in (WaterSupply.Kind.PUMP, WaterSupply.Kind.WELL)
    return replace(
        rule,
        supply_flow_l_min=supply.flow_available_l_min if supply else None,
        gap_min=PUMP_GAP_MIN if pumped else GAP_MIN,
        fill_min=(_pump_fill_min(supply) if supply and pumped else 0.0) + settle_min(controller),
    )


def _pump_fill_min(supply: WaterSupply) -> float:
    """Time a program takes before its first valve: the pump's rest after the program before, and filling the line."""
    pump = getattr(supply, "pump", None)  # none where nobody entered it
    return (pump.minimum_rest_s / 60 if pump else 0.0) + PUMP_FILL_MIN


def settle_min(controller: Controller) -> float:
    """Time a program takes beyond its runs until the last valve is surely shut: three commands and two strokes."""
    return (3 * controller.command_delay_bound_s + VALVE_STROKES_S) / 60


def clock_zone(item: ZonePlan) -> ClockZone:
    settled, now = item.season.zone, item.now
    longest, soak = longest_cycle_and_soak(settled)
    return ClockZone(
        key=str(item.zone),
        run_time_min_per_week=now.exact_run_time_min_per_week,
        days_per_week=now.days_per_week or 1,
        longest_interval_days=7 if isinstance(now, ThisWeek) else now.longest_interval_days,
        longest_cycle_min=longest,
        soak_min=soak,
        shortest_run_min=settled.shortest_run_min,
        flow_l_min=litres_per_minute(item),
        weekdays=now.weekdays if isinstance(now, ThisWeek) else (),
    )


def _by_controller(plan: SitePlan) -> tuple[dict[int, list[ZonePlan]], list[str]]:
    wired: dict[int, list[ZonePlan]] = defaultdict(list)
    warnings = []
    for item in plan.zones:
        if item.zone.valve is None:
            warnings.append(f"Zone {item.zone}: no valve in the register, so it is in no program")
        else:
            wired[item.zone.valve.controller_id].append(item)
    return wired, warnings


def _planned(
    controller: Controller, fit: ClockProgram, items: list[ZonePlan], rule: WateringRule, today: dt.date
) -> PlannedProgram:
    zones = {str(item.zone): item.zone for item in items}
    steps = tuple(PlannedStep(zones[run.key], run.run_time_min, run.cycles, run.soak_min) for run in fit.runs)
    weekdays = list(fit.weekdays) or list(range(7))
    first = today + dt.timedelta(days=1)
    while fit.every_weeks > 1 and first.weekday() not in weekdays:
        first += dt.timedelta(days=1)
    if starts_the_evening_before(fit.start_min, rule.window_start_min, rule.window_end_min):
        weekdays = sorted((day - 1) % 7 for day in weekdays)
        first -= dt.timedelta(days=1)
    return PlannedProgram(
        controller=controller,
        name=f"Program {fit.name}",
        priority="ABCDEFG".index(fit.name) + 1,
        starts_at=dt.time(fit.start_min // 60, fit.start_min % 60),
        weekdays=weekdays,
        steps=steps,
        every_weeks=fit.every_weeks,
        counted_from=first if fit.every_weeks > 1 else None,
    )


def starts_the_evening_before(start_min: int, window_start_min: int, window_end_min: int) -> bool:
    """A window over midnight belongs to the day it ends on; such a start still lies on the day before."""
    return window_end_min <= window_start_min <= start_min


def forbidden_weekdays(site: Site, start: dt.time, weekdays: Iterable[int]) -> list[int]:
    """Weekdays of a start on which the site permits no watering; empty unless it names weekdays."""
    if site.permitted_days != Site.PermittedDays.WEEKDAYS:
        return []
    clocks = (start, site.watering_window_start, site.watering_window_end)
    shift = 1 if starts_the_evening_before(*(_minute(clock) for clock in clocks)) else 0
    return [day for day in weekdays if (day + shift) % 7 not in site.permitted_weekdays]


def _words(
    controller: Controller, fitted: ClockPlan, items: list[ZonePlan], rule: WateringRule, shared: bool
) -> list[str]:
    # Where the permitted days are too few, that was said already and says more.
    told = {str(item.zone) for item in items if item.now.warnings}
    words = [f"Zone {warning}" for warning in fitted.warnings if warning.split(":")[0] not in told]
    words += _on_more_days(controller, fitted, items)
    if not fitted.fits:
        fitting = next((remedy for remedy in fitted.remedies if remedy.fits), None)
        would = f" It would fit with {fitting.words}." if fitting else " No single change would make it fit."
        left = f"{fitted.window_min} min" + (" that another controller on the supply leaves" if shared else "")
        words.append(
            f"{controller}: {fitted.busiest_min:.0f} min on the busiest night do not fit into the window of "
            f"{left}; {math.ceil(fitted.over_min)} min are over.{would}"
        )
    for item in items:
        flow = litres_per_minute(item)
        if flow and rule.supply_flow_l_min and flow > rule.supply_flow_l_min:
            units = Firm.current().units
            takes, gives = (format_quantity(rate, "flow", units) for rate in (flow, rule.supply_flow_l_min))
            words.append(f"Zone {item.zone} takes {takes}, the supply gives {gives}")
    return words


def _on_more_days(controller: Controller, fitted: ClockPlan, items: list[ZonePlan]) -> list[str]:
    """Which programs give a week's water on more days than the soil alone would ask for."""
    days = {str(item.zone): len(item.now.dates) for item in items if isinstance(item.now, ThisWeek)}
    return [
        f"{controller}, program {one.name}: its water is given on {len(one.weekdays)} days, a smaller part each, so "
        "that the nights are shorter."
        for one in fitted.programs
        if any(0 < days.get(run.key, 0) < len(one.weekdays) for run in one.runs)
    ]


def _litres_per_week(site: Site, plan: SitePlan, programs: list[PlannedProgram]) -> float | None:
    """Water of a week over the zones whose flow is known; None where none is."""
    flows = {item.zone.pk: litres_per_minute(item) for item in plan.zones}
    if all(flow is None for flow in flows.values()):
        return None
    return sum(
        step.run_time_min * days_per_week(site, program.weekdays) / program.every_weeks * (flows[step.zone.pk] or 0.0)
        for program in programs
        for step in program.steps
    )


def _minute(clock: dt.time) -> int:
    return clock.hour * 60 + clock.minute
