"""What is inconsistent or unsafe in a site's register: each with its figures and what to do.

Thresholds are common practice, no source, unless a comment names one.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum

from sites.core.electrical import Coil, longest_run_m, transformer_load, valve_voltage_v
from sites.core.units import Quantity

SUPPLY_AC_V = 24.0
MINIMUM_VALVE_V = 19.0  # lower end of the usual 19 to 21 V; the coil's own figure overrides it
INRUSH_OVER_HOLDING = 1.7
RATE_OFF_SHARE = 0.25
TEST_DUE_SOON_DAYS = 30


class Severity(StrEnum):
    UNSAFE = "unsafe"
    WRONG = "wrong"
    MISSING = "missing"
    SOON = "soon"


@dataclass(frozen=True)
class Figure:
    """One number of a finding. `quantity` lets the page show it in the firm's units; else `unit` is printed."""

    label: str
    value: float
    quantity: Quantity | None = None
    unit: str = ""


@dataclass(frozen=True)
class CheckFinding:
    """subject is "valve", "zone", "controller", "supply" or "backflow" with its id."""

    check: str
    severity: Severity
    subject: str
    subject_id: int
    title: str
    todo: str
    figures: tuple[Figure, ...] = ()


@dataclass(frozen=True)
class SupplyFacts:
    """kind: "mains", "well", "pump" (the controller starts it) or "gravity"."""

    id: int
    name: str
    kind: str
    flow_available_l_min: float | None = None
    has_pump: bool = False


@dataclass(frozen=True)
class ControllerFacts:
    """output: "ac24", "dc24" or "latching"."""

    id: int
    name: str
    terminals: int
    output: str = "ac24"
    transformer_va: float | None = None
    one_valve_at_a_time: bool = True
    supply_id: int | None = None
    pump_relay_va: float = 0.0
    most_open: int = 1


@dataclass(frozen=True)
class ValveFacts:
    id: int
    name: str
    controller_id: int
    terminal: int | None = None
    is_master: bool = False
    holding_va: float | None = None
    inrush_va: float | None = None
    wire_length_m: float | None = None
    wire_section_mm2: float | None = None
    minimum_v: float = MINIMUM_VALVE_V
    closes_from_s: float = 0.0
    opens_within_s: float = 5.0


@dataclass(frozen=True)
class ZoneFacts:
    id: int
    name: str
    valve_id: int | None = None
    area_m2: float | None = None
    application_rate_mm_h: float | None = None
    flow_l_min: float | None = None
    in_use: bool = True


@dataclass(frozen=True)
class BackflowFacts:
    id: int
    name: str
    test_due_on: date | None = None


@dataclass(frozen=True)
class SitePlant:
    """Everything the checks read of one site."""

    supplies: tuple[SupplyFacts, ...] = ()
    controllers: tuple[ControllerFacts, ...] = ()
    valves: tuple[ValveFacts, ...] = ()
    zones: tuple[ZoneFacts, ...] = ()
    backflows: tuple[BackflowFacts, ...] = ()
    source_v: dict[int, float] = field(default_factory=dict)  # measured output volts by controller id

    def on_controller(self, controller_id: int) -> tuple[ValveFacts, ...]:
        return tuple(valve for valve in self.valves if valve.controller_id == controller_id)

    def supply_of_controller(self, controller: ControllerFacts) -> SupplyFacts | None:
        """The one it names, or the only one there is."""
        if controller.supply_id is not None:
            return next((s for s in self.supplies if s.id == controller.supply_id), None)
        return self.supplies[0] if len(self.supplies) == 1 else None

    def outputs_at_once(self, controller: ControllerFacts) -> int:
        """Zone outputs that may be on together: one more at a hand-over that must not stop the flow."""
        if controller.one_valve_at_a_time:
            return 1
        supply = self.supply_of_controller(controller)
        overlaps = supply is not None and supply.kind in ("pump", "well")
        return max(1, controller.most_open) + (1 if overlaps else 0)

    def supply_of(self, valve_id: int | None) -> SupplyFacts | None:
        """The supply a zone's valve draws on: the controller's, or the only one there is."""
        valve = next((valve for valve in self.valves if valve.id == valve_id), None)
        if valve is not None:
            controller = next((c for c in self.controllers if c.id == valve.controller_id), None)
            if controller is not None:
                return self.supply_of_controller(controller)
        return self.supplies[0] if len(self.supplies) == 1 else None


Findings = Iterator[CheckFinding]


def check_site(plant: SitePlant, today: date) -> tuple[CheckFinding, ...]:
    """Every finding on one site, unsafe ones first; empty if the register is sound."""
    findings = [finding for check in CHECKS for finding in check(plant)]
    findings.extend(backflow_tests(plant, today))
    return worst_first(findings)


def worst_first(findings: Iterable[CheckFinding]) -> tuple[CheckFinding, ...]:
    order = list(Severity)
    return tuple(sorted(findings, key=lambda finding: order.index(finding.severity)))


def shared_terminals(plant: SitePlant) -> Findings:
    """Two valves on one terminal open together and load the output twice."""
    for controller in plant.controllers:
        by_terminal: dict[int, list[ValveFacts]] = {}
        for valve in plant.on_controller(controller.id):
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
                    "Check the wiring at the controller, supply isolated; move one valve or correct the register.",
                    (Figure("valves on the terminal", len(valves)),),
                )


def several_masters(plant: SitePlant) -> Findings:
    """A sequence opens one master valve; a second would stay shut."""
    for controller in plant.controllers:
        masters = [valve for valve in plant.on_controller(controller.id) if valve.is_master]
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
        for valve in plant.on_controller(controller.id):
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
        valves = plant.on_controller(controller.id)
        outputs: dict[object, list[Coil]] = {}
        for valve in valves:
            if valve.holding_va is not None and not valve.is_master:
                key = ("terminal", valve.terminal) if valve.terminal is not None else ("valve", valve.id)
                outputs.setdefault(key, []).append(Coil(valve.holding_va, valve.inrush_va))
        hungriest = sorted(outputs.values(), key=lambda coils: -sum(coil.holding_va for coil in coils))
        running = [coil for coils in hungriest[: plant.outputs_at_once(controller)] for coil in coils]
        running += [Coil(v.holding_va, v.inrush_va) for v in valves if v.is_master and v.holding_va is not None]
        if not running:
            continue
        load = transformer_load(running, controller.transformer_va, controller.pump_relay_va)
        if load.margin_kept:
            continue
        words = "is overloaded" if load.overloaded else "has less than 20 % to spare"
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


def low_voltage(plant: SitePlant) -> Findings:
    """The valve's voltage while its coil draws inrush through its wires, the others that may be on beside it theirs
    through the common: master valves and, with separate outputs, the hungriest zone valves. Taken all the way along
    its own run, which is on the safe side."""
    for controller in plant.controllers:
        if controller.output == "latching":
            continue
        source_v = plant.source_v.get(controller.id, SUPPLY_AC_V)
        for valve in plant.on_controller(controller.id):
            if valve.holding_va is None or valve.wire_length_m is None or valve.wire_section_mm2 is None:
                continue
            inrush = INRUSH_OVER_HOLDING if controller.output == "ac24" else 1.0
            inrush_va = valve.inrush_va if valve.inrush_va is not None else inrush * valve.holding_va
            others_va = _beside_va(plant, controller, valve)
            inrush_a, others_a = inrush_va / SUPPLY_AC_V, others_va / SUPPLY_AC_V
            length_m, section_mm2 = valve.wire_length_m, valve.wire_section_mm2
            volts = valve_voltage_v(source_v, inrush_a, length_m, section_mm2, others_on_common_a=others_a)
            if volts < valve.minimum_v:
                yield CheckFinding(
                    "low_voltage",
                    Severity.WRONG,
                    "valve",
                    valve.id,
                    f"{valve.name} may see too little voltage to open",
                    "Use a thicker wire or a shorter run; measure at the valve while it starts.",
                    (
                        Figure("at the valve", volts, unit="V"),
                        *([Figure("others on the common", others_va, unit="VA")] if others_va else []),
                        Figure("valve minimum", valve.minimum_v, unit="V"),
                        Figure("wire one way", length_m, Quantity.LENGTH),
                        Figure(
                            "this section reaches",
                            longest_run_m(
                                source_v, valve.minimum_v, inrush_a, section_mm2, others_on_common_a=others_a
                            ),
                            Quantity.LENGTH,
                        ),
                        Figure("section", section_mm2, Quantity.WIRE_SECTION),
                    ),
                )


def _beside_va(plant: SitePlant, controller: ControllerFacts, valve: ValveFacts) -> float:
    """Holding load of what may be on while this valve opens."""
    others = [v for v in plant.on_controller(controller.id) if v.id != valve.id and v.holding_va is not None]
    masters_va = sum(v.holding_va or 0.0 for v in others if v.is_master)
    zones_va = sorted((v.holding_va or 0.0 for v in others if not v.is_master), reverse=True)
    beside = 0 if valve.is_master else plant.outputs_at_once(controller) - 1
    return masters_va + sum(zones_va[:beside])


def flow_above_supply(plant: SitePlant) -> Findings:
    for zone in plant.zones:
        supply = plant.supply_of(zone.valve_id)
        if not zone.in_use or zone.flow_l_min is None or supply is None:
            continue
        available = supply.flow_available_l_min
        if available is not None and zone.flow_l_min > available:
            yield CheckFinding(
                "flow_above_supply",
                Severity.WRONG,
                "zone",
                zone.id,
                f"{zone.name} takes more water than {supply.name} gives",
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
                f"Flow and area of {zone.name} do not agree with its application rate",
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
        if supply.kind != "pump":
            continue
        controllers = [c for c in plant.controllers if c.supply_id == supply.id]
        if len(plant.supplies) == 1 and not controllers:
            controllers = [c for c in plant.controllers if c.supply_id is None]
        valves = [v for c in controllers for v in plant.on_controller(c.id) if not v.is_master]
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
        if not supply.has_pump:
            yield CheckFinding(
                "pump_not_recorded",
                Severity.MISSING,
                "supply",
                supply.id,
                f"{supply.name} is a pump supply, its pump is not recorded",
                "Record the pump's prime delay, minimum run and starts an hour from its nameplate.",
            )
        yield from _interlocked_gap(plant, controllers)


def _interlocked_gap(plant: SitePlant, controllers: list[ControllerFacts]) -> Findings:
    for controller in controllers:
        valves = [v for v in plant.on_controller(controller.id) if not v.is_master]
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
                f"{zone.name} has no valve",
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
        due = backflow.test_due_on
        if due is None:
            severity, title = Severity.MISSING, f"{backflow.name}: no test date is recorded"
            figures: tuple[Figure, ...] = ()
        elif due < today:
            days = (today - due).days
            severity, title = Severity.UNSAFE, f"{backflow.name}: the test is overdue since {due:%Y-%m-%d}"
            figures = (Figure("overdue", days, unit="days"),)
        elif due <= today + timedelta(days=TEST_DUE_SOON_DAYS):
            severity, title = Severity.SOON, f"{backflow.name}: the test is due on {due:%Y-%m-%d}"
            figures = (Figure("due in", (due - today).days, unit="days"),)
        else:
            continue
        todo = "Book a tester licensed for backflow assemblies; local code sets the interval."
        yield CheckFinding("backflow_test", severity, "backflow", backflow.id, title, todo, figures)


CHECKS: tuple[Callable[[SitePlant], Findings], ...] = (
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
)
