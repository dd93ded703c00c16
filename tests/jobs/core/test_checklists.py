"""Gates and air pressure limits. The limits are common practice, no source (drip 30, PE 50, PVC 80 psi)."""

import pytest

from jobs.core.cautions import AIR_PRESSURE_LIMIT_KPA, CAUTIONS, air_pressure_problem
from jobs.core.checklists import DEFAULT_CHECKLISTS, WINTERISATION, closing_gates
from sites.core.units import PSI_KPA


def test_every_step_after_an_undone_gate_is_closed_by_the_first_such_gate():
    gates = [False, True, False, True, False]
    assert closing_gates(gates, [False] * 5) == [None, None, 1, 1, 1]


def test_a_done_gate_opens_the_way_to_the_next_gate():
    gates = [False, True, False, True, False]
    assert closing_gates(gates, [False, True, False, False, False]) == [None, None, None, None, 3]


def test_steps_before_a_gate_need_not_be_done_to_pass_it():
    assert closing_gates([False, True, False], [False, True, False]) == [None, None, None]


@pytest.mark.parametrize(("material", "psi"), [("drip", 30), ("pe", 50), ("pvc", 80)])
def test_the_usual_limit_passes_in_either_unit_and_a_tenth_more_does_not(material, psi):
    assert air_pressure_problem(psi * PSI_KPA, material) is None
    assert air_pressure_problem(AIR_PRESSURE_LIMIT_KPA[material], material) is None
    assert air_pressure_problem(1.1 * psi * PSI_KPA, material) == AIR_PRESSURE_LIMIT_KPA[material]


def test_an_unknown_material_counts_as_the_weakest():
    assert air_pressure_problem(345, "unknown") == 207
    assert air_pressure_problem(200, "unknown") is None


def test_no_air_before_water_is_off_pressure_out_limit_known_and_people_protected():
    keys = [step.key for step in WINTERISATION]
    gates = [step.key for step in WINTERISATION if step.gate]
    assert gates == [
        "injector_off",
        "water_shut_off",
        "pressure_released",
        "pipe_material",
        "air_pressure_limit",
        "protected",
        "connected_downstream",
        "valve_open",
    ]
    assert max(keys.index(gate) for gate in gates) < keys.index("zones_blown_out") < keys.index("air_released")


def test_every_kind_of_visit_has_steps_and_cautions_with_keys_used_once():
    assert set(DEFAULT_CHECKLISTS) == set(CAUTIONS) == {"startup", "mid_season", "winterisation", "repair"}
    for steps in DEFAULT_CHECKLISTS.values():
        assert len({step.key for step in steps}) == len(steps)
        assert max(len(step.text) for step in steps) <= 240
