"""What is inconsistent or unsafe in a site's register: each with its figures and what to do.

Thresholds are common practice, no source, unless a comment names one.
"""

from collections.abc import Callable
from datetime import date, timedelta

from sites.core import writing
from sites.core.electrical import Coil, longest_run_m, transformer_load, valve_voltage_v
from sites.core.findings import CheckFinding, Figure, Findings, Severity
from sites.core.plant import Controller, SitePlant, Valve
from sites.core.units import Quantity
from sites.core.water_checks import water_findings

SUPPLY_AC_V = 24.0
MINIMUM_VALVE_V = 19.0  # lower end of the usual 19 to 21 V
INRUSH_OVER_HOLDING = 1.7
RATE_OFF_SHARE = 0.25
TEST_DUE_SOON_DAYS = 30


def check_site(plant: SitePlant, today: date) -> tuple[CheckFinding, ...]:
    """Every finding on one site, unsafe ones first; empty if the register is sound."""
    found = [finding for check in CHECKS for finding in check(plant)] + [*backflow_tests(plant, today)]
    order = list(Severity)
    return tuple(sorted(found, key=lambda finding: order.index(finding.severity)))


def shared_terminals(plant: SitePlant) -> Findings:
    """Two valves on one terminal open together and load the output twice."""
    for controller in plant.controllers:
        by_terminal: dict[int, list[Valve]] = {}
        for valve in plant.valves_on(controller.id):
            if valve.terminal is not None:
                by_terminal.setdefault(valve.terminal, []).append(valve)
        for terminal, valves in sorted(by_terminal.items()):
            if len(valves) > 1:
                names = " and ".join(valve.name for valve in valves)
                yield CheckFinding(
                    "shared_terminal",
                    Severity.WRONG,
                    "controller",
                    controller.id,
                    f"{names} are both on terminal {terminal} of {controller.name}",
                    "Controller off, supply isolated: check the wiring; move one valve or correct the register.",
                    (Figure("valves on the terminal", len(valves)),),
                )


def several_masters(plant: SitePlant) -> Findings:
    """A sequence opens one master valve; a second would stay shut."""
    for controller in plant.controllers:
        masters = plant.masters_on(controller.id)
        if len(masters) > 1:
            names = " and ".join(valve.name for valve in masters)
            yield CheckFinding(
                "several_masters",
                Severity.WRONG,
                "controller",
                controller.id,
                f"{names} are all master valves of {controller.name}: its sequence counts on the first alone",
                "Keep one as the master valve; record the others with the zones they feed, or take them out.",
                (Figure("master valves", len(masters)),),
            )


def terminals_beyond(plant: SitePlant) -> Findings:
    for controller in plant.controllers:
        for valve in plant.valves_on(controller.id):
            if valve.terminal is not None and valve.terminal > controller.terminals:
                yield CheckFinding(
                    "terminal_beyond",
                    Severity.WRONG,
                    "valve",
                    valve.id,
                    f"{valve.name} is on terminal {valve.terminal}, {controller.name} has {controller.terminals}",
                    "Correct the terminal or the controller's number of terminals.",
                    (Figure("terminal", valve.terminal), Figure("terminals there are", controller.terminals)),
                )


def transformer_overloaded(plant: SitePlant) -> Findings:
    """The valves that may be open together, the hungriest of them, with master valve, relay and one inrush.

    Valves that share a terminal count together: they cannot help opening together.
    """
    for controller in plant.controllers:
        if controller.transformer_va is None or controller.output == "latching":
            continue
        outputs: dict[object, list[Coil]] = {}
        for valve in plant.zone_valves_on(controller.id):
            if valve.coil is not None:
                key = ("terminal", valve.terminal) if valve.terminal is not None else ("valve", valve.id)
                outputs.setdefault(key, []).append(valve.coil)
        hungriest = sorted(outputs.values(), key=lambda coils: -sum(coil.holding_va for coil in coils))
        running = [coil for coils in hungriest[: plant.outputs_at_once(controller)] for coil in coils]
        running += [valve.coil for valve in plant.masters_on(controller.id) if valve.coil is not None]
        if not running:
            continue
        load = transformer_load(running, controller.transformer_va, controller.pump_relay_va or 0.0)
        if load.margin_kept:
            continue
        words = "is overloaded" if load.overloaded else "has less than 20 % to spare (common practice)"
        yield CheckFinding(
            "transformer_overloaded",
            Severity.UNSAFE if load.overloaded else Severity.WRONG,
            "controller",
            controller.id,
            f"The transformer of {controller.name} {words}",
            "Let fewer valves open together or have a larger transformer fitted;"
            " its mains side is work for a licensed electrician.",
            (
                Figure("needed with one valve starting", load.peak_va, unit="VA"),
                Figure("rated", load.rated_va, unit="VA"),
            ),
        )


def low_voltage(plant: SitePlant, minimum_v: float = MINIMUM_VALVE_V) -> Findings:
    """The valve's voltage while its coil draws inrush through its wires, the others that may be on beside it theirs
    through the common: master valves and, with separate outputs, the hungriest zone valves. Taken all the way along
    its own run, which is on the safe side."""
    for controller in plant.controllers:
        if controller.output == "latching":
            continue
        source_v = SUPPLY_AC_V if controller.output_v is None else controller.output_v
        for valve in plant.valves_on(controller.id):
            if valve.coil_holding_va is None or valve.wire_length_m is None or valve.wire_section_mm2 is None:
                continue
            inrush = INRUSH_OVER_HOLDING if controller.output == "ac24" else 1.0
            inrush_va = valve.coil_inrush_va if valve.coil_inrush_va is not None else inrush * valve.coil_holding_va
            others_va = _beside_va(plant, controller, valve)
            inrush_a, others_a = inrush_va / SUPPLY_AC_V, others_va / SUPPLY_AC_V
            length_m, section_mm2 = valve.wire_length_m, valve.wire_section_mm2
            volts = valve_voltage_v(source_v, inrush_a, length_m, section_mm2, others_on_common_a=others_a)
            if volts < minimum_v:
                yield CheckFinding(
                    "low_voltage",
                    Severity.WRONG,
                    "valve",
                    valve.id,
                    f"{valve.name} may see too little voltage to open",
                    "Use a thicker wire or a shorter run; live tests are for somebody trained, 24 V side only.",
                    (
                        Figure("at the valve", volts, unit="V"),
                        *([Figure("others on the common", others_va, unit="VA")] if others_va else []),
                        Figure("valve minimum", minimum_v, unit="V"),
                        Figure("wire one way", length_m, Quantity.LENGTH),
                        Figure(
                            "this section reaches",
                            longest_run_m(source_v, minimum_v, inrush_a, section_mm2, others_on_common_a=others_a),
                            Quantity.LENGTH,
                        ),
                        Figure("section", section_mm2, Quantity.WIRE_SECTION),
                    ),
                )


def _beside_va(plant: SitePlant, controller: Controller, valve: Valve) -> float:
    """Holding load of what may be on while this valve opens."""
    masters_va = sum(v.coil_holding_va or 0.0 for v in plant.masters_on(controller.id) if v != valve)
    others_va = [v.coil_holding_va or 0.0 for v in plant.zone_valves_on(controller.id) if v != valve]
    beside = 0 if valve.is_master else plant.outputs_at_once(controller) - 1
    return masters_va + sum(sorted(others_va, reverse=True)[:beside])


def flow_above_supply(plant: SitePlant) -> Findings:
    for zone in plant.zones:
        supply = plant.supply_of_zone(zone)
        if not zone.in_use or zone.flow_l_min is None or supply is None:
            continue
        available = supply.flow_available_l_min
        if available is not None and zone.flow_l_min > available:
            yield CheckFinding(
                "flow_above_supply",
                Severity.WRONG,
                "zone",
                zone.id,
                f"Zone {zone} takes more water than {supply.name} gives",
                "Measure both again; split the zone or fit smaller nozzles.",
                (
                    Figure("zone", zone.flow_l_min, Quantity.FLOW),
                    Figure("supply", available, Quantity.FLOW),
                ),
            )


def application_rate_off(plant: SitePlant) -> Findings:
    """Rate implied by flow and area, 60 Q/A, against the recorded one."""
    for zone in plant.zones:
        if not zone.in_use or not zone.flow_l_min or not zone.area_m2 or not zone.application_rate_mm_h:
            continue
        implied = 60 * zone.flow_l_min / zone.area_m2
        off = abs(implied / zone.application_rate_mm_h - 1)
        if off > RATE_OFF_SHARE:
            yield CheckFinding(
                "application_rate_off",
                Severity.WRONG,
                "zone",
                zone.id,
                f"Flow and area of Zone {zone} do not agree with its application rate",
                "Measure flow and area again, or test with catch cans; run times rest on this figure.",
                (
                    Figure("implied by flow and area", implied, Quantity.RATE),
                    Figure("recorded", zone.application_rate_mm_h, Quantity.RATE),
                    Figure("off by", 100 * off, unit="%"),
                ),
            )


def pump_without_path(plant: SitePlant) -> Findings:
    """A pump the controller starts needs a valve it can open, and flow that does not stop at hand-over."""
    for supply in plant.supplies:
        if not supply.pumped:
            continue
        controllers = [controller for controller in plant.controllers if plant.supply_of(controller) == supply]
        valves = [valve for controller in controllers for valve in plant.zone_valves_on(controller.id)]
        wired = [valve for valve in valves if valve.terminal is not None]
        if not wired:
            yield CheckFinding(
                "pump_without_path",
                Severity.UNSAFE,
                "supply",
                supply.id,
                f"{supply.name} has a pump but no wired zone valve: it would work against a closed line",
                "Do not let the controller start the pump until a valve on a terminal is recorded and opens.",
                (Figure("valves that have a terminal", 0),),
            )
            continue
        if supply.pump is None:
            yield CheckFinding(
                "pump_not_recorded",
                Severity.MISSING,
                "supply",
                supply.id,
                f"{supply.name} is a pump supply, its pump is not recorded",
                "Record the pump's prime delay, minimum run and starts an hour from its nameplate.",
            )
        yield from _interlocked_gap(plant, controllers)


def _interlocked_gap(plant: SitePlant, controllers: list[Controller]) -> Findings:
    for controller in controllers:
        valves = plant.zone_valves_on(controller.id)
        if not controller.one_valve_at_a_time or len(valves) < 2:
            continue
        soonest, latest = min(v.closes_from_s for v in valves), max(v.opens_within_s for v in valves)
        if soonest < latest:
            yield CheckFinding(
                "pump_gap_at_handover",
                Severity.WRONG,
                "controller",
                controller.id,
                f"{controller.name} closes one valve as it opens the next: flow may stop while the pump runs",
                "Plan a pump stop at each hand-over, or separate the outputs so that zones can overlap.",
                (
                    Figure("a valve may be shut after", soonest, unit="s"),
                    Figure("the next may need to open", latest, unit="s"),
                ),
            )


def zones_without_valve(plant: SitePlant) -> Findings:
    known = {valve.id for valve in plant.valves}
    for zone in plant.zones:
        if zone.in_use and zone.valve_id not in known:
            yield CheckFinding(
                "zone_without_valve",
                Severity.MISSING,
                "zone",
                zone.id,
                f"Zone {zone} has no valve",
                "Choose the valve that feeds it, or take the zone out of use.",
            )


def valves_without_zone(plant: SitePlant) -> Findings:
    used = {zone.valve_id for zone in plant.zones}
    for valve in plant.valves:
        if valve.id not in used and not valve.is_master:
            yield CheckFinding(
                "valve_without_zone",
                Severity.MISSING,
                "valve",
                valve.id,
                f"{valve.name} feeds no zone",
                "Record the zone it feeds, or mark it as the master valve.",
            )


def backflow_tests(plant: SitePlant, today: date) -> Findings:
    """Overdue, due within 30 days, or no date recorded. Local codes set the interval and who may test."""
    for backflow in plant.backflows:
        due, words = backflow.test_due_on, str(backflow)
        name = f"{words[:1].upper()}{words[1:]}"
        if due is None:
            severity, title = Severity.MISSING, f"{name}: no test date is recorded"
            figures: tuple[Figure, ...] = ()
        elif due < today:
            days = (today - due).days
            severity, title = Severity.UNSAFE, f"{name}: the test is overdue since {writing.day(due)}"
            figures = (Figure("overdue", days, unit="days"),)
        elif due <= today + timedelta(days=TEST_DUE_SOON_DAYS):
            severity, title = Severity.SOON, f"{name}: the test is due on {writing.day(due)}"
            figures = (Figure("due in", (due - today).days, unit="days"),)
        else:
            continue
        todo = "Book a tester licensed for backflow assemblies; local code sets the interval."
        yield CheckFinding("backflow_test", severity, "backflow", backflow.id, title, todo, figures)


def impossible_figures(plant: SitePlant) -> Findings:
    """What the description of the plant refused."""
    for one in plant.refused:
        yield CheckFinding(
            "impossible_figure",
            Severity.WRONG,
            one.subject,
            one.subject_id,
            f"{one.name}: {one.field.words} cannot be as it is recorded",
            "Correct it in the register; until then it counts as not known.",
            (Figure("recorded", one.value, one.field.quantity, one.field.unit),),
        )


CHECKS: tuple[Callable[[SitePlant], Findings], ...] = (
    impossible_figures,
    shared_terminals,
    several_masters,
    terminals_beyond,
    transformer_overloaded,
    low_voltage,
    flow_above_supply,
    application_rate_off,
    pump_without_path,
    zones_without_valve,
    valves_without_zone,
    water_findings,
)
