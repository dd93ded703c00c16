from dataclasses import replace
from datetime import date

import pytest

from sites.core.checks import check_site, low_voltage
from sites.core.findings import Severity
from sites.core.plant import Backflow, Controller, Pump, SitePlant, Supply, Valve, Zone
from sites.core.units import FOOT_M, awg_to_mm2

TODAY = date(2024, 7, 1)
SUPPLY = Supply(1, "Mains", "mains", flow_available_l_min=60)
CONTROLLER = Controller(1, terminals=4, transformer_va=40, supply_id=1)
VALVES = tuple(
    Valve(n, f"Valve {n}", 1, terminal=n, coil_holding_va=5.5, wire_length_m=50, wire_section_mm2=1.5) for n in (1, 2)
)
ZONES = tuple(
    Zone(n, n, "Bed", n, area_m2=30.0, application_rate_mm_h=40.0, flow_l_min=20.0)  # 60 * 20 / 30 = 40 mm/h
    for n in (1, 2)
)
SOUND = SitePlant(
    supplies=(SUPPLY,),
    backflows=(Backflow(1, test_due_on=date(2025, 4, 1)),),
    controllers=(CONTROLLER,),
    valves=VALVES,
    zones=ZONES,
)


def found(plant):
    return [finding.check for finding in check_site(plant, TODAY)]


def the(plant, check):
    (finding,) = (finding for finding in check_site(plant, TODAY) if finding.check == check)
    return finding


def figures(finding):
    return {figure.label: figure.value for figure in finding.figures}


def test_a_sound_register_has_no_finding():
    assert check_site(SOUND, TODAY) == ()


def test_two_valves_on_one_terminal():
    plant = replace(SOUND, valves=(VALVES[0], replace(VALVES[1], terminal=1)))
    assert found(plant) == ["shared_terminal"]
    assert "Valve 1 and Valve 2 are both on terminal 1" in the(plant, "shared_terminal").title
    unwired = tuple(replace(valve, terminal=None) for valve in VALVES)
    assert found(replace(SOUND, valves=unwired)) == []


def test_the_same_terminal_number_on_two_controllers_is_no_finding():
    second = replace(CONTROLLER, id=2)
    plant = replace(
        SOUND,
        controllers=(CONTROLLER, second),
        valves=(VALVES[0], replace(VALVES[1], controller_id=2, terminal=1)),
    )
    assert found(plant) == []


def test_a_terminal_that_the_controller_does_not_have():
    plant = replace(SOUND, valves=(VALVES[0], replace(VALVES[1], terminal=5)))
    assert figures(the(plant, "terminal_beyond")) == {"terminal": 5, "terminals there are": 4}


def test_an_overloaded_transformer_is_unsafe_and_a_thin_margin_is_told():
    # by hand: three valves 24 V 0.23 A and a relay 24 V 0.25 A hold 22.56 VA
    valves = tuple(replace(VALVES[0], id=n, terminal=n, coil_holding_va=5.52, coil_inrush_va=5.52) for n in (1, 2, 3))
    zones = tuple(replace(ZONES[0], id=n, valve_id=n) for n in (1, 2, 3))
    controller = replace(CONTROLLER, one_valve_at_a_time=False, most_valves_open=3, pump_relay_va=6.0)
    for rated, severity in ((22, Severity.UNSAFE), (28, Severity.WRONG), (29, None)):
        plant = replace(SOUND, controllers=(replace(controller, transformer_va=rated),), valves=valves, zones=zones)
        if severity is None:
            assert found(plant) == []
            continue
        finding = the(plant, "transformer_overloaded")
        assert finding.severity is severity
        assert figures(finding)["needed with one valve starting"] == pytest.approx(22.56)
        assert "licensed electrician" in finding.todo
    one_at_a_time = replace(CONTROLLER, pump_relay_va=6.0, transformer_va=22)
    assert found(replace(SOUND, controllers=(one_at_a_time,), valves=valves, zones=zones)) == []


def test_a_valve_at_the_end_of_a_thin_wire_sees_too_little():
    # by hand, NBS Handbook 100 copper: 18 AWG, 600 ft, 0.37 A leaves 21.17 V; a coil that needs 21.5 V fails there
    far = replace(
        VALVES[0],
        coil_holding_va=24 * 0.25,
        coil_inrush_va=24 * 0.37,
        wire_length_m=600 * FOOT_M,
        wire_section_mm2=awg_to_mm2(18),
    )
    plant = replace(SOUND, valves=(far, VALVES[1]))
    (finding,) = low_voltage(plant, minimum_v=21.5)
    assert figures(finding)["at the valve"] == pytest.approx(21.165, abs=0.005)
    assert not list(low_voltage(plant, minimum_v=21))
    stronger = replace(plant, controllers=(replace(CONTROLLER, output_v=26.0),))
    assert not list(low_voltage(stronger, minimum_v=21.5))


def test_a_zone_that_takes_more_than_the_supply():
    plant = replace(SOUND, supplies=(replace(SUPPLY, flow_available_l_min=18),), zones=(ZONES[0], ZONES[1]))
    assert found(plant) == ["flow_above_supply", "flow_above_supply"]
    idle = tuple(replace(zone, in_use=False) for zone in ZONES)
    assert found(replace(plant, zones=idle)) == []


@pytest.mark.parametrize(("recorded", "told"), [(40, False), (50, False), (54, True), (31, True)])
def test_a_rate_more_than_a_quarter_from_flow_and_area(recorded, told):
    plant = replace(SOUND, zones=(replace(ZONES[0], application_rate_mm_h=recorded), ZONES[1]))
    assert found(plant) == (["application_rate_off"] if told else [])


def test_a_pump_without_a_wired_valve_is_unsafe():
    pump = Supply(1, "Lake pump", "pump", flow_available_l_min=60, pump=Pump())
    unwired = tuple(replace(valve, terminal=None) for valve in VALVES)
    plant = replace(SOUND, supplies=(pump,), valves=unwired)
    assert the(plant, "pump_without_path").severity is Severity.UNSAFE
    assert "pump_without_path" in found(replace(plant, controllers=()))


def test_a_pump_on_interlocked_outputs_is_told_unless_valves_shut_slowly():
    pump = Supply(1, "Lake pump", "pump", flow_available_l_min=60, pump=Pump())
    plant = replace(SOUND, supplies=(pump,))
    assert found(plant) == ["pump_gap_at_handover"]
    slow = tuple(replace(valve, closes_from_s=6) for valve in VALVES)
    assert found(replace(plant, valves=slow)) == []
    separate = replace(CONTROLLER, one_valve_at_a_time=False)
    assert found(replace(plant, controllers=(separate,))) == []
    unrecorded = replace(plant, supplies=(replace(pump, pump=None),), controllers=(separate,))
    assert found(unrecorded) == ["pump_not_recorded"]


def test_zones_and_valves_that_have_lost_each_other():
    plant = replace(SOUND, zones=(ZONES[0], replace(ZONES[1], valve_id=None)))
    assert found(plant) == ["zone_without_valve", "valve_without_zone"]
    master = replace(VALVES[1], is_master=True)
    assert found(replace(SOUND, valves=(VALVES[0], master), zones=ZONES[:1])) == []


@pytest.mark.parametrize(
    ("due", "severity"),
    [
        (date(2024, 6, 30), Severity.UNSAFE),
        (TODAY, Severity.SOON),
        (date(2024, 7, 31), Severity.SOON),
        (date(2024, 8, 1), None),
        (None, Severity.MISSING),
    ],
)
def test_backflow_tests_by_their_date(due, severity):
    plant = replace(SOUND, backflows=(Backflow(1, test_due_on=due),))
    assert [f.severity for f in check_site(plant, TODAY)] == ([severity] if severity else [])


def test_unsafe_findings_come_first():
    plant = replace(
        SOUND,
        zones=(ZONES[0], replace(ZONES[1], valve_id=None)),
        backflows=(Backflow(1, test_due_on=date(2024, 1, 1)),),
    )
    assert found(plant)[0] == "backflow_test"


def test_a_hand_over_with_the_pump_running_counts_two_coils_on_the_transformer():
    """Outputs overlap there, so that flow never stops: 2 x 5.5 VA hold, and one starts with 0.7 x 5.5 VA more."""
    pump = replace(SUPPLY, kind="pump", pump=Pump())
    controller = replace(CONTROLLER, one_valve_at_a_time=False, transformer_va=11)
    finding = the(replace(SOUND, supplies=(pump,), controllers=(controller,)), "transformer_overloaded")
    assert finding.severity is Severity.UNSAFE
    assert figures(finding)["needed with one valve starting"] == pytest.approx(14.85)
    mains = replace(SOUND, controllers=(controller,))
    assert figures(the(mains, "transformer_overloaded"))["needed with one valve starting"] == pytest.approx(9.35)


def test_a_shared_common_carries_the_sum_of_the_currents():
    # by hand: two valves at 0.25 A each: drop = I r_hot L + 2 I r_common L; 250 m of 1.5 mm2 (12.1 ohm/km)
    coil = {"coil_holding_va": 6.0, "coil_inrush_va": 6.0, "wire_length_m": 250, "wire_section_mm2": 1.5}
    valves = tuple(replace(valve, **coil) for valve in VALVES)
    # alone: 24 - 2 x 0.25 A x 3.025 ohm = 22.49 V
    assert not list(low_voltage(replace(SOUND, valves=valves), minimum_v=22))
    master = replace(valves[1], is_master=True)
    plant = replace(SOUND, valves=(valves[0], master), zones=ZONES[:1])
    (zone_valve,) = (finding for finding in low_voltage(plant, minimum_v=22) if finding.subject_id == 1)
    assert figures(zone_valve)["at the valve"] == pytest.approx(24 - 0.25 * 3.025 - 0.5 * 3.025, abs=0.001)
    assert figures(zone_valve)["others on the common"] == 6.0
    # as far as the wire loses just the 2 V there are to lose: 2 / (0.75 A x 0.0121 ohm/m)
    assert figures(zone_valve)["this section reaches"] == pytest.approx(220.39, abs=0.01)
    separate = replace(CONTROLLER, one_valve_at_a_time=False, most_valves_open=2)
    assert len(list(low_voltage(replace(SOUND, valves=valves, controllers=(separate,)), minimum_v=22))) == 2


def test_two_master_valves_on_one_controller():
    third = replace(VALVES[0], id=3, name="Valve 3", terminal=3, is_master=True)
    fourth = replace(third, id=4, name="Valve 4", terminal=4)
    assert found(replace(SOUND, valves=(*VALVES, third))) == []
    finding = the(replace(SOUND, valves=(*VALVES, third, fourth)), "several_masters")
    assert "Valve 3 and Valve 4" in finding.title


def test_a_terminal_that_is_the_last_is_no_finding_and_doubled_ones_are_counted():
    plant = replace(SOUND, valves=(VALVES[0], replace(VALVES[1], terminal=4)))
    assert found(plant) == []
    doubled = replace(SOUND, valves=(VALVES[0], replace(VALVES[1], terminal=1)))
    assert figures(the(doubled, "shared_terminal")) == {"valves on the terminal": 2}


def test_valves_that_share_a_terminal_load_the_transformer_together():
    """By hand: 2 x 5.5 VA hold, one of them starting takes 0.7 x 5.5 VA more: 14.85 VA."""
    valves = (VALVES[0], replace(VALVES[1], terminal=1))
    plant = replace(SOUND, valves=valves, controllers=(replace(CONTROLLER, transformer_va=14.8),))
    assert figures(the(plant, "transformer_overloaded")) == {
        "needed with one valve starting": pytest.approx(14.85), "rated": 14.8,
    }  # fmt: skip
    small = replace(plant, controllers=(replace(CONTROLLER, transformer_va=11),))
    apart = replace(small, valves=VALVES)
    assert figures(the(apart, "transformer_overloaded"))["needed with one valve starting"] == pytest.approx(9.35)
    unwired = replace(small, valves=tuple(replace(valve, terminal=None) for valve in VALVES))
    assert figures(the(unwired, "transformer_overloaded"))["needed with one valve starting"] == pytest.approx(9.35)


def test_the_hungriest_valves_and_the_master_are_counted():
    """By hand: master 5.5 VA and the hungrier valve 8 VA hold, it starts with 0.7 x 8 VA more: 19.1 VA."""
    hungry = replace(VALVES[1], coil_holding_va=8.0)
    master = replace(VALVES[0], id=3, name="Master", terminal=3, is_master=True)
    controller = replace(CONTROLLER, transformer_va=19)
    plant = replace(SOUND, valves=(VALVES[0], hungry, master), controllers=(controller,))
    finding = the(plant, "transformer_overloaded")
    assert figures(finding)["needed with one valve starting"] == pytest.approx(19.1)
    assert finding.severity is Severity.UNSAFE
    spare = replace(plant, controllers=(replace(CONTROLLER, transformer_va=19.1),))
    assert the(spare, "transformer_overloaded").severity is Severity.WRONG
    assert "less than 20 %" in the(spare, "transformer_overloaded").title
    latching = replace(plant, controllers=(replace(controller, output="latching"),))
    assert found(latching) == []


def test_a_coil_of_unknown_inrush_is_counted_by_its_kind_of_output():
    """By hand, 250 m of 1.5 mm2 (12.1 ohm/km) out and back, 6 VA at 24 V: 0.25 A hold, 0.425 A start on AC."""
    valve = replace(VALVES[0], coil_holding_va=6.0, wire_length_m=250, wire_section_mm2=1.5)
    plant = replace(SOUND, valves=(valve, VALVES[1]))
    (on_ac,) = low_voltage(plant, minimum_v=23)
    assert figures(on_ac)["at the valve"] == pytest.approx(24 - 0.425 * 6.05, abs=0.001)
    assert figures(on_ac) == {
        "at the valve": pytest.approx(21.429, abs=0.001), "valve minimum": 23, "wire one way": 250, "section": 1.5,
        "this section reaches": pytest.approx(1 / (0.425 * 0.0242), abs=0.01),
    }  # fmt: skip
    direct = replace(plant, controllers=(replace(CONTROLLER, output="dc24"),))
    (on_dc,) = low_voltage(direct, minimum_v=23)
    assert figures(on_dc)["at the valve"] == pytest.approx(24 - 0.25 * 6.05, abs=0.001)
    assert not list(low_voltage(replace(plant, controllers=(replace(CONTROLLER, output="latching"),)), minimum_v=23))
    at_the_least = figures(on_dc)["at the valve"]
    assert not list(low_voltage(direct, minimum_v=at_the_least))


@pytest.mark.parametrize("lacking", ["coil_holding_va", "wire_length_m", "wire_section_mm2"])
def test_a_valve_whose_wire_or_coil_is_unknown_is_not_judged(lacking):
    far = replace(VALVES[0], wire_length_m=5000)
    assert found(replace(SOUND, valves=(far, VALVES[1]))) == ["low_voltage"]
    assert found(replace(SOUND, valves=(replace(far, **{lacking: None}), VALVES[1]))) == []


def test_a_master_valve_opens_beside_the_other_masters_alone():
    """By hand: 6 VA at 24 V is 0.25 A; 250 m of 1.5 mm2 one way are 3.025 ohm."""
    coil = {"coil_holding_va": 6.0, "coil_inrush_va": 6.0, "wire_length_m": 250, "wire_section_mm2": 1.5}
    zone_valve = replace(VALVES[0], **coil)
    master = replace(VALVES[1], is_master=True, **coil)
    separate = replace(CONTROLLER, one_valve_at_a_time=False, most_valves_open=4)
    plant = replace(SOUND, valves=(zone_valve, master), zones=ZONES[:1], controllers=(separate,))
    volts = {finding.subject_id: figures(finding)["at the valve"] for finding in low_voltage(plant, minimum_v=23.9)}
    assert volts[2] == pytest.approx(24 - 0.25 * 2 * 3.025)  # the zone valve is shut while the master opens
    assert volts[1] == pytest.approx(24 - 0.25 * 3.025 - 0.5 * 3.025)


def test_the_hungriest_of_those_beside_it_are_counted_and_no_more():
    """Two open at once: beside the valve of 6 VA the one of 9 VA, not the one of 3 VA."""
    wire = {"coil_inrush_va": 6.0, "wire_length_m": 250, "wire_section_mm2": 1.5}
    holding = (6.0, 3.0, 9.0)
    valves = tuple(
        replace(VALVES[0], id=n, terminal=n, coil_holding_va=va, **wire) for n, va in enumerate(holding, start=1)
    )
    zones = tuple(replace(ZONES[0], id=n, number=n, valve_id=n) for n in (1, 2, 3))
    controller = replace(CONTROLLER, one_valve_at_a_time=False, most_valves_open=2)
    plant = replace(SOUND, valves=valves, zones=zones, controllers=(controller,))
    beside = {f.subject_id: figures(f)["others on the common"] for f in low_voltage(plant, minimum_v=23.9)}
    assert beside == {1: 9.0, 2: 9.0, 3: 6.0}


def test_a_zone_that_takes_all_of_its_supply_is_no_finding():
    assert found(replace(SOUND, supplies=(replace(SUPPLY, flow_available_l_min=20),))) == []
    assert found(replace(SOUND, supplies=(replace(SUPPLY, flow_available_l_min=None),))) == []
    over = the(
        replace(SOUND, supplies=(replace(SUPPLY, flow_available_l_min=19),), zones=ZONES[:1], valves=VALVES[:1]),
        "flow_above_supply",
    )
    assert figures(over) == {"zone": 20.0, "supply": 19}


def test_a_rate_that_is_off_tells_what_flow_and_area_say():
    plant = replace(SOUND, zones=(replace(ZONES[0], application_rate_mm_h=80), ZONES[1]))
    assert figures(the(plant, "application_rate_off")) == {
        "implied by flow and area": pytest.approx(40), "recorded": 80, "off by": pytest.approx(50),
    }  # fmt: skip
    edge = replace(SOUND, zones=(replace(ZONES[0], application_rate_mm_h=32), ZONES[1]))  # 40 / 32 is just 1.25
    assert found(edge) == []
    for unknown in ({"flow_l_min": None}, {"area_m2": None}, {"application_rate_mm_h": None}, {"in_use": False}):
        zone = replace(ZONES[0], application_rate_mm_h=80)
        assert found(replace(SOUND, zones=(replace(zone, **unknown), ZONES[1]))) == []


def test_valves_that_shut_just_as_the_next_opens_leave_no_gap():
    pump = Supply(1, "Lake pump", "pump", flow_available_l_min=60, pump=Pump())
    even = tuple(replace(valve, closes_from_s=2, opens_within_s=2) for valve in VALVES)
    assert found(replace(SOUND, supplies=(pump,), valves=even)) == []
    uneven = (replace(even[0], closes_from_s=1), replace(even[1], opens_within_s=3))
    finding = the(replace(SOUND, supplies=(pump,), valves=uneven), "pump_gap_at_handover")
    assert figures(finding) == {"a valve may be shut after": 1, "the next may need to open": 3}
    alone = replace(SOUND, supplies=(pump,), valves=uneven[:1], zones=ZONES[:1])
    assert found(alone) == []


def test_a_backflow_finding_counts_the_days():
    def days(due):
        return figures(the(replace(SOUND, backflows=(Backflow(1, test_due_on=due),)), "backflow_test"))

    assert days(date(2024, 6, 28)) == {"overdue": 3}
    assert days(date(2024, 7, 11)) == {"due in": 10}


def test_a_zone_out_of_use_needs_no_valve_and_one_of_a_lost_valve_is_told():
    lost = replace(ZONES[1], valve_id=99)
    assert "zone_without_valve" in found(replace(SOUND, zones=(ZONES[0], lost)))
    idle = replace(SOUND, zones=(ZONES[0], replace(lost, in_use=False)))
    assert found(idle) == ["valve_without_zone"]
