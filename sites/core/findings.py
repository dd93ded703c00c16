"""What a check of the register finds."""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from sites.core.units import Quantity


class Severity(StrEnum):
    UNSAFE = "unsafe"
    WRONG = "wrong"
    MISSING = "missing"
    SOON = "soon"


@dataclass(frozen=True)
class Figure:
    """One number of a finding. `quantity` lets the page show it in the firm's units; else `unit` is printed."""

    label: str
    value: float
    quantity: Quantity | None = None
    unit: str = ""


@dataclass(frozen=True)
class CheckFinding:
    """subject is "valve", "zone", "controller", "supply" or "backflow" with its id."""

    check: str
    severity: Severity
    subject: str
    subject_id: int
    title: str
    todo: str
    figures: tuple[Figure, ...] = ()


Findings = Iterator[CheckFinding]
