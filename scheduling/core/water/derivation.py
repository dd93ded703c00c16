"""How a figure came about: inputs with their origin, the formula in words, the source, the result."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from sites.core.units import FOOT_M, INCH_MM, System, format_quantity
from sites.core.writing import number, significant

Origin = Literal["measured", "register", "station", "forecast", "default", "computed"]


@dataclass(frozen=True)
class Known:
    """A number somebody knows, with where it came from (a default never passes for a measurement)."""

    value: float
    origin: Origin = "register"
    note: str = ""


@dataclass(frozen=True)
class Input:
    """One input of a formula; `origin` "computed" means: the result of an earlier derivation."""

    name: str
    value: float | str
    unit: str
    origin: Origin
    note: str = ""


@dataclass(frozen=True)
class Derivation:
    """A result that explains itself: value and unit, formula, inputs and the publication behind it."""

    value: float | None
    unit: str
    formula: str
    inputs: tuple[Input, ...]
    source: str

    @property
    def defaults(self) -> tuple[Input, ...]:
        """The inputs nobody measured or entered."""
        return tuple(item for item in self.inputs if item.origin == "default")


# Unit of an input or result -> its quantity where the firm has a unit of its own, what to divide by, and decimals
# where the usual ones hide a shallow root zone or a small day.
_QUANTITY_OF_UNIT: dict[str, tuple[str, float, int | None]] = {
    "mm": ("depth", 1.0, None),
    "mm/h": ("rate", 1.0, None),
    "L": ("volume", 1000.0, None),
    "m2": ("area", 1.0, None),
    "m": ("length", 1.0, 2),
    "L/min": ("flow", 1.0, None),
}
_MM_A_DAY, _MM_A_METRE = "mm/day", "mm/m"


def shown_value(value: float | str, unit: str, system: str) -> str:
    """A value of a derivation in the units of `system`; words stay words, other numbers keep four digits."""
    if isinstance(value, str):
        return f"{value} {unit}".strip()
    if unit == _MM_A_DAY:
        return f"{format_quantity(value, 'depth', system, decimals=3 if system == System.US else 2)}/day"
    if unit == _MM_A_METRE and system == System.US:
        return f"{number(value * FOOT_M / INCH_MM, 2)} in/ft"
    if unit not in _QUANTITY_OF_UNIT:
        return f"{significant(value, 4)} {unit}".strip()
    quantity, divisor, decimals = _QUANTITY_OF_UNIT[unit]
    return format_quantity(value / divisor, quantity, system, decimals=decimals)


@dataclass(frozen=True)
class CannotCompute:
    """The honest answer when a needed input is missing: what is needed, in plain words."""

    needs: tuple[str, ...]
    reason: str = ""

    def __str__(self) -> str:
        sentence = "Cannot compute: needs " + " and ".join(self.needs)
        return f"{sentence} ({self.reason})" if self.reason else sentence


def known(value: Known | float | None) -> Known | None:
    """A plain number is taken as entered in the register."""
    if value is None or isinstance(value, Known):
        return value
    return Known(float(value))
