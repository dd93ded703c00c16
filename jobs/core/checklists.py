"""Which steps of a checklist are closed, and the steps every installation begins with.

The steps follow common practice (no source) unless they name one; the office makes its own versions later.
Keys stay the same from version to version, because rules and reports find a step by its key.
"""

from collections.abc import Sequence
from dataclasses import dataclass

PIPE_MATERIAL = "pipe_material"
AIR_PRESSURE_LIMIT = "air_pressure_limit"
AIR_CONNECTED = "connected_downstream"
AIR_RELEASED = "air_released"
AIR_STILL_ON = "Air was connected on this visit. Bleed it to zero, take the hose off, tick that step, then finish."


@dataclass(frozen=True)
class Step:
    """One step of a checklist; `answer` is tick, number, text or choice; `options` are (word, label) pairs."""

    key: str
    text: str
    caution: str = ""
    gate: bool = False
    answer: str = "tick"
    unit_kind: str = ""
    options: tuple[tuple[str, str], ...] = ()


def closing_gates(gates: Sequence[bool], done: Sequence[bool]) -> list[int | None]:
    """For each step in order: the index of the first earlier gate that is not done, or None if the step is open."""
    closed_by: list[int | None] = []
    shut: int | None = None
    for index, (gate, step_done) in enumerate(zip(gates, done, strict=True)):
        closed_by.append(shut)
        if shut is None and gate and not step_done:
            shut = index
    return closed_by


_ARRIVE = Step(
    "site_made_safe",
    "People and animals are clear of the irrigated areas; you told someone that you are here.",
)
_POWER_OFF = Step(
    "power_off_for_measuring",
    "Controller switched off before wires come off its terminals.",
    "Power off, wires off, then measure. The mains side is for a licensed electrician.",
)
_BOXES = Step(
    "boxes_checked",
    "Valve boxes and pits looked into before reaching in.",
    "Animals, glass, bad air. Never alone into a pit or tank, and never without your firm's confined space "
    "procedure.",
)
_TIDY = Step("left_tidy", "Boxes closed, trenches filled, no trip hazard left behind.")

STARTUP = (
    _ARRIVE,
    _BOXES,
    Step("drains_closed", "Drains and blow-out port closed; damage from the winter looked for."),
    Step(
        "backflow_ready",
        "Backflow assembly put back together and its shut-off valves found in order.",
        "Testing it is for a licensed tester, as local rules require.",
    ),
    Step(
        "slow_fill",
        "Slow fill done: farthest zone or high point open, supply about a quarter open, air out, then fully open.",
        "Air in the line throws water and parts: keep people away from heads. Fast filling breaks pipe.",
        gate=True,
    ),
    Step("no_leaks", "Main line walked under pressure: no leak seen."),
    Step(
        "pump_checked",
        "Pump primed and running smoothly, or there is no pump here.",
        "Never dry, never against closed valves.",
    ),
    Step("zones_run", "Every zone run on its own; heads straight, clean and covering."),
    Step("static_pressure", "Static pressure at the supply.", answer="number", unit_kind="pressure"),
    _POWER_OFF,
    Step("controller_set", "Controller clock, backup and programs set to the season schedule."),
    Step("sensors_checked", "Rain or freeze sensor tried, or there is none."),
    _TIDY,
)
MID_SEASON = (
    _ARRIVE,
    _BOXES,
    Step("controller_checked", "Controller clock right; programs are the published schedule."),
    Step("no_leaks", "Main line, boxes and meter looked at with everything closed: nothing runs."),
    Step("zones_run", "Every zone run on its own; heads straight, clean and covering."),
    Step("plants_looked_at", "Dry, wet or new patches looked for.", answer="text"),
    _POWER_OFF,
    Step("filters_cleaned", "Filters and strainers cleaned, supply closed and pressure released first."),
    _TIDY,
)
WINTERISATION = (
    _ARRIVE,
    _BOXES,
    Step(
        "water_shut_off",
        "Water supply to the irrigation shut off; pump switched off and isolated, or there is no pump here.",
        "Isolating a pump's mains supply is for a licensed electrician where local rules say so.",
        gate=True,
    ),
    Step(
        "pressure_released",
        "Water pressure released: an open drain or valve has stopped flowing and the gauge stands at zero.",
        gate=True,
    ),
    Step(
        AIR_CONNECTED,
        "Air is connected at the blow-out port, downstream of pump and backflow assembly, both closed off from it.",
        "Never blow air through a pump or an unprotected backflow assembly.",
        gate=True,
    ),
    Step(
        PIPE_MATERIAL,
        "Weakest pipe that the air will reach.",
        gate=True,
        answer="choice",
        options=(
            ("drip", "drip or micro line"),
            ("pe", "polyethylene (PE)"),
            ("pvc", "PVC"),
            ("unknown", "not known: treat as drip"),
        ),
    ),
    Step(
        AIR_PRESSURE_LIMIT,
        "Air pressure limit set at the regulator.",
        "PE pipe at most 345 kPa (50 psi), PVC 550 kPa (80 psi), drip 207 kPa (30 psi): common practice. A lower "
        "marking on any part comes first. Start lower.",
        gate=True,
        answer="number",
        unit_kind="pressure",
    ),
    Step(
        "protected",
        "Eye and hearing protection on, hose couplings secured, nobody near heads, valves or fittings.",
        gate=True,
    ),
    Step(
        "zones_blown_out",
        "Every zone blown out until mist: valve open before the air, farthest first, two short passes.",
        "One zone at a time, 1 to 2 minutes (common practice). Dry pipe and dry gear drives burn: stop at mist.",
    ),
    Step(
        AIR_RELEASED,
        "Air bled to zero before the hose came off; nothing is left under pressure.",
        "Never leave a system or a compressor under pressure unattended.",
    ),
    Step(
        "backflow_drained",
        "Backflow assembly drained, its ball valves left half open (common practice).",
        "Only in ways the water supplier allows. No antifreeze in pipes that touch drinking water.",
    ),
    Step("pump_drained", "Pump casing, filter and suction drained, or there is no pump here."),
    _POWER_OFF,
    Step("controller_off", "Controller set to off; programs kept."),
    _TIDY,
)
REPAIR = (
    _ARRIVE,
    _BOXES,
    Step(
        "isolated",
        "Supply to the part isolated and pressure released; power off where wires are touched.",
        "Mains power, backflow assemblies and drinking water pipes are for people licensed for them.",
        gate=True,
    ),
    Step("repaired_part", "What was repaired or replaced.", answer="text"),
    Step("tried_after_repair", "Tried under pressure afterwards: works, does not leak."),
    _TIDY,
)

DEFAULT_CHECKLISTS: dict[str, tuple[Step, ...]] = {
    "startup": STARTUP,
    "mid_season": MID_SEASON,
    "winterisation": WINTERISATION,
    "repair": REPAIR,
}


def safety_keys(kind: str) -> tuple[str, ...]:
    """The steps of this kind that rules rest on, in their order: gates, and what is known of the air."""
    air = (PIPE_MATERIAL, AIR_PRESSURE_LIMIT, AIR_CONNECTED, AIR_RELEASED)
    return tuple(step.key for step in DEFAULT_CHECKLISTS[kind] if step.gate or step.key in air)


def problems_of(kind: str, steps: Sequence[Step]) -> list[str]:
    """Why these steps cannot be the checklist of `kind`: words for the person, none where they can."""
    if not steps:
        return ["A checklist needs at least one step."]
    usual = {step.key: step for step in DEFAULT_CHECKLISTS[kind]}
    here = {step.key: step for step in steps}
    found = []
    for key in safety_keys(kind):
        if key not in here:
            found.append(f"This step keeps people safe and must stay: {usual[key].text}")
        elif usual[key].gate and not here[key].gate:
            found.append(f"The steps after this one must wait for it: {usual[key].text}")
        elif usual[key].caution and not here[key].caution.strip():
            found.append(f"The caution of this step must not be empty: {here[key].text}")
    order = [key for key in here if key in safety_keys(kind)]
    if not found and order != list(safety_keys(kind)):
        texts = "; ".join(here[key].text for key in safety_keys(kind))
        found.append(f"The safety steps must stay in their order: {texts}")
    return found
