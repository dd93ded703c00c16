"""Prices: lines and their sum, exact to the cent.

Each line is rounded to the cent before it is added, so that a printed total is the sum of the printed lines.
Halves round up, as people do on paper (common practice, no source). Currencies without cents print ".00".
"""

from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

CENT: Final = Decimal("0.01")
MINUTES_PER_HOUR: Final = 60


def to_cent(amount: Decimal) -> Decimal:
    return amount.quantize(CENT, ROUND_HALF_UP)


def line_amount(quantity: Decimal, unit_price: Decimal | None) -> Decimal | None:
    """What a line comes to; None while its price is open."""
    return None if unit_price is None else to_cent(quantity * unit_price)


def labour_amount(labour_min: int, price_per_hour: Decimal | None) -> Decimal | None:
    """What labour comes to: from the minutes themselves, not from hours rounded before."""
    return None if price_per_hour is None else to_cent(price_per_hour * labour_min / MINUTES_PER_HOUR)


def total(amounts: Iterable[Decimal | None]) -> Decimal:
    """The sum of the known amounts."""
    return sum((amount for amount in amounts if amount is not None), Decimal("0.00"))
