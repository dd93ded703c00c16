"""Valve readings to findings. Thresholds: common practice, no source; wire by copper's resistance."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.core.diagnosis import ValveBaseline, ValveReading, diagnose, figures, rule_table
from jobs.core.diagnosis_rules import RULES, Kind, Level
from sites.core.sources import COMMON_PRACTICE
from sites.core.units import awg_to_mm2

AC = ValveBaseline(coil_resistance_ohm=34.0, holding_va=5.5, flow_l_min=40.0, pressure_kpa=250.0)
# 150 m of AWG 18 (NBS Handbook 100: 20.95 ohm/km at 20 degC) there and back is 6.3 ohm: 32 reads 38.3 ohm
WIRED = ValveBaseline(coil_resistance_ohm=32.0, wire_length_m=150, wire_section_mm2=awg_to_mm2(18))
LATCHING = ValveBaseline(output="latching", coil_resistance_ohm=6.0)


def the(reading, baseline=AC):
    (finding,) = diagnose(reading, baseline)
    return finding


@pytest.mark.parametrize(
    ("ohm", "kind", "level"),
    [
        (250, Kind.OPEN_CIRCUIT, Level.ACT),  # common practice: above 200
        (120, Kind.HIGH_RESISTANCE, Level.ACT),  # common practice: above 1.3 times as new
        (44.2, Kind.HIGH_RESISTANCE, Level.ACT),  # 1.3 x baseline
        (40, Kind.DRIFTING, Level.WATCH),
        (34, Kind.WITHIN, Level.OK),  # common practice: within 15 %
        (29.5, Kind.WITHIN, Level.OK),
        (25, Kind.DRIFTING, Level.WATCH),
        (17, Kind.PARALLEL, Level.ACT),  # 34 with 34 in parallel
        (9, Kind.SHORT, Level.ACT),  # common practice: below 10
        (0, Kind.SHORT, Level.ACT),
    ],
)
def test_a_resistance_is_read_against_the_coil_as_new(ohm, kind, level):
    finding = the(ValveReading(resistance_ohm=ohm, temperature_c=20))
    assert (finding.kind, finding.level) == (kind, level)


@pytest.mark.parametrize(
    ("ohm", "kind"),
    [
        (250, Kind.OPEN_CIRCUIT),
        (60, Kind.HIGH_RESISTANCE),
        (59, Kind.WITHIN),
        (20, Kind.WITHIN),
        (19, Kind.PARALLEL),
        (9, Kind.SHORT),
    ],
)
def test_without_a_baseline_the_usual_range_of_an_ac_coil_counts(ohm, kind):
    assert the(ValveReading(resistance_ohm=ohm), ValveBaseline()).kind is kind


def test_no_reading_on_the_meter_is_an_open_circuit_for_every_coil():
    for output in ("ac24", "dc24", "latching"):
        finding = the(ValveReading(over_range=True), ValveBaseline(output=output))
        assert finding.kind is Kind.OPEN_CIRCUIT
        assert finding.fault_kind == "coil_open"
        assert "isolate" in finding.caution


def test_wire_is_subtracted_before_the_coil_is_judged_and_the_sentence_says_so():
    finding = the(ValveReading(resistance_ohm=38.3, temperature_c=20), WIRED)
    assert finding.kind is Kind.WITHIN
    assert finding.expected == pytest.approx(38.3, abs=0.05)
    assert finding.comparison == "38.3 Ω against 38.3 Ω expected at the terminals at 20 °C, 6.3 Ω of it wire"
    at_coil = the(ValveReading(resistance_ohm=38.3, temperature_c=20, at_coil=True), WIRED)
    assert at_coil.kind is Kind.DRIFTING  # 38.3 ohm at the coil itself is 20 % above new


def test_a_hot_coil_is_not_taken_for_a_bad_splice():
    # 34 ohm at 20 degC reads 39.3 at 60 degC
    assert the(ValveReading(resistance_ohm=39.3, temperature_c=60)).kind is Kind.WITHIN
    assert the(ValveReading(resistance_ohm=39.3, temperature_c=20)).kind is Kind.DRIFTING


def test_what_had_to_be_assumed_is_said():
    finding = the(ValveReading(resistance_ohm=34))
    assert finding.assumed == (
        "20 °C, no temperature entered",
        "wire resistance 0 Ω, length or section not recorded",
    )


@pytest.mark.parametrize(
    ("ohm", "kind"),
    [(6, Kind.WITHIN), (3, Kind.PARALLEL), (1, Kind.SHORT), (9, Kind.HIGH_RESISTANCE), (40, Kind.OPEN_CIRCUIT)],
)
def test_a_latching_coil_is_not_judged_by_the_ac_table(ohm, kind):
    # common practice: latching coils 4 to 10 ohm; an AC coil of 6 ohm would be a short
    assert the(ValveReading(resistance_ohm=ohm), LATCHING).kind is kind


def test_six_ohms_are_right_for_a_latching_coil_and_a_short_for_an_ac_coil():
    assert the(ValveReading(resistance_ohm=6), ValveBaseline(output="latching")).kind is Kind.WITHIN
    assert the(ValveReading(resistance_ohm=6), ValveBaseline(output="ac24")).kind is Kind.SHORT


def test_a_direct_current_coil_without_baseline_is_not_judged():
    finding = the(ValveReading(resistance_ohm=80), ValveBaseline(output="dc24"))
    assert finding.kind is Kind.NOT_JUDGED


@pytest.mark.parametrize(
    ("volts", "kind"),
    [(0, Kind.LOW_SUPPLY), (18.9, Kind.LOW_SUPPLY), (24, Kind.WITHIN), (31, Kind.HIGH_SUPPLY)],
)
def test_voltage_is_read_against_the_valves_minimum(volts, kind):
    finding = the(ValveReading(voltage_v=volts))
    assert finding.kind is kind
    if kind is not Kind.WITHIN:
        assert "licensed electrician" in finding.caution


def test_more_drop_than_the_wire_explains_points_to_a_splice():
    # by hand: 18 AWG, 600 ft, 0.37 A leaves 21.17 V of 24
    wired = ValveBaseline(
        wire_length_m=600 * 0.3048, wire_section_mm2=awg_to_mm2(18), holding_va=0.37 * 24, minimum_v=18
    )
    assert figures(ValveReading(voltage_v=21), wired)["voltage_expected_v"] == pytest.approx(21.165, abs=0.005)
    assert the(ValveReading(voltage_v=21), wired).kind is Kind.WITHIN
    assert the(ValveReading(voltage_v=19.1), wired).kind is Kind.HIGH_RESISTANCE


def test_ac_current_is_never_expected_from_the_resistance():
    # by hand: 24 V / 0.23 A is 104 ohm impedance against 20 to 60 ohm DC
    reading = ValveReading(current_a=0.23)
    assert figures(reading, ValveBaseline(coil_resistance_ohm=34))["current_expected_a"] is None
    assert figures(reading, ValveBaseline(output="dc24", coil_resistance_ohm=96))["current_expected_a"] == 0.25
    assert the(reading).kind is Kind.WITHIN  # 5.5 VA at 24 V is 0.229 A
    assert the(ValveReading(current_a=0.40)).kind is Kind.CURRENT_HIGH


@pytest.mark.parametrize(
    ("flow", "kind", "level"),  # common practice: flag at 10 %, act at 20 %
    [
        (52, Kind.FLOW_HIGH, Level.ACT),
        (45, Kind.DRIFTING, Level.WATCH),
        (40, Kind.WITHIN, Level.OK),
        (35, Kind.DRIFTING, Level.WATCH),
        (30, Kind.FLOW_LOW, Level.ACT),
        (0, Kind.FLOW_LOW, Level.ACT),
    ],
)
def test_flow_is_read_against_its_baseline(flow, kind, level):
    finding = the(ValveReading(flow_l_min=flow))
    assert (finding.kind, finding.level) == (kind, level)


def test_a_valve_that_does_not_open_with_a_good_circuit_is_a_water_side_fault():
    good = diagnose(ValveReading(resistance_ohm=34, opens="no"), AC)
    assert [f.rule_id for f in good] == ["m-shut", "r-good"]
    bad = diagnose(ValveReading(over_range=True, opens="no"), AC)
    assert {f.rule_id for f in bad} == {"r-over-range", "m-shut-electrical"}


@pytest.mark.parametrize(
    ("closes", "kind", "fault"),
    [("no", Kind.STUCK_OPEN, "valve_stuck_open"), ("weeps", Kind.WEEPS, "valve_weeps"), ("yes", Kind.WITHIN, "")],
)
def test_closing_and_weeping(closes, kind, fault):
    for baseline in (AC, LATCHING):
        finding = the(ValveReading(closes=closes), baseline)
        assert (finding.kind, finding.fault_kind) == (kind, fault)


def test_worst_findings_come_first_and_nothing_measured_gives_none():
    findings = diagnose(ValveReading(resistance_ohm=34, voltage_v=17, flow_l_min=45), AC)
    assert [f.level for f in findings] == [Level.ACT, Level.WATCH, Level.OK]
    assert diagnose(ValveReading(), AC) == ()


def test_impossible_input_is_refused():
    with pytest.raises(ValueError, match="resistance_ohm"):
        ValveReading(resistance_ohm=-1)
    with pytest.raises(ValueError, match="output"):
        ValveBaseline(output="mains")


def test_the_table_is_plain_data_and_every_row_names_its_source():
    table = json.loads(json.dumps(rule_table()))
    assert len(table["rules"]) == len(RULES)
    assert len({rule["id"] for rule in table["rules"]}) == len(RULES)
    for rule in table["rules"]:
        assert rule["source"].startswith(COMMON_PRACTICE)
        if rule["level"] == "act":
            assert rule["causes"] and rule["next_test"] and rule["fault_kind"]


OUTPUTS = st.sampled_from(["ac24", "dc24", "latching"])
POSITIVE = st.none() | st.floats(0, 1000)


@given(
    st.builds(
        ValveReading,
        resistance_ohm=POSITIVE,
        over_range=st.booleans(),
        at_coil=st.booleans(),
        voltage_v=POSITIVE,
        current_a=POSITIVE,
        flow_l_min=POSITIVE,
        pressure_kpa=POSITIVE,
        opens=st.sampled_from(["", "yes", "no"]),
        closes=st.sampled_from(["", "yes", "no", "weeps"]),
        temperature_c=st.none() | st.floats(-20, 80),
    ),
    st.builds(
        ValveBaseline,
        output=OUTPUTS,
        coil_resistance_ohm=st.none() | st.floats(1, 300),
        wire_length_m=st.none() | st.floats(1, 600),
        wire_section_mm2=st.none() | st.floats(0.3, 6),
        holding_va=st.none() | st.floats(1, 20),
        flow_l_min=st.none() | st.floats(1, 300),
        pressure_kpa=st.none() | st.floats(50, 800),
    ),
)
def test_each_measured_thing_gets_at_most_one_finding_and_a_resistance_always_one(reading, baseline):
    findings = diagnose(reading, baseline)
    groups = [finding.group for finding in findings]
    assert len(groups) == len(set(groups))
    assert ("resistance" in groups) == (reading.resistance_ohm is not None or reading.over_range)
    assert ("opens" in groups) == bool(reading.opens)
    assert ("closes" in groups) == bool(reading.closes)
    assert ("flow" in groups) == (reading.flow_l_min is not None and baseline.flow_l_min is not None)


@given(st.floats(5, 200), st.floats(-10, 60), OUTPUTS)
def test_a_coil_as_new_reads_within_expectation_at_any_temperature(coil_ohm, temperature_c, output):
    baseline = ValveBaseline(output, coil_ohm, wire_length_m=200, wire_section_mm2=1.5)
    expected = figures(ValveReading(temperature_c=temperature_c), baseline)["resistance_expected_ohm"]
    reading = ValveReading(resistance_ohm=expected, temperature_c=temperature_c)
    assert the(reading, baseline).kind is Kind.WITHIN


@pytest.mark.parametrize("field", ["resistance_ohm", "voltage_v", "current_a", "flow_l_min", "pressure_kpa"])
@pytest.mark.parametrize("value", [float("nan"), float("inf"), -0.1])
def test_a_reading_that_is_no_number_is_refused_by_name(field, value):
    with pytest.raises(ValueError, match=field):
        ValveReading(**{field: value})
