"""How a figure came about: inputs with their origin, the formula in words, the source, the result."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Origin = Literal["measured", "register", "station", "default", "computed"]


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
