"""Water from two readings of a meter's register. SI out, whatever the register counts in."""

from sites.core.figures import door
from sites.core.units import VOLUME_UNITS_M3

# The words of `sites.Meter.Unit` and the unit each stands for.
REGISTER_UNITS_M3: dict[str, float] = {
    "m3": VOLUME_UNITS_M3["m3"],
    "litre": VOLUME_UNITS_M3["L"],
    "us_gallon": VOLUME_UNITS_M3["gal"],
    "kgal": VOLUME_UNITS_M3["kgal"],
    "ccf": VOLUME_UNITS_M3["CCF"],
    "ft3": VOLUME_UNITS_M3["ft3"],
}


@door
def use_m3(before: float, after: float, *, digits: int, unit: str, multiplier: float = 1.0) -> float:
    """m³ used between two readings of one meter.

    A second reading below the first counts as a register that passed its end once: (after - before) modulo
    10^digits. Whether that is what happened is for a person to say. Unknown units raise KeyError.
    """
    used = after - before if after >= before else (after - before) % 10.0**digits
    return used * multiplier * REGISTER_UNITS_M3[unit]
