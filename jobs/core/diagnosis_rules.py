"""The one table that reads a valve's measurements: thresholds, kind, likely causes in order, next test, source.

Plain data on purpose. `diagnosis.rule_table()` gives it to the phone page, which evaluates it offline with the
same few words: a rule applies to a coil kind; within a group the first rule whose conditions all hold is the
finding. A condition on a figure that is not known does not hold.

The thresholds are common practice; what a wire should take follows from its resistance (IEC 60228). Every test that
can hurt names its acts, whose usual cautions come with the finding.
"""

from dataclasses import dataclass
from enum import StrEnum

from sites.core.cautions import Act, care
from sites.core.sources import COMMON_PRACTICE, IEC_60228, NEC_TABLE_11, joined

AC24, DC24, LATCHING = "ac24", "dc24", "latching"
SOLENOID = (AC24, DC24)
ALL = (AC24, DC24, LATCHING)


class Level(StrEnum):
    OK = "ok"
    WATCH = "watch"
    ACT = "act"


class Kind(StrEnum):
    WITHIN = "within_expectation"
    DRIFTING = "drifting"
    OPEN_CIRCUIT = "open_circuit"
    SHORT = "short"
    PARALLEL = "two_coils_or_shorted_turns"
    HIGH_RESISTANCE = "high_resistance_joint"
    LOW_SUPPLY = "low_supply"
    HIGH_SUPPLY = "high_supply"
    STUCK_SHUT = "stuck_shut"
    STUCK_OPEN = "stuck_open"
    WEEPS = "weeps"
    FLOW_HIGH = "flow_high"
    FLOW_LOW = "flow_low"
    CURRENT_HIGH = "current_high"
    CURRENT_LOW = "current_low"
    NOT_JUDGED = "not_judged"


@dataclass(frozen=True)
class Condition:
    """`figure` is known and at_least <= figure < below, or equals `equals`."""

    figure: str
    at_least: float | None = None
    below: float | None = None
    equals: str | None = None


@dataclass(frozen=True)
class DiagnosisRule:
    """`compared` names the figure pair to show. `fault_kind` is the kind a fault record would get, "" for none."""

    id: str
    group: str
    coils: tuple[str, ...]
    conditions: tuple[Condition, ...]
    kind: Kind
    level: Level
    title: str
    causes: tuple[str, ...]
    next_test: str
    source: str
    compared: str
    fault_kind: str = ""
    caution: str = ""


_OPEN_CAUSES = ("wire cut or broken", "splice come apart", "coil burnt out")
_OPEN_TEST = (
    "Power off: measure the coil alone at the valve box; if it is good, test hot and common each against a spare "
    "wire."
)
_SHORT_CAUSES = ("wires touch each other in a box or damaged cable", "coil shorted inside")
_SHORT_TEST = (
    "Power off: take the coil off at the valve box; still short at the controller means wire: halve it and measure."
)
_HIGH_CAUSES = ("corroded or wet splice", "nearly broken wire", "loose terminal", "coil ageing")
_HIGH_TEST = "Power off: measure the coil alone at the valve box; if it is good, redo the splices and measure again."
_HALF_CAUSES = ("two coils on one terminal", "partly shorted turns in the coil", "wet splice leaking to common")
_HALF_TEST = "Power off: take one coil off and measure again; if there is only one coil, replace it."
_GOOD = "Nothing electrical to do; if the zone still fails, look at the water side or the output under load."
_AT_THE_BOX = (Act.WIRES, Act.BOX)
_LIVE = (Act.LIVE_24V, Act.MAINS, Act.WIRES)


def _rule(
    id: str,
    group: str,
    coils: tuple[str, ...],
    conditions: tuple[Condition, ...],
    kind: Kind,
    level: Level,
    title: str,
    causes: tuple[str, ...],
    next_test: str,
    compared: str,
    fault_kind: str = "",
    acts: tuple[Act, ...] = (),
    source: str = COMMON_PRACTICE,
) -> DiagnosisRule:
    return DiagnosisRule(
        id, group, coils, conditions, kind, level, title, causes, next_test, source, compared, fault_kind, care(*acts)
    )


def _ratio(at_least: float | None = None, below: float | None = None) -> Condition:
    return Condition("coil_ratio", at_least, below)


def _ohm(at_least: float | None = None, below: float | None = None) -> Condition:
    return Condition("coil_ohm", at_least, below)


# Against the baseline: the coil's part of the reading (wire loop subtracted) over the coil as new, both at the
# temperature of the reading. It beats any general range, so these rows come first.
_RESISTANCE_BY_BASELINE = (
    _rule("r-over-range", "resistance", ALL, (Condition("over_range", equals="yes"),),
          Kind.OPEN_CIRCUIT, Level.ACT, "Open circuit: the meter shows no reading",
          _OPEN_CAUSES, _OPEN_TEST, "resistance", "coil_open", _AT_THE_BOX),
    _rule("r-open-200", "resistance", SOLENOID, (_ohm(at_least=200), _ratio(at_least=1.3)),
          Kind.OPEN_CIRCUIT, Level.ACT, "Open circuit: above 200 Ω",
          _OPEN_CAUSES, _OPEN_TEST, "resistance", "coil_open", _AT_THE_BOX),
    _rule("r-open-latching", "resistance", (LATCHING,), (_ratio(at_least=6),),
          Kind.OPEN_CIRCUIT, Level.ACT, "Open circuit: more than six times the coil as new",
          _OPEN_CAUSES, _OPEN_TEST, "resistance", "coil_open",
          _AT_THE_BOX),
    _rule("r-high", "resistance", ALL, (_ratio(at_least=1.3),),
          Kind.HIGH_RESISTANCE, Level.ACT, "High resistance: 30 % or more above the coil as new",
          _HIGH_CAUSES, _HIGH_TEST, "resistance", "high_resistance", _AT_THE_BOX),
    _rule("r-drift-up", "resistance", ALL, (_ratio(at_least=1.15, below=1.3),),
          Kind.DRIFTING, Level.WATCH, "Drifting up: more than 15 % above the coil as new",
          ("splice beginning to corrode", "coil warm from running", "wire length or section recorded wrong"),
          "Measure again cold; if it stays, power off and look at the splices on this visit.",
          "resistance", acts=_AT_THE_BOX),
    _rule("r-good", "resistance", ALL, (_ratio(at_least=0.85, below=1.15),),
          Kind.WITHIN, Level.OK, "Within 15 % of the coil as new", (), _GOOD,
          "resistance"),
    _rule("r-drift-down", "resistance", ALL, (_ratio(at_least=0.65, below=0.85),),
          Kind.DRIFTING, Level.WATCH, "Drifting down: more than 15 % below the coil as new",
          ("turns beginning to short", "wet splice", "a coil of another make was fitted"),
          "Power off: measure the coil alone at the valve box and record it as the new baseline if it was changed.",
          "resistance", acts=_AT_THE_BOX),
    _rule("r-half", "resistance", ALL, (_ratio(at_least=0.35, below=0.65),),
          Kind.PARALLEL, Level.ACT, "About half of the coil as new",
          _HALF_CAUSES, _HALF_TEST, "resistance", "coil_short", _AT_THE_BOX),
    _rule("r-short", "resistance", ALL, (_ratio(below=0.35),),
          Kind.SHORT, Level.ACT, "Short: under about a third of the coil as new",
          _SHORT_CAUSES, _SHORT_TEST, "resistance",
          "coil_short", _AT_THE_BOX),
)  # fmt: skip

# Without a baseline, by the usual range of the kind of coil.
_RESISTANCE_BY_RANGE = (
    _rule("r-range-open", "resistance", (AC24,), (_ohm(at_least=200),),
          Kind.OPEN_CIRCUIT, Level.ACT, "Open circuit: above 200 Ω",
          _OPEN_CAUSES, _OPEN_TEST, "resistance", "coil_open", _AT_THE_BOX),
    _rule("r-range-high", "resistance", (AC24,), (_ohm(at_least=60, below=200),),
          Kind.HIGH_RESISTANCE, Level.ACT, "High resistance: 60 to 200 Ω",
          _HIGH_CAUSES, _HIGH_TEST, "resistance", "high_resistance", _AT_THE_BOX),
    _rule("r-range-good", "resistance", (AC24,), (_ohm(at_least=20, below=60),),
          Kind.WITHIN, Level.OK, "Within the usual 20 to 60 Ω; no baseline recorded", (),
          "Record this reading as the baseline.", "resistance"),
    _rule("r-range-half", "resistance", (AC24,), (_ohm(at_least=10, below=20),),
          Kind.PARALLEL, Level.ACT, "Low: 10 to 20 Ω",
          _HALF_CAUSES, _HALF_TEST, "resistance", "coil_short", _AT_THE_BOX),
    _rule("r-range-short", "resistance", (AC24,), (_ohm(below=10),),
          Kind.SHORT, Level.ACT, "Short: under 10 Ω",
          _SHORT_CAUSES, _SHORT_TEST, "resistance", "coil_short", _AT_THE_BOX),
    _rule("r-latching-open", "resistance", (LATCHING,), (_ohm(at_least=60),),
          Kind.OPEN_CIRCUIT, Level.ACT, "Open circuit: above 60 Ω on a latching coil",
          _OPEN_CAUSES, _OPEN_TEST, "resistance", "coil_open", _AT_THE_BOX),
    _rule("r-latching-high", "resistance", (LATCHING,), (_ohm(at_least=13, below=60),),
          Kind.HIGH_RESISTANCE, Level.ACT, "High resistance for a latching coil",
          _HIGH_CAUSES, _HIGH_TEST, "resistance", "high_resistance", _AT_THE_BOX),
    _rule("r-latching-good", "resistance", (LATCHING,), (_ohm(at_least=3, below=13),),
          Kind.WITHIN, Level.OK, "Near the usual 4 to 10 Ω of a latching coil; no baseline recorded", (),
          "Record this reading as the baseline.", "resistance"),
    _rule("r-latching-short", "resistance", (LATCHING,), (_ohm(below=3),),
          Kind.SHORT, Level.ACT, "Short: under 3 Ω on a latching coil",
          _SHORT_CAUSES, _SHORT_TEST, "resistance", "coil_short", _AT_THE_BOX),
    _rule("r-dc-short", "resistance", (DC24,), (_ohm(below=10),),
          Kind.SHORT, Level.ACT, "Short: under 10 Ω",
          _SHORT_CAUSES, _SHORT_TEST, "resistance", "coil_short", _AT_THE_BOX),
    _rule("r-dc-unknown", "resistance", (DC24,), (_ohm(at_least=10),),
          Kind.NOT_JUDGED, Level.WATCH, "No baseline, and DC coils have no usual range", (),
          "Power off: measure a good neighbour of the same type; record this coil's own reading as its baseline.",
          "resistance", acts=_AT_THE_BOX),
)  # fmt: skip

# While the zone runs. A latching coil only gets a pulse, which an ordinary meter does not show.
_VOLTAGE = (
    _rule("v-none", "voltage", SOLENOID, (Condition("voltage_v", below=2),),
          Kind.LOW_SUPPLY, Level.ACT, "No voltage at the valve",
          ("output not on", "wire broken", "fuse or transformer"),
          "With the zone still on, measure at the controller's 24 V terminals: voltage there means the wire, none "
          "there the output, its fuse or the transformer.", "voltage", "low_voltage", _LIVE),
    _rule("v-low", "voltage", SOLENOID, (Condition("voltage_over_minimum", below=1),),
          Kind.LOW_SUPPLY, Level.ACT, "Below the valve's minimum",
          ("wire too thin or too long", "bad splice under load", "transformer overloaded or supply low"),
          "With the zone still on, measure at the controller's 24 V terminals: low there too means the supply, good "
          "there the wire.", "voltage", "low_voltage", _LIVE),
    _rule("v-high", "voltage", SOLENOID, (Condition("voltage_v", at_least=30),),
          Kind.HIGH_SUPPLY, Level.WATCH, "30 V or more at the valve",
          ("transformer with little load", "wrong transformer"),
          "With the zone still on, measure at the controller's 24 V terminals: 24 to 28 V is usual; 30 V or more "
          "there too is for an electrician.", "voltage", "", _LIVE, joined(COMMON_PRACTICE, NEC_TABLE_11)),
    _rule("v-drop", "voltage", SOLENOID, (Condition("voltage_short_v", at_least=2),),
          Kind.HIGH_RESISTANCE, Level.WATCH, "2 V or more below what the wire alone would take",
          ("splice with resistance under load", "wire longer or thinner than recorded", "supply low"),
          "With the zone still on, measure at the controller's 24 V terminals and compare; if it is good there, "
          "power off and look at splice after splice.", "voltage", "high_resistance", (*_LIVE, Act.BOX),
          joined(COMMON_PRACTICE, IEC_60228)),
    _rule("v-good", "voltage", SOLENOID, (Condition("voltage_over_minimum", at_least=1),),
          Kind.WITHIN, Level.OK, "Voltage enough for the valve", (), "Nothing to do.", "voltage"),
)  # fmt: skip

_CURRENT = (
    _rule("i-none", "current", SOLENOID, (Condition("current_a", below=0.02),),
          Kind.OPEN_CIRCUIT, Level.ACT, "No current although the zone is on",
          ("wire or coil open", "output not on"), "Power off: measure the resistance at the terminals.",
          "current", "coil_open", (Act.WIRES,)),
    _rule("i-high-ac", "current", (AC24,), (Condition("current_ratio", at_least=1.4),),
          Kind.CURRENT_HIGH, Level.ACT, "Current stays near inrush",
          ("plunger does not seat: dirt or a bent stem", "shorted turns", "two coils on the output"),
          "Power off, pump off and isolated, water shut, pressure let off: take the plunger out, clean it and put "
          "all of it back; with the pump still isolated power on, listen for a firm click, power off and measure the "
          "coil.", "current", "valve_stuck_shut", (Act.WATER, Act.PUMP, *_AT_THE_BOX)),
    _rule("i-high-dc", "current", (DC24,), (Condition("current_ratio", at_least=1.4),),
          Kind.CURRENT_HIGH, Level.ACT, "Current far above the coil's",
          ("shorted turns", "two coils on the output"), "Power off: measure the coil's resistance.",
          "current", "coil_short", _AT_THE_BOX),
    _rule("i-low", "current", SOLENOID, (Condition("current_ratio", below=0.6),),
          Kind.CURRENT_LOW, Level.WATCH, "Current far below the coil's",
          ("splice with resistance", "supply low"), "With the zone still on, measure the voltage at the valve.",
          "current", "high_resistance", (*_LIVE, Act.BOX)),
    _rule("i-good", "current", SOLENOID, (Condition("current_ratio", at_least=0.6, below=1.4),),
          Kind.WITHIN, Level.OK, "Current as expected", (), "Nothing to do.", "current"),
)  # fmt: skip

_DEBRIS = "debris under the diaphragm or in its port"
_MOVEMENT = (
    _rule("m-shut-electrical", "opens", ALL,
          (Condition("opens", equals="no"), Condition("circuit", equals="bad")),
          Kind.STUCK_SHUT, Level.ACT, "Does not open; the electrical reading above comes first",
          ("the electrical fault", "water side as well"), "Power off: clear the electrical fault, then try again.",
          "opens", "valve_stuck_shut", _AT_THE_BOX),
    _rule("m-shut", "opens", ALL, (Condition("opens", equals="no"),),
          Kind.STUCK_SHUT, Level.ACT, "Does not open",
          ("isolating valve or flow control shut", "no water at the valve", _DEBRIS, "plunger stuck"),
          "On a pump, keep another zone on; open the valve by hand at the bleed, face away: if water comes, the coil "
          "or plunger; if not, the water side.",
          "opens", "valve_stuck_shut", (Act.PUMP, Act.RUNNING, Act.WATER, Act.BOX)),
    _rule("m-opens", "opens", ALL, (Condition("opens", equals="yes"),),
          Kind.WITHIN, Level.OK, "Opens", (), "Nothing to do.", "opens"),
    _rule("m-open-latching", "closes", (LATCHING,), (Condition("closes", equals="no"),),
          Kind.STUCK_OPEN, Level.ACT, "Does not close",
          ("closing pulse missing: battery low or wires swapped", _DEBRIS, "diaphragm torn"),
          "Power off: swap the two wires, power on and pulse again; if it closes, polarity; if not, power off, pump "
          "off, water shut, pressure let off, then take the valve apart.", "closes", "valve_stuck_open",
          (*_AT_THE_BOX, Act.WATER)),
    _rule("m-open", "closes", SOLENOID, (Condition("closes", equals="no"),),
          Kind.STUCK_OPEN, Level.ACT, "Does not close",
          (_DEBRIS, "bleed screw or coil not tight", "diaphragm torn", "output stays on"),
          "Switch the controller off: if the valve closes, its output stays on or wires touch; if not, pump off, "
          "water shut, pressure let off, then clean or renew the diaphragm.", "closes", "valve_stuck_open",
          (*_AT_THE_BOX, Act.WATER)),
    _rule("m-weeps", "closes", ALL, (Condition("closes", equals="weeps"),),
          Kind.WEEPS, Level.WATCH, "Weeps when closed",
          ("grit on the seat", "diaphragm worn", "pressure too low to seat it", "line draining by height"),
          "Flush the valve by hand; if it weeps on after the line has drained: pump off, water shut, pressure let "
          "off, then renew the diaphragm.", "closes", "valve_weeps", (Act.RUNNING, Act.WATER, Act.BOX)),
    _rule("m-closes", "closes", ALL, (Condition("closes", equals="yes"),),
          Kind.WITHIN, Level.OK, "Closes", (), "Nothing to do.", "closes"),
)  # fmt: skip

_FLOW_RULES = (
    _rule("f-high", "flow", ALL, (Condition("flow_ratio", at_least=1.2),),
          Kind.FLOW_HIGH, Level.ACT, "Flow 20 % or more above the baseline",
          ("broken pipe or fitting", "head broken or missing", "larger nozzles fitted"),
          "Walk round the zone while it runs: geysers, wet or sunken ground, heads that do not rise. Ground is "
          "opened only with pump and water off.", "flow", "pipe_leak", (Act.RUNNING, Act.DIG)),
    _rule("f-drift-high", "flow", ALL, (Condition("flow_ratio", at_least=1.1, below=1.2),),
          Kind.DRIFTING, Level.WATCH, "Flow more than 10 % above the baseline",
          ("small leak", "pressure higher than then", "nozzles changed"),
          "Compare the running pressure with the last one.", "flow"),
    _rule("f-good", "flow", ALL, (Condition("flow_ratio", at_least=0.9, below=1.1),),
          Kind.WITHIN, Level.OK, "Flow within 10 % of the baseline", (), "Nothing to do.", "flow"),
    _rule("f-drift-low", "flow", ALL, (Condition("flow_ratio", at_least=0.8, below=0.9),),
          Kind.DRIFTING, Level.WATCH, "Flow more than 10 % below the baseline",
          ("filters or nozzles clogging", "pressure lower than then"),
          "Compare the running pressure with the last one; pump off, water shut, pressure let off, then clean the "
          "filter.",
          "flow", acts=(Act.WATER,)),
    _rule("f-low", "flow", ALL, (Condition("flow_ratio", below=0.8),),
          Kind.FLOW_LOW, Level.ACT, "Flow 20 % or more below the baseline",
          ("valve not fully open or flow control turned in", "clogged filter or heads", "low supply pressure",
           "heads capped"),
          "Pump off, water shut, pressure let off: fit gauges before and after the valve; then measure while it "
          "runs: a large drop means the valve.", "flow", "low_pressure", (Act.WATER, Act.RUNNING)),
    _rule("p-low", "pressure", ALL, (Condition("pressure_ratio", below=0.8),),
          Kind.LOW_SUPPLY, Level.ACT, "Running pressure 20 % or more below the baseline",
          ("leak between here and the supply", "supply valve partly shut", "pump or filter", "other water in use"),
          "Mains: measure static pressure with all zones off; low too means the supply. Pump: measure where it is "
          "with one zone on, never against closed valves.", "pressure", "low_pressure", (Act.PUMP, Act.RUNNING)),
    _rule("p-high", "pressure", ALL, (Condition("pressure_ratio", at_least=1.2),),
          Kind.DRIFTING, Level.WATCH, "Running pressure 20 % or more above the baseline",
          ("pressure regulator out of adjustment", "flow lower than then"),
          "Compare the flow; look at the regulator's setting, and take it apart only with the pressure off.",
          "pressure", acts=(Act.WATER,)),
    _rule("p-good", "pressure", ALL, (Condition("pressure_ratio", at_least=0.8, below=1.2),),
          Kind.WITHIN, Level.OK, "Running pressure near the baseline", (), "Nothing to do.", "pressure"),
)  # fmt: skip

RULES: tuple[DiagnosisRule, ...] = (
    *_RESISTANCE_BY_BASELINE,
    *_RESISTANCE_BY_RANGE,
    *_VOLTAGE,
    *_CURRENT,
    *_MOVEMENT,
    *_FLOW_RULES,
)
