"""The usual steps as they were before, by kind: what an office worded itself is told apart from them.

Only read to bring a checklist of an earlier edition up to today's; never changed.
"""

from jobs.core.checklists import Step

EDITION_1: dict[str, tuple[Step, ...]] = {
    "startup": (
        Step(
            "site_made_safe",
            "People and animals are clear of the irrigated areas; you told someone that you are here.",
            "",
        ),
        Step(
            "boxes_checked",
            "Valve boxes and pits looked into before reaching in.",
            "Animals, glass, bad air. Never alone into a pit or tank, and never without your firm's confined "
            "space procedure.",
        ),
        Step("drains_closed", "Drains and blow-out port closed; damage from the winter looked for.", ""),
        Step(
            "backflow_ready",
            "Backflow assembly put back together and its shut-off valves found in order.",
            "Testing it is for a licensed tester, as local rules require.",
        ),
        Step(
            "slow_fill",
            "Slow fill done: farthest zone or high point open, supply about a quarter open, air out, then fully "
            "open.",
            "Air in the line throws water and parts: keep people away from heads. Fast filling breaks pipe.",
            gate=True,
        ),
        Step("no_leaks", "Main line walked under pressure: no leak seen.", ""),
        Step(
            "pump_checked",
            "Pump primed and running smoothly, or there is no pump here.",
            "Never dry, never against closed valves.",
        ),
        Step("zones_run", "Every zone run on its own; heads straight, clean and covering.", ""),
        Step("static_pressure", "Static pressure at the supply.", "", answer="number", unit_kind="pressure"),
        Step(
            "power_off_for_measuring",
            "Controller switched off before wires come off its terminals.",
            "Power off, wires off, then measure. The mains side is for a licensed electrician.",
        ),
        Step("controller_set", "Controller clock, backup and programs set to the season schedule.", ""),
        Step("sensors_checked", "Rain or freeze sensor tried, or there is none.", ""),
        Step("left_tidy", "Boxes closed, trenches filled, no trip hazard left behind.", ""),
    ),
    "mid_season": (
        Step(
            "site_made_safe",
            "People and animals are clear of the irrigated areas; you told someone that you are here.",
            "",
        ),
        Step(
            "boxes_checked",
            "Valve boxes and pits looked into before reaching in.",
            "Animals, glass, bad air. Never alone into a pit or tank, and never without your firm's confined "
            "space procedure.",
        ),
        Step("controller_checked", "Controller clock right; programs are the published schedule.", ""),
        Step("no_leaks", "Main line, boxes and meter looked at with everything closed: nothing runs.", ""),
        Step("zones_run", "Every zone run on its own; heads straight, clean and covering.", ""),
        Step("plants_looked_at", "Dry, wet or new patches looked for.", "", answer="text"),
        Step(
            "power_off_for_measuring",
            "Controller switched off before wires come off its terminals.",
            "Power off, wires off, then measure. The mains side is for a licensed electrician.",
        ),
        Step("filters_cleaned", "Filters and strainers cleaned, supply closed and pressure released first.", ""),
        Step("left_tidy", "Boxes closed, trenches filled, no trip hazard left behind.", ""),
    ),
    "winterisation": (
        Step(
            "site_made_safe",
            "People and animals are clear of the irrigated areas; you told someone that you are here.",
            "",
        ),
        Step(
            "boxes_checked",
            "Valve boxes and pits looked into before reaching in.",
            "Animals, glass, bad air. Never alone into a pit or tank, and never without your firm's confined "
            "space procedure.",
        ),
        Step(
            "water_shut_off",
            "Water supply to the irrigation shut off; pump switched off and isolated, or there is no pump here.",
            "Isolating a pump's mains supply is for a licensed electrician where local rules say so.",
            gate=True,
        ),
        Step(
            "pressure_released",
            "Water pressure released: an open drain or valve has stopped flowing and the gauge stands at zero.",
            "",
            gate=True,
        ),
        Step(
            "connected_downstream",
            "Air is connected at the blow-out port, downstream of pump and backflow assembly, both closed off "
            "from it.",
            "Never blow air through a pump or an unprotected backflow assembly.",
            gate=True,
        ),
        Step(
            "pipe_material",
            "Weakest pipe that the air will reach.",
            "",
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
            "air_pressure_limit",
            "Air pressure limit set at the regulator.",
            "PE pipe at most 345 kPa (50 psi), PVC 550 kPa (80 psi), drip 207 kPa (30 psi): common practice. A "
            "lower marking on any part comes first. Start lower.",
            gate=True,
            answer="number",
            unit_kind="pressure",
        ),
        Step(
            "protected",
            "Eye and hearing protection on, hose couplings secured, nobody near heads, valves or fittings.",
            "",
            gate=True,
        ),
        Step(
            "zones_blown_out",
            "Every zone blown out until mist: valve open before the air, farthest first, two short passes.",
            "One zone at a time, 1 to 2 minutes (common practice). Dry pipe and dry gear drives burn: stop at mist.",
        ),
        Step(
            "air_released",
            "Air bled to zero before the hose came off; nothing is left under pressure.",
            "Never leave a system or a compressor under pressure unattended.",
        ),
        Step(
            "backflow_drained",
            "Backflow assembly drained, its ball valves left half open (common practice).",
            "Only in ways the water supplier allows. No antifreeze in pipes that touch drinking water.",
        ),
        Step("pump_drained", "Pump casing, filter and suction drained, or there is no pump here.", ""),
        Step(
            "power_off_for_measuring",
            "Controller switched off before wires come off its terminals.",
            "Power off, wires off, then measure. The mains side is for a licensed electrician.",
        ),
        Step("controller_off", "Controller set to off; programs kept.", ""),
        Step("left_tidy", "Boxes closed, trenches filled, no trip hazard left behind.", ""),
    ),
    "repair": (
        Step(
            "site_made_safe",
            "People and animals are clear of the irrigated areas; you told someone that you are here.",
            "",
        ),
        Step(
            "boxes_checked",
            "Valve boxes and pits looked into before reaching in.",
            "Animals, glass, bad air. Never alone into a pit or tank, and never without your firm's confined "
            "space procedure.",
        ),
        Step(
            "isolated",
            "Supply to the part isolated and pressure released; power off where wires are touched.",
            "Mains power, backflow assemblies and drinking water pipes are for people licensed for them.",
            gate=True,
        ),
        Step("repaired_part", "What was repaired or replaced.", "", answer="text"),
        Step("tried_after_repair", "Tried under pressure afterwards: works, does not leak.", ""),
        Step("left_tidy", "Boxes closed, trenches filled, no trip hazard left behind.", ""),
    ),
}
