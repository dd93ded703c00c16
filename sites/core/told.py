"""Text that is stored with its figures as figures, and worded when it is shown.

A reason such as "10 % chance of −2.2 °C by 24 Oct" outlives the day it was written: the firm may change its units,
and every reader has a locale. So it is stored as "10 % chance of {temperature:-2.2} by {day:2026-10-24}".
"""

import datetime as dt
import re

from sites.core.units import Quantity, System, format_quantity
from sites.core.writing import day_month

_FIGURE = re.compile(r"\{(\w+):(-?\d+(?:\.\d+)?|\d{4}-\d\d-\d\d)(?::(\d))?\}")


def figure(value: float, quantity: Quantity | str, decimals: int | None = None) -> str:
    """A value in the SI unit of its quantity as stored text; `decimals` as in `format_quantity`."""
    digits = "" if decimals is None else f":{decimals}"
    return f"{{{Quantity(quantity)}:{value:.6g}{digits}}}"


def on(date: dt.date) -> str:
    """A day of a year that the reader knows, as stored text."""
    return f"{{day:{date.isoformat()}}}"


def told(text: str, system: System | str) -> str:
    """Stored text in words: its figures in the units of `system`, all of it in the locale written for."""

    def word(found: re.Match[str]) -> str:
        kind, value, decimals = found.groups()
        try:
            if kind == "day":
                return day_month(dt.date.fromisoformat(value))
            return format_quantity(float(value), kind, system, decimals=None if decimals is None else int(decimals))
        except ValueError:  # what somebody typed in braces stays as typed
            return found[0]

    return _FIGURE.sub(word, text)
