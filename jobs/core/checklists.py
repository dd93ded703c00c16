"""Which steps of a checklist are closed, and the steps every installation begins with.

The steps follow common practice (no source) unless they name one; the office makes its own versions later.
Keys stay the same from version to version, because rules and reports find a step by its key.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from sites.core.cautions import CARE, Act, care

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
    "People and animals are off the lawn, the beds and the work area; you told someone that you are here.",
)
_POWER_OFF = Step(
    "power_off_for_measuring",
    "Controller switched off before wires come off its terminals.",
    f"Power off, wires off, then measure. {CARE[Act.MAINS]}",
)
_BOXES = Step("boxes_checked", "Valve boxes and pits looked into before reaching in.", care(Act.BOX, Act.PIT))
_INJECTOR = Step(
    "injector_off",
    "Fertilizer injector off, its tank valve shut and its line flushed with clean water, or there is none here.",
    CARE[Act.CHEMICALS],
    gate=True,
)
_TIDY = Step("left_tidy", "Boxes closed, trenches filled, no trip hazard left behind.")

STARTUP = (
    _ARRIVE,
    _BOXES,
    Step("drains_closed", "Drains and blow-out port closed; damage from the winter looked for."),
    Step(
        "backflow_ready",
        "Backflow assembly put back together and its shut-off valves found in order.",
        "Work on it and its test are for people licensed for them, as local rules require.",
    ),
    Step(
        "slow_fill",
        "Slow fill done: a pump primed first; farthest zone or high point open, supply about a quarter open, air "
        "out, then fully open.",
        f"{CARE[Act.FILL]} Air in the line throws water and parts. Never run a pump dry.",
        gate=True,
    ),
    Step("no_leaks", "Main line walked under pressure: no leak seen."),
    Step("pump_checked", "Pump runs smoothly and holds its prime, or there is no pump here.", CARE[Act.PUMP]),
    Step(
        "injector_ready",
        "Fertilizer injector joined only now, its backflow protection in order, or there is none here.",
        CARE[Act.CHEMICALS],
    ),
    Step("zones_run", "Every zone run on its own; heads straight, clean and covering.", CARE[Act.RUNNING]),
    Step(
        "static_pressure",
        "Static pressure at the supply; on a pump, the pressure with one zone on.",
        f"Gauge fitted with the pump off and the pressure let off. {CARE[Act.PUMP]}",
        answer="number",
        unit_kind="pressure",
    ),
    _POWER_OFF,
    Step("controller_set", "Controller clock, backup and programs set to the season schedule."),
    Step("sensors_checked", "Rain or freeze sensor tried, or there is none."),
    _TIDY,
)
MID_SEASON = (
    _ARRIVE,
    _BOXES,
    Step("controller_checked", "Controller clock right; programs are the published schedule."),
    Step(
        "no_leaks",
        "All zones off: main line, boxes and meter looked at, nothing runs.",
        "A pump stays off during this, never against closed valves.",
    ),
    Step("zones_run", "Every zone run on its own; heads straight, clean and covering.", CARE[Act.RUNNING]),
    Step("plants_looked_at", "Dry, wet or new patches looked for.", answer="text"),
    _POWER_OFF,
    Step(
        "filters_cleaned",
        "Filters and strainers cleaned: pump off, the irrigation's own valve shut and pressure released first.",
        care(Act.WATER, Act.CHEMICALS),
    ),
    _TIDY,
)
WINTERISATION = (
    _ARRIVE,
    _BOXES,
    _INJECTOR,
    Step(
        "water_shut_off",
        "Pump switched off and isolated, or there is none here; then the water supply to the irrigation shut off.",
        f"{CARE[Act.SHUT]} {CARE[Act.MAINS]}",
        gate=True,
    ),
    Step(
        "pressure_released",
        "Water pressure released: an open drain or valve has stopped flowing and the gauge stands at zero.",
        "Stand beside the drain; a pump stays off and isolated.",
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
        "Air pressure limit set at the regulator while the air is still shut and no hose is on.",
        CARE[Act.AIR_PRESSURE],
        gate=True,
        answer="number",
        unit_kind="pressure",
    ),
    Step(
        "protected",
        "Eye and hearing protection on, compressor outdoors, nobody on the lawn, near heads, valves or fittings.",
        f"{CARE[Act.AIR]} Exhaust kills: an engine runs away from doors, windows and air intakes.",
        gate=True,
    ),
    Step(
        AIR_CONNECTED,
        "Hose on at the blow-out port, couplings secured, downstream of pump and backflow assembly, both shut off.",
        "Never blow air through a pump or through any backflow assembly. The air is still shut.",
        gate=True,
    ),
    Step(
        "valve_open",
        "The first zone's valve is open, farthest or highest first; only then air, let in slowly.",
        "Air against closed valves bursts pipe and throws parts.",
        gate=True,
    ),
    Step(
        "zones_blown_out",
        "Every zone blown out until mist: next valve open before the last one shuts, two short passes.",
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
        "Only in ways the water supplier allows, by people licensed where local rules ask. No antifreeze in pipes "
        "that touch drinking water.",
    ),
    Step(
        "pump_drained",
        "Pump casing, filter and suction drained, or there is no pump here.",
        f"The pump stays isolated. {CARE[Act.PUMP]}",
    ),
    _POWER_OFF,
    Step("controller_off", "Controller set to off; programs kept."),
    _TIDY,
)
REPAIR = (
    _ARRIVE,
    _BOXES,
    Step(
        "services_located",
        "Buried lines located and marked before anything is dug, or nothing is dug on this visit.",
        CARE[Act.DIG],
        gate=True,
    ),
    Step(
        "isolated",
        "Pump off, supply to the part isolated and pressure released; power off where wires are touched.",
        f"{CARE[Act.SHUT]} Mains power, backflow assemblies and drinking water pipes are for people licensed for "
        "them.",
        gate=True,
    ),
    Step(
        "repaired_part", "What was repaired or replaced.", care(Act.WATER, Act.CEMENT, Act.CHEMICALS), answer="text"
    ),
    Step(
        "joints_cured", "Glued joints left alone for the label's curing time, or nothing was glued.", CARE[Act.CEMENT]
    ),
    Step(
        "tried_after_repair",
        "Tried under pressure afterwards: works, does not leak.",
        f"{CARE[Act.FILL]} {CARE[Act.PUMP]}",
    ),
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
