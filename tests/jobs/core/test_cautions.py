"""Every act that can hurt somebody or wreck a system carries its caution where it is ordered.

The table says by hand which acts each test and step orders; a test or step that is not in it fails, and so does an
act whose words are found in an order without its caution beside it.
"""

import re
from pathlib import Path

import pytest

from jobs.core.cautions import AIR_PRESSURE_LIMIT_KPA, CAUTIONS, MEASURING, SHORT_CAUTIONS
from jobs.core.checklists import DEFAULT_CHECKLISTS
from jobs.core.diagnosis_rules import RULES, Level
from sites.core.cautions import BY_HAND, CABINET, CARE, WET_CLASS_2, Act
from sites.core.units import PSI_KPA

BOX = {Act.WIRES, Act.BOX}
LIVE = {Act.LIVE_24V, Act.MAINS, Act.WIRES}
NOTHING: set[Act] = set()

TESTS: dict[str, set[Act]] = {
    "r-over-range": BOX, "r-open-200": BOX, "r-open-latching": BOX, "r-high": BOX, "r-drift-up": BOX,
    "r-drift-down": BOX, "r-half": BOX, "r-short": BOX, "r-range-open": BOX, "r-range-high": BOX,
    "r-range-half": BOX, "r-range-short": BOX, "r-latching-open": BOX, "r-latching-high": BOX,
    "r-latching-short": BOX, "r-dc-short": BOX, "r-dc-unknown": BOX,
    "r-range-good": NOTHING, "r-latching-good": NOTHING,
    "v-none": LIVE, "v-low": LIVE, "v-high": LIVE, "v-drop": LIVE | {Act.BOX},
    "i-none": {Act.WIRES}, "i-high-ac": BOX | {Act.WATER, Act.PUMP}, "i-high-dc": BOX, "i-low": LIVE | {Act.BOX},
    "m-shut-electrical": BOX, "m-shut": {Act.PUMP, Act.RUNNING, Act.WATER, Act.BOX},
    "m-open-latching": BOX | {Act.WATER},
    "m-open": BOX | {Act.WATER}, "m-weeps": {Act.RUNNING, Act.WATER, Act.BOX},
    "f-high": {Act.RUNNING, Act.DIG}, "f-drift-high": NOTHING, "f-drift-low": {Act.WATER},
    "f-low": {Act.WATER, Act.RUNNING}, "p-low": {Act.PUMP, Act.RUNNING}, "p-high": {Act.WATER},
}  # fmt: skip

# What a step's caution must say, in the words of the act or, where the step's own are better, in these.
STEPS: dict[str, dict[str, set[Act | str]]] = {
    "startup": {
        "boxes_checked": {Act.BOX, Act.PIT},
        "backflow_ready": {"licensed"},
        "slow_fill": {Act.FILL, "pump dry"},
        "pump_checked": {Act.PUMP},
        "injector_ready": {Act.CHEMICALS},
        "zones_run": {Act.RUNNING},
        "static_pressure": {Act.PUMP, "pressure let off"},
        "power_off_for_measuring": {Act.MAINS, "wires off"},
    },
    "mid_season": {
        "boxes_checked": {Act.BOX, Act.PIT},
        "no_leaks": {"never against closed valves"},
        "zones_run": {Act.RUNNING},
        "power_off_for_measuring": {Act.MAINS, "wires off"},
        "filters_cleaned": {Act.WATER, Act.CHEMICALS},
    },
    "winterisation": {
        "boxes_checked": {Act.BOX, Act.PIT},
        "injector_off": {Act.CHEMICALS},
        "water_shut_off": {Act.SHUT, Act.MAINS},
        "pressure_released": {"pump stays off"},
        "air_pressure_limit": {Act.AIR_PRESSURE},
        "protected": {Act.AIR, "Exhaust kills"},
        "connected_downstream": {"any backflow assembly", "still shut"},
        "valve_open": {"closed valves"},
        "zones_blown_out": {"stop at mist"},
        "air_released": {"unattended"},
        "backflow_drained": {"licensed", "No antifreeze"},
        "pump_drained": {Act.PUMP},
        "power_off_for_measuring": {Act.MAINS, "wires off"},
    },
    "repair": {
        "boxes_checked": {Act.BOX, Act.PIT},
        "services_located": {Act.DIG},
        "isolated": {Act.SHUT, "licensed"},
        "repaired_part": {Act.WATER, Act.CEMENT, Act.CHEMICALS},
        "joints_cured": {Act.CEMENT},
        "tried_after_repair": {Act.FILL, Act.PUMP},
    },
}
HARMLESS = {
    "site_made_safe", "drains_closed", "controller_set", "sensors_checked", "left_tidy", "controller_checked",
    "plants_looked_at", "pipe_material", "controller_off", "startup no_leaks",
}  # fmt: skip

# Words that order an act, wherever they stand.
ORDERS: dict[Act, str] = {
    Act.LIVE_24V: r"with the zone still on, measure|under load, measure",
    Act.WIRES: r"coil alone|take (?:one|the) coil|swap the two wires|splice after|the splices|at the terminals",
    Act.WATER: r"diaphragm|plunger out|valve apart|clean the filter|filters .*cleaned|fit gauges|take it apart",
    Act.RUNNING: r"while it runs|by hand at the bleed|every zone run",
    Act.SHUT: r"supply to the (?:irrigation|part)",
    Act.DIG: r"ground is opened|dug",
    Act.BOX: r"valve box|boxes",
    Act.CHEMICALS: r"injector|fertilizer",
    Act.CEMENT: r"glued",
    Act.AIR_PRESSURE: r"air pressure limit",
    Act.PUMP: r"pump still isolated|on a pump,|pump runs",
}


def orders() -> list[tuple[str, str, str]]:
    """(name, order, caution) of every test of a diagnosis and every step of a checklist."""
    found = [(rule.id, rule.next_test, rule.caution) for rule in RULES if rule.level is not Level.OK]
    for kind, steps in DEFAULT_CHECKLISTS.items():
        found += [(f"{kind} {step.key}", step.text, step.caution) for step in steps]
    return found


def without_caution(rows: list[tuple[str, str, str]]) -> list[tuple[str, Act]]:
    """Orders that name an act and do not carry its caution; a step closed up again is no act."""
    return [
        (name, act)
        for name, order, caution in rows
        for act, words in ORDERS.items()
        if re.search(words, order, re.IGNORECASE) and CARE[act] not in caution and "left_tidy" not in name
        if (name, act) != ("mid_season no_leaks", Act.BOX)  # looked at, not reached into
    ]


def test_every_test_of_a_diagnosis_carries_the_caution_of_each_of_its_acts():
    told = {rule.id: rule.caution for rule in RULES if rule.level is not Level.OK or rule.caution}
    harmless = {rule.id for rule in RULES if rule.level is Level.OK}
    assert set(TESTS) - harmless == set(told) - harmless  # a new test needs its row
    for name, acts in TESTS.items():
        rule = next(rule for rule in RULES if rule.id == name)
        assert {act for act in Act if CARE[act] in rule.caution} == acts, name


def test_every_step_carries_the_caution_of_each_of_its_acts():
    for kind, steps in DEFAULT_CHECKLISTS.items():
        for step in steps:
            must = STEPS[kind].get(step.key)
            if must is None:
                assert {step.key, f"{kind} {step.key}"} & HARMLESS, f"{kind} {step.key} has no row"
                continue
            for one in must:
                words = CARE[one] if isinstance(one, Act) else one
                assert words in step.caution, (kind, step.key, one)


def test_an_act_is_never_ordered_without_its_caution():
    assert without_caution(orders()) == []


@pytest.mark.parametrize(
    ("order", "act"),
    [
        ("Take the plunger out and clean it.", Act.WATER),
        ("Walk the zone while it runs.", Act.RUNNING),
        ("Look into the valve box.", Act.BOX),
        ("Ground is opened beside the leak.", Act.DIG),
        ("With the zone still on, measure at the terminal.", Act.LIVE_24V),
    ],
)
def test_an_order_without_its_caution_is_found(order, act):
    assert (order, act) in without_caution([(order, order, "")])


def test_live_tests_and_tests_without_power_say_which_they_are():
    for rule in RULES:
        live = CARE[Act.LIVE_24V] in rule.caution
        assert live == ("zone still on" in rule.next_test), rule.id
        if CARE[Act.WIRES] in rule.caution and not live:
            assert re.search(r"power off|switch the controller off", rule.next_test, re.IGNORECASE), rule.id


def test_water_is_shut_in_the_order_pump_water_pressure():
    steps = {kind: {step.key: step.text for step in steps} for kind, steps in DEFAULT_CHECKLISTS.items()}
    for text in (steps["winterisation"]["water_shut_off"], steps["repair"]["isolated"], CARE[Act.WATER]):
        assert text.lower().index("pump") < re.search(r"water supply|supply to|valve shut", text).start()
    assert "pump that feeds it off first" in CARE[Act.SHUT]
    assert "fire line" in CARE[Act.SHUT]


def test_wherever_a_test_has_the_water_shut_its_pump_goes_off_first():
    told = [rule.next_test.lower() for rule in RULES if "water shut" in rule.next_test.lower()]
    assert told
    for text in told:
        assert 0 <= text.find("pump off") < text.index("water shut"), text


@pytest.mark.parametrize(
    ("path", "caution", "order"),
    [
        ("templates/jobs/_findings.html", "{{ finding.caution }}", "{{ finding.next_test }}"),
        ("static/jobs/field/valve.js", "found.caution &&", "found.next_test &&"),
    ],
)
def test_page_and_phone_show_a_caution_before_the_test_it_is_about(path, caution, order):
    text = (Path(__file__).parents[3] / "jobs" / path).read_text()
    assert text.index(caution) < text.index(order)


def test_a_blow_out_is_told_in_the_order_in_which_it_is_done():
    """Water off; limit set with the air shut; hose; valve open; air. Order: common practice, no standard found."""
    told = " ".join(CAUTIONS["winterisation"])
    words = ["flush an injector", "protection on", "outdoors", CARE[Act.SHUT], "water shut off",
             "while the air is still shut", "Then the hose", "valve before air", "Bleed to zero"]  # fmt: skip
    places = [told.index(word) for word in words]
    assert places == sorted(places)
    keys = [step.key for step in DEFAULT_CHECKLISTS["winterisation"]]
    order = ["injector_off", "water_shut_off", "pressure_released", "pipe_material", "air_pressure_limit",
             "protected", "connected_downstream", "valve_open", "zones_blown_out", "air_released"]  # fmt: skip
    assert [key for key in keys if key in order] == order
    assert "unprotected" not in told.lower()


def test_the_air_pressures_in_words_are_those_the_program_holds_to():
    """Common practice: PE 50, PVC 80, drip 30 psi; no agency, extension or standard text was found."""
    for material, psi in (("PE pipe", 50), ("PVC", 80), ("drip", 30)):
        kpa = AIR_PRESSURE_LIMIT_KPA[{"PE pipe": "pe", "PVC": "pvc", "drip": "drip"}[material]]
        assert f"{material} {kpa:.0f} kPa ({psi} psi)" in " ".join(CARE[Act.AIR_PRESSURE].split())
        assert kpa == pytest.approx(psi * PSI_KPA, rel=0.004)


def test_every_kind_of_visit_is_told_of_power_pits_chemicals_and_local_codes():
    for kind, told in CAUTIONS.items():
        words = " ".join(told)
        for act in (Act.MAINS, Act.LIVE_24V, Act.BOX, Act.PIT, Act.CHEMICALS, Act.RECLAIMED):
            assert CARE[act] in words, (kind, act)
        assert "Local codes" in told[-1]
    assert set(SHORT_CAUTIONS) == set(CAUTIONS)
    for act in (Act.WATER, Act.SHUT, Act.DIG, Act.CEMENT, Act.PUMP):
        assert CARE[act] in CAUTIONS["repair"]
    assert WET_CLASS_2 in CAUTIONS["repair"]


def test_volts_amperes_ohms_and_pressures_have_a_caution_where_they_are_entered():
    assert MEASURING["voltage_v"] == CARE[Act.LIVE_24V]
    assert "24 V side only" in MEASURING["current_a"]
    assert "Power off" in MEASURING["coil_resistance_ohm"]
    assert "pressure let off" in MEASURING["pressure_kpa"]


def test_a_hand_at_the_switch_has_a_guide_and_an_order_not_a_proof():
    assert "not a proof" in BY_HAND
    assert "before the pump starts" in BY_HAND and "pump off before the last valve shuts" in BY_HAND
    assert "licensed electrician" in CABINET
