"""The usual cautions by kind of visit, and the air pressure a system may see when it is blown out.

Keys are the words of `VisitKind`. The pressure limits are common practice: no standard, agency or extension text was
found behind them. They never replace the marking on the weakest part.
"""

from sites.core.cautions import CARE, LOCAL_RULES, WET_CLASS_2, Act, care

AIR_PRESSURE_LIMIT_KPA: dict[str, float] = {"pe": 345.0, "pvc": 550.0, "drip": 207.0}  # common practice, no standard
# 345, 550 and 207 kPa stand for 50, 80 and 30 psi; a limit typed in either unit must pass.
ROUNDING = 1.005

_ELECTRICITY = (
    "Switch off and lock the supply before you open a controller or pump panel; coils are measured with the wires "
    f"off the terminals and the power off. {CARE[Act.MAINS]}",
    CARE[Act.LIVE_24V],
)
# In the order in which a blow-out is done.
_AIR = (
    CARE[Act.CHEMICALS],
    CARE[Act.AIR],
    "An engine-driven compressor stands outdoors, away from doors, windows and air intakes: its exhaust kills.",
    CARE[Act.SHUT],
    "Pump off and isolated, water shut off, pressure let off until nothing runs: only then the rest.",
    f"{CARE[Act.AIR_PRESSURE]} Set it at the regulator while the air is still shut; regulator and relief valve at "
    "the compressor outlet.",
    "Then the hose, couplings secured against whipping, downstream of pump and backflow assembly. Never blow air "
    "through a pump or through any backflow assembly.",
    "Open a zone's valve before air is let in, one zone at a time, farthest or highest first; short passes, stop at "
    "mist, never on dry pipe. Bleed to zero before you disconnect; never walk away from a system under air.",
)
_EVERYWHERE = (care(Act.BOX, Act.PIT), CARE[Act.CHEMICALS], CARE[Act.RECLAIMED])

CAUTIONS: dict[str, tuple[str, ...]] = {
    "startup": (
        CARE[Act.FILL],
        "Bring a backflow assembly up to pressure slowly, upstream valve first; work on it is for people licensed.",
        CARE[Act.PUMP],
        CARE[Act.RUNNING],
        *_ELECTRICITY,
        *_EVERYWHERE,
        LOCAL_RULES,
    ),
    "mid_season": (
        *_ELECTRICITY,
        CARE[Act.PUMP],
        CARE[Act.RUNNING],
        CARE[Act.SHUT],
        CARE[Act.WATER],
        *_EVERYWHERE,
        LOCAL_RULES,
    ),
    "winterisation": (care(Act.BOX, Act.PIT), *_AIR, *_ELECTRICITY, CARE[Act.RECLAIMED], LOCAL_RULES),
    "repair": (
        CARE[Act.WATER],
        CARE[Act.SHUT],
        CARE[Act.DIG],
        CARE[Act.CEMENT],
        *_ELECTRICITY,
        WET_CLASS_2,
        CARE[Act.PUMP],
        CARE[Act.RUNNING],
        *_EVERYWHERE,
        LOCAL_RULES,
    ),
}

SHORT_CAUTIONS: dict[str, str] = {
    "startup": "Slow fill, people and animals away from the heads; never a pump against closed valves.",
    "mid_season": "Live tests on the 24 V side only; pump off and pressure let off before a part is opened.",
    "winterisation": "Compressed air: limit set first, eye and hearing protection, lawn clear, one zone open before "
    "the air, compressor outdoors.",
    "repair": "Pump off, water shut, pressure let off first; buried lines located and marked before you dig.",
}

# Beside the figures of a valve, by field: how they are measured without harm.
MEASURING: dict[str, str] = {
    "coil_resistance_ohm": "Power off, wires off the terminals, then measure.",
    "voltage_v": CARE[Act.LIVE_24V],
    "current_a": "Live test, 24 V side only: clamp meter round one insulated wire, mains covers on.",
    "pressure_kpa": "Fit the gauge with the pump off, the water shut and the pressure let off.",
    "air_pressure_kpa": "Read the gauge from beside it; nobody over heads, valves or fittings while air is on.",
}


def air_limit_kpa(material: str) -> float:
    """The highest common air pressure (kPa) for `material`; an unknown one counts as the weakest."""
    return AIR_PRESSURE_LIMIT_KPA.get(material, min(AIR_PRESSURE_LIMIT_KPA.values()))


def air_pressure_problem(limit_kpa: float, material: str) -> float | None:
    """The highest common air pressure (kPa) for `material` if `limit_kpa` is above it, else None."""
    highest = air_limit_kpa(material)
    return highest if limit_kpa > highest * ROUNDING else None
