"""A valve's figures on a visit, what is known of the valve, and what the figures mean."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from jobs.core.diagnosis import NOMINAL_V, Finding, ValveBaseline, ValveReading, diagnose, figures
from jobs.core.diagnosis_rules import Level
from jobs.core.rulebook import NUMBERS
from jobs.models import ValveMeasurement, Visit
from jobs.queries.places import named
from sites.core.electrical import expected_at_terminals_ohm, parallel_ohm
from sites.core.figures import sum_known
from sites.core.units import format_quantity
from sites.models import Valve


@dataclass(frozen=True)
class ValveCheck:
    """`measurement` is the latest of this visit; `history` every other row of the valve, the newest first."""

    valve: Valve
    measurement: ValveMeasurement | None
    history: list[ValveMeasurement]
    baseline: ValveBaseline
    findings: tuple[Finding, ...]

    @property
    def last(self) -> dict[str, float]:
        """The newest value of each number before the one now being entered; SI."""
        rows = [self.measurement, *self.history] if self.measurement else self.history
        values = {}
        for name in NUMBERS:
            found = next((getattr(row, name) for row in rows if getattr(row, name) is not None), None)
            if found is not None:
                values[name] = found
        return values

    @property
    def as_new(self) -> dict[str, Any]:
        """What a valve in order would show, at 20 °C: resistance with its wire, voltage behind it, flow; SI."""
        expected = figures(ValveReading(), self.baseline)
        return {
            "coil_resistance_ohm": expected["resistance_expected_ohm"],
            "voltage_v": expected["voltage_expected_v"],
            "current_a": expected["current_expected_a"],
            "flow_l_min": self.baseline.flow_l_min,
        }

    @property
    def where(self) -> str:
        terminal = f"terminal {self.valve.terminal}" if self.valve.terminal else "no terminal"
        zones = ", ".join(named("zone", zone) for zone in self.valve.zones.all())
        parts = [str(self.valve.controller), terminal, zones, self.valve.location]
        return " · ".join(part for part in parts if part)

    @property
    def worst(self) -> Level:
        return self.findings[0].level if self.findings else Level.OK

    @property
    def stay_here(self) -> bool:
        """Something to act on or to record, before the technician walks on."""
        return any(finding.level is Level.ACT or finding.fault_kind for finding in self.findings)

    @property
    def state(self) -> str:
        if self.measurement is None:
            return "not yet"
        return "within expectation" if self.worst is Level.OK else "look here"

    @property
    def tag(self) -> str:
        if self.measurement is None:
            return "soft"
        return {Level.OK: "good", Level.WATCH: "warn", Level.ACT: "bad"}[self.worst]


def valve_check(
    valve: Valve, rows: list[ValveMeasurement], visit: Visit, units: str, twins: Sequence[Valve] = ()
) -> ValveCheck:
    """`rows`: every measurement of the valve, the newest first. `units`: the firm's, for the sentences. `twins`: the
    other valves on its terminal."""
    measurement = next((row for row in rows if row.visit_id == visit.pk), None)
    baseline = valve_baseline(valve)
    if twins:
        baseline = _as_one(baseline, [valve_baseline(twin) for twin in twins])
    findings = diagnose(valve_reading(measurement), baseline) if measurement else ()
    return ValveCheck(
        valve=valve,
        measurement=measurement,
        history=[row for row in rows if row is not measurement],
        baseline=baseline,
        findings=tuple(_in_words_of(units, finding) for finding in findings),
    )


_SI = re.compile(r"(-?\d+(?:\.\d+)?) (L/min|kPa|°C)")
_QUANTITY = {"L/min": "flow", "kPa": "pressure", "°C": "temperature"}


def _in_words_of(units: str, finding: Finding) -> Finding:
    """The same finding with the firm's units in its sentences; the figures themselves stay SI."""

    def shown(found: re.Match[str]) -> str:
        quantity = _QUANTITY[found[2]]
        return format_quantity(float(found[1]), quantity, units, decimals=0 if quantity == "temperature" else None)

    told = tuple(_SI.sub(shown, words) for words in finding.assumed)
    return replace(finding, comparison=_SI.sub(shown, finding.comparison), assumed=told)


def _as_one(baseline: ValveBaseline, twins: Sequence[ValveBaseline]) -> ValveBaseline:
    """Valves on one terminal as the meter sees them: coils with their wires in parallel, currents together."""
    ohms, powers = [], []
    for each in (baseline, *twins):
        if each.coil_resistance_ohm is None:
            return replace(baseline, coil_resistance_ohm=None)
        length_m, section_mm2 = each.wire_length_m or 0.0, each.wire_section_mm2
        ohms.append(expected_at_terminals_ohm(each.coil_resistance_ohm, length_m, section_mm2))
        powers.append(each.holding_va)
    # The wires are in the figure already; a length of 0 says so.
    return replace(
        baseline,
        coil_resistance_ohm=parallel_ohm(*ohms),
        wire_length_m=0.0,
        wire_section_mm2=baseline.wire_section_mm2 or 1.0,
        holding_va=sum_known(powers),
    )


def valve_baseline(valve: Valve) -> ValveBaseline:
    """The register's figures of a valve; its flow is known only if every zone's on it is."""
    flows = [zone.flow_l_min for zone in valve.zones.all() if zone.in_use]
    return ValveBaseline(
        output=valve.controller.output,
        source_v=valve.controller.output_v or NOMINAL_V,
        source_measured=valve.controller.output_v is not None,
        coil_resistance_ohm=valve.coil_resistance_ohm,
        wire_length_m=valve.wire_length_m,
        wire_section_mm2=valve.wire_section_mm2,
        holding_va=valve.coil_holding_va,
        flow_l_min=sum_known(flows) if flows else None,
    )


def valve_reading(row: ValveMeasurement) -> ValveReading:
    return ValveReading(
        resistance_ohm=row.coil_resistance_ohm,
        over_range=row.open_circuit,
        voltage_v=row.voltage_v,
        current_a=row.current_a,
        flow_l_min=row.flow_l_min,
        pressure_kpa=row.pressure_kpa,
        opens=row.opens,
        closes=row.closes,
        temperature_c=row.temperature_c,
    )
