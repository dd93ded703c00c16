"""The usual cautions by kind of visit, and the air pressure a system may see when it is blown out.

Keys are the words of `VisitKind`. The pressure limits are common practice, no source: the trade repeats them, no
standard was found behind them. They never replace the marking on the weakest part.
"""

AIR_PRESSURE_LIMIT_KPA: dict[str, float] = {"pe": 345.0, "pvc": 550.0, "drip": 207.0}  # common practice, no source
# 345, 550 and 207 kPa stand for 50, 80 and 30 psi; a limit typed in either unit must pass.
ROUNDING = 1.005

LOCAL_RULES = (
    "Local codes, the water supplier's rules and the makers' instructions come before this page. Mains power, "
    "backflow tests and work on drinking water pipes are for people licensed for them where you work."
)
_ELECTRICITY = (
    "Switch off and lock the supply before you open a controller or pump panel; coils are measured with the wires "
    "off the terminals and the power off. The mains side is a licensed electrician's work."
)
_PITS = (
    "Look before you reach into a valve box: animals, glass, bad air. Never climb into a pit or tank alone or "
    "without your firm's confined space procedure."
)
_CHEMICALS = (
    "Fertiliser and cleaning agents: read the label, wear what it asks for, mix nothing, keep them off the "
    "drinking water side. No antifreeze in pipes that touch drinking water."
)
_PUMPS = (
    "Never run a pump dry or against closed valves. Isolate it before you touch shaft or coupling; keep hands and "
    "clothing off them."
)
_AIR = (
    "Compressed air maims. Eye and hearing protection on; nobody over heads, valves or fittings while air is on.",
    "Air no higher than the weakest part takes: PE pipe 345 kPa (50 psi), PVC 550 kPa (80 psi), drip 207 kPa "
    "(30 psi), common practice, no standard. Start lower. Regulator and relief valve at the compressor outlet; hose "
    "couplings secured against whipping.",
    "Water supply isolated and pressure released first. Never blow air through a pump or through an unprotected "
    "backflow assembly: connect downstream of both.",
    "A valve is open before air is applied; one zone at a time, farthest or highest first; short passes, stop at "
    "mist, never on dry pipe. Bleed to zero before you disconnect; never walk away from a system under air.",
)
_FILL = (
    "Fill slowly, supply about a quarter open, until the air is out; fast water breaks pipe (common practice: at "
    "most 0.3 m/s, 1 ft/s). Keep people away from heads while air leaves.",
    "Bring a backflow assembly up to pressure slowly, upstream valve first.",
)

CAUTIONS: dict[str, tuple[str, ...]] = {
    "startup": (*_FILL, _PUMPS, _ELECTRICITY, _PITS, _CHEMICALS, LOCAL_RULES),
    "mid_season": (_ELECTRICITY, _PITS, _PUMPS, _CHEMICALS, LOCAL_RULES),
    "winterisation": (*_AIR, _ELECTRICITY, _PITS, _CHEMICALS, LOCAL_RULES),
    "repair": (
        "Isolate the supply and release the pressure before you open a pipe or a valve.",
        _ELECTRICITY,
        _PITS,
        _PUMPS,
        _CHEMICALS,
        LOCAL_RULES,
    ),
}


def air_limit_kpa(material: str) -> float:
    """The highest common air pressure (kPa) for `material`; an unknown one counts as the weakest."""
    return AIR_PRESSURE_LIMIT_KPA.get(material, min(AIR_PRESSURE_LIMIT_KPA.values()))


def air_pressure_problem(limit_kpa: float, material: str) -> float | None:
    """The highest common air pressure (kPa) for `material` if `limit_kpa` is above it, else None."""
    highest = air_limit_kpa(material)
    return highest if limit_kpa > highest * ROUNDING else None
