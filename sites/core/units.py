"""Units: SI everywhere inside, the firm's choice (metric or US customary) at the edge.

Factors are exact by definition (international yard and pound 1959, US gallon of 231 cubic inches,
standard gravity); nothing here is rounded. Round only what a person reads.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

from sites.core.writing import number

INCH_MM = 25.4
FOOT_M = 0.3048
MILE_KM = 1.609344
FOOT2_M2 = FOOT_M**2
FOOT3_M3 = FOOT_M**3
ACRE_M2 = 43560 * FOOT2_M2
US_GALLON_L = 231 * (INCH_MM / 100) ** 3
PSI_KPA = 4.4482216152605 / (INCH_MM / 1000) ** 2 / 1000
HORSEPOWER_KW = 550 * FOOT_M * 4.4482216152605 / 1000
KPA_PER_M_WATER = 9.80665

# Cubic metres in one unit of a water meter's register.
VOLUME_UNITS_M3: dict[str, float] = {
    "L": 0.001,
    "m3": 1.0,
    "kL": 1.0,
    "ft3": FOOT3_M3,
    "CCF": 100 * FOOT3_M3,
    "gal": US_GALLON_L / 1000,
    "kgal": US_GALLON_L,
    "acre-inch": ACRE_M2 * INCH_MM / 1000,
    "acre-foot": ACRE_M2 * FOOT_M,
    "imp gal": 0.00454609,
}


class System(StrEnum):
    METRIC = "metric"
    US = "us"


class Quantity(StrEnum):
    """What a number measures; the comment is the unit it is stored in."""

    FLOW = "flow"  # L/min
    PRESSURE = "pressure"  # kPa
    LENGTH = "length"  # m
    AREA = "area"  # m2
    DEPTH = "depth"  # mm of water
    RATE = "rate"  # mm/h
    VOLUME = "volume"  # m3
    TEMPERATURE = "temperature"  # degC
    SPEED = "speed"  # m/s (wind)
    VELOCITY = "velocity"  # m/s (water in a pipe)
    WIRE_SECTION = "wire_section"  # mm2
    DIAMETER = "diameter"  # mm (pipes, valves, nozzles)
    DISTANCE = "distance"  # km by road
    POWER = "power"  # kW


@dataclass(frozen=True)
class DisplayUnit:
    """shown = stored / size + offset, printed with `decimals`."""

    label: str
    decimals: int
    size: float = 1.0
    offset: float = 0.0


_UNITS: dict[Quantity, tuple[DisplayUnit, DisplayUnit]] = {
    Quantity.FLOW: (DisplayUnit("L/min", 1), DisplayUnit("gpm", 1, US_GALLON_L)),
    Quantity.PRESSURE: (DisplayUnit("kPa", 0), DisplayUnit("psi", 1, PSI_KPA)),
    Quantity.LENGTH: (DisplayUnit("m", 1), DisplayUnit("ft", 0, FOOT_M)),
    Quantity.AREA: (DisplayUnit("m²", 0), DisplayUnit("ft²", 0, FOOT2_M2)),
    Quantity.DEPTH: (DisplayUnit("mm", 1), DisplayUnit("in", 2, INCH_MM)),
    Quantity.RATE: (DisplayUnit("mm/h", 1), DisplayUnit("in/h", 2, INCH_MM)),
    Quantity.VOLUME: (DisplayUnit("m³", 2), DisplayUnit("gal", 0, US_GALLON_L / 1000)),
    Quantity.TEMPERATURE: (DisplayUnit("°C", 1), DisplayUnit("°F", 0, 5 / 9, 32.0)),
    Quantity.SPEED: (DisplayUnit("m/s", 1), DisplayUnit("mph", 1, MILE_KM / 3.6)),
    Quantity.VELOCITY: (DisplayUnit("m/s", 2), DisplayUnit("ft/s", 1, FOOT_M)),
    Quantity.WIRE_SECTION: (DisplayUnit("mm²", 2), DisplayUnit("AWG", 0)),
    Quantity.DIAMETER: (DisplayUnit("mm", 0), DisplayUnit("in", 2, INCH_MM)),
    Quantity.DISTANCE: (DisplayUnit("km", 1), DisplayUnit("mi", 1, MILE_KM)),
    Quantity.POWER: (DisplayUnit("kW", 2), DisplayUnit("hp", 2, HORSEPOWER_KW)),
}


def awg_diameter_mm(awg: float) -> float:
    """Diameter in mm of a solid wire of American gauge `awg` (ASTM B258: 0.127 mm * 92^((36-n)/39))."""
    return float(0.127 * 92 ** ((36 - awg) / 39))


def awg_to_mm2(awg: float) -> float:
    """Copper section in mm2 of American gauge `awg`; 0, -1, -2, -3 stand for 1/0 to 4/0."""
    return math.pi / 4 * awg_diameter_mm(awg) ** 2


def mm2_to_awg(section_mm2: float) -> float:
    """American gauge, not rounded, of a section in mm2 (> 0, else ValueError)."""
    if section_mm2 <= 0:
        raise ValueError(f"wire section must be above 0 mm2, not {section_mm2}")
    diameter_mm = math.sqrt(4 * section_mm2 / math.pi)
    return 36 - 39 * math.log(diameter_mm / 0.127, 92)


def display_unit(quantity: Quantity | str, system: System | str) -> DisplayUnit:
    """The unit a quantity is shown in; unknown names raise ValueError."""
    return _UNITS[Quantity(quantity)][System(system) is System.US]


def priced_volume(system: System | str) -> DisplayUnit:
    """The volume that water prices are quoted for; `size` is its m3. Shown price = price per m3 * size."""
    return DisplayUnit("1,000 gal", 2, US_GALLON_L) if System(system) is System.US else DisplayUnit("m³", 2)


def unit_label(quantity: Quantity | str, system: System | str) -> str:
    return display_unit(quantity, system).label


def to_display(value: float, quantity: Quantity | str, system: System | str) -> float:
    """A stored SI value in the unit a person reads, full precision."""
    unit = display_unit(quantity, system)
    if unit.label == "AWG":
        return mm2_to_awg(value)
    return value / unit.size + unit.offset


def from_display(value: float, quantity: Quantity | str, system: System | str) -> float:
    """What a person typed, as the SI value to store, full precision."""
    unit = display_unit(quantity, system)
    if unit.label == "AWG":
        return awg_to_mm2(value)
    return (value - unit.offset) * unit.size


def format_quantity(
    value: float | None,
    quantity: Quantity | str,
    system: System | str,
    *,
    decimals: int | None = None,
    with_unit: bool = True,
    missing: str = "–",
) -> str:
    """A stored value as text, such as "14.0 L/min"; wire sections in US units read "AWG 18".

    `decimals` overrides the unit's own. A metric section (1.5 mm2) is no whole gauge: it keeps one
    decimal so that nobody takes it for the next one.
    """
    if value is None:
        return missing
    unit = display_unit(quantity, system)
    shown = to_display(value, quantity, system)
    places = unit.decimals if decimals is None else decimals
    if unit.label == "AWG":
        if decimals is None and abs(shown - round(shown)) > 0.05:
            places = 1
        text = number(shown, places)
        return f"AWG {text}" if with_unit else text
    text = number(shown, places)
    return f"{text} {unit.label}" if with_unit else text
