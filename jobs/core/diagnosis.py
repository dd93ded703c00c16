"""Read one valve's measurements: what they say, compared with what, likely causes, next test.

The rules are the table in `diagnosis_rules`; this file works out the figures they test. The phone page does the
same from `rule_table()`: the formulas are few and named so that both sides can be checked equal.
"""

from dataclasses import asdict, dataclass

from jobs.core.diagnosis_rules import RULES, Condition, DiagnosisRule, Kind, Level
from sites.core.electrical import COPPER_PER_K, REFERENCE_C, at_temperature_ohm, loop_ohm
from sites.core.figures import Possible

ELECTRICAL_GROUPS = ("resistance", "voltage", "current")
UNITS = {"resistance": "Ω", "voltage": "V", "current": "A", "flow": "L/min", "pressure": "kPa"}


NOMINAL_V = 24.0


@dataclass(frozen=True)
class ValveBaseline(Possible):
    """What is known of the valve: the coil as new at 20 degC, its wires, supply, and usual water figures.

    output: "ac24", "dc24" or "latching". wire_length_m is one way. None: not known.
    """

    output: str = "ac24"
    coil_resistance_ohm: float | None = None
    wire_length_m: float | None = None
    wire_section_mm2: float | None = None
    common_section_mm2: float | None = None
    source_v: float = NOMINAL_V
    source_measured: bool = False
    minimum_v: float = 19.0  # lower end of the usual 19 to 21 V; common practice, never a specific coil
    holding_va: float | None = None
    flow_l_min: float | None = None
    pressure_kpa: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.output not in ("ac24", "dc24", "latching"):
            raise ValueError(f"unknown kind of output: {self.output}")


@dataclass(frozen=True)
class ValveReading(Possible):
    """What was measured. Resistance at the controller's terminals unless `at_coil`; None or "": not measured.

    opens: "yes" or "no". closes: "yes", "no" or "weeps". over_range: the ohmmeter shows no reading.
    """

    resistance_ohm: float | None = None
    over_range: bool = False
    at_coil: bool = False
    voltage_v: float | None = None
    current_a: float | None = None
    flow_l_min: float | None = None
    pressure_kpa: float | None = None
    opens: str = ""
    closes: str = ""
    temperature_c: float | None = None


@dataclass(frozen=True)
class Finding:
    """One thing the reading says. `measured` and `expected` are in `unit`; either may be None.

    comparison is the sentence beside the entry; assumed lists what had to be assumed for it.
    """

    rule_id: str
    group: str
    kind: Kind
    level: Level
    title: str
    comparison: str
    causes: tuple[str, ...]
    next_test: str
    caution: str
    source: str
    fault_kind: str
    measured: float | None = None
    expected: float | None = None
    unit: str = ""
    assumed: tuple[str, ...] = ()


Figures = dict[str, float | str | None]


def figures(reading: ValveReading, baseline: ValveBaseline) -> Figures:
    """Every figure that a condition may test; None where an input is missing. Ohm, V, A, L/min, kPa, ratios."""
    temperature_c = REFERENCE_C if reading.temperature_c is None else reading.temperature_c
    wire_ohm = _wire_ohm(baseline, temperature_c)
    coil_expected = (
        at_temperature_ohm(baseline.coil_resistance_ohm, temperature_c)
        if baseline.coil_resistance_ohm is not None
        else None
    )
    subtracted = 0.0 if reading.at_coil or wire_ohm is None else wire_ohm
    coil = None if reading.resistance_ohm is None else max(0.0, reading.resistance_ohm - subtracted)
    current_expected = _expected_current_a(baseline, coil_expected)
    voltage_expected = None
    if wire_ohm is not None and current_expected is not None:
        voltage_expected = baseline.source_v - current_expected * wire_ohm
    return {
        "over_range": "yes" if reading.over_range else "no",
        "wire_ohm": wire_ohm,
        "coil_ohm": None if reading.over_range else coil,
        "coil_expected_ohm": coil_expected,
        "resistance_expected_ohm": None if coil_expected is None else coil_expected + subtracted,
        "coil_ratio": None if reading.over_range else _over(coil, coil_expected),
        "voltage_v": reading.voltage_v,
        "voltage_expected_v": voltage_expected,
        "voltage_over_minimum": _over(reading.voltage_v, baseline.minimum_v),
        "voltage_short_v": _minus(voltage_expected, reading.voltage_v),
        "current_a": reading.current_a,
        "current_expected_a": current_expected,
        "current_ratio": _over(reading.current_a, current_expected),
        "flow_ratio": _over(reading.flow_l_min, baseline.flow_l_min),
        "pressure_ratio": _over(reading.pressure_kpa, baseline.pressure_kpa),
        "opens": reading.opens or None,
        "closes": reading.closes or None,
    }


def diagnose(reading: ValveReading, baseline: ValveBaseline) -> tuple[Finding, ...]:
    """The findings of one reading, worst first; empty if nothing was measured. Source: `diagnosis_rules`."""
    known = figures(reading, baseline)
    found: dict[str, DiagnosisRule] = {}
    for rule in RULES:
        if rule.group == "opens":
            known["circuit"] = _circuit(found)
        if rule.group in found or baseline.output not in rule.coils:
            continue
        if all(_holds(condition, known) for condition in rule.conditions):
            found[rule.group] = rule
    findings = [_finding(rule, reading, baseline, known) for rule in found.values()]
    worst_first = {Level.ACT: 0, Level.WATCH: 1, Level.OK: 2}
    return tuple(sorted(findings, key=lambda finding: worst_first[finding.level]))


def rule_table() -> dict[str, object]:
    """The rules and constants as plain data for `json.dumps`, for the phone page."""
    return {
        "copper_per_k": COPPER_PER_K,
        "reference_c": REFERENCE_C,
        "electrical_groups": list(ELECTRICAL_GROUPS),
        "rules": [asdict(rule) for rule in RULES],
    }


def _holds(condition: Condition, known: Figures) -> bool:
    value = known.get(condition.figure)
    if value is None:
        return False
    if condition.equals is not None:
        return value == condition.equals
    if isinstance(value, str):
        return False
    above = condition.at_least is None or value >= condition.at_least
    return above and (condition.below is None or value < condition.below)


def _circuit(found: dict[str, DiagnosisRule]) -> str:
    """Whether an electrical finding already explains a valve that does not open."""
    electrical = [found[group] for group in ELECTRICAL_GROUPS if group in found]
    return "bad" if any(rule.level is Level.ACT for rule in electrical) else "good"


def _wire_ohm(baseline: ValveBaseline, temperature_c: float) -> float | None:
    if baseline.wire_length_m is None or baseline.wire_section_mm2 is None:
        return None
    return loop_ohm(baseline.wire_length_m, baseline.wire_section_mm2, baseline.common_section_mm2, temperature_c)


def _expected_current_a(baseline: ValveBaseline, coil_expected_ohm: float | None) -> float | None:
    """From the coil's VA. Only on DC may it come from the resistance: AC current follows impedance (ref 7.4)."""
    if baseline.output == "latching":
        return None
    if baseline.holding_va is not None:
        return baseline.holding_va / baseline.source_v
    if baseline.output == "dc24" and coil_expected_ohm:
        return baseline.source_v / coil_expected_ohm
    return None


def _over(value: float | None, by: float | None) -> float | None:
    return None if value is None or not by else value / by


def _minus(value: float | None, other: float | None) -> float | None:
    return None if value is None or other is None else value - other


def _finding(rule: DiagnosisRule, reading: ValveReading, baseline: ValveBaseline, known: Figures) -> Finding:
    measured, expected = _pair(rule.compared, reading, baseline, known)
    return Finding(
        rule_id=rule.id,
        group=rule.group,
        kind=rule.kind,
        level=rule.level,
        title=rule.title,
        comparison=_comparison(rule.compared, measured, expected, reading, known),
        causes=rule.causes,
        next_test=rule.next_test,
        caution=rule.caution,
        source=rule.source,
        fault_kind=rule.fault_kind,
        measured=measured,
        expected=expected,
        unit=UNITS.get(rule.compared, ""),
        assumed=_assumed(rule.compared, reading, baseline),
    )


def _pair(
    compared: str, reading: ValveReading, baseline: ValveBaseline, known: Figures
) -> tuple[float | None, float | None]:
    """(measured, expected) of the quantity a rule compares."""

    def number(name: str) -> float | None:
        value = known[name]
        return value if isinstance(value, float | int) else None

    match compared:
        case "resistance":
            measured = None if reading.over_range else reading.resistance_ohm
            return measured, number("resistance_expected_ohm")
        case "voltage":
            return reading.voltage_v, number("voltage_expected_v") or baseline.minimum_v
        case "current":
            return reading.current_a, number("current_expected_a")
        case "flow":
            return reading.flow_l_min, baseline.flow_l_min
        case "pressure":
            return reading.pressure_kpa, baseline.pressure_kpa
    return None, None


def _comparison(
    compared: str, measured: float | None, expected: float | None, reading: ValveReading, known: Figures
) -> str:
    unit = UNITS.get(compared, "")
    if not unit:
        return ""
    shown = "over range" if measured is None else f"{_short(measured, compared)} {unit}"
    if expected is None:
        return f"{shown}, nothing recorded to compare with"
    text = f"{shown} against {_short(expected, compared)} {unit} expected"
    if compared == "resistance":
        wire = known["wire_ohm"]
        where = "at the coil" if reading.at_coil else "at the terminals"
        part = f", {wire:.1f} Ω of it wire" if isinstance(wire, float) and not reading.at_coil else ""
        at_c = REFERENCE_C if reading.temperature_c is None else reading.temperature_c
        return f"{text} {where} at {at_c:.0f} °C{part}"
    if compared == "voltage" and known["voltage_expected_v"] is None:
        return f"{shown} against a minimum of {expected:.1f} V"
    return text


def _short(value: float, compared: str) -> str:
    places = {"current": 2, "pressure": 0}.get(compared, 1)
    return f"{value:.{places}f}"


def _assumed(compared: str, reading: ValveReading, baseline: ValveBaseline) -> tuple[str, ...]:
    if compared == "voltage":
        supply = () if baseline.source_measured else (f"supply {baseline.source_v:.0f} V",)
        return (*supply, f"valve minimum {baseline.minimum_v:.0f} V")
    if compared != "resistance":
        return ()
    assumed = []
    if reading.temperature_c is None:
        assumed.append("20 °C, no temperature entered")
    if not reading.at_coil and (baseline.wire_length_m is None or baseline.wire_section_mm2 is None):
        assumed.append("wire resistance 0 Ω, length or section not recorded")
    return tuple(assumed)
