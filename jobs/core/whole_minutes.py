"""Seconds shown as whole minutes, so that what is shown adds up."""

from collections.abc import Sequence
from itertools import accumulate, pairwise


def whole_minutes(seconds: float) -> int:
    """To the nearest minute, half a minute up: the same wherever a total is shown."""
    return (round(seconds) + 30) // 60


def shared_out(seconds: Sequence[int]) -> list[int]:
    """A minute figure for each part; together they are exactly the whole minutes of the sum.

    Each part is the rounded total up to and with it, less the rounded total before it: less than a minute off, never
    below 0.
    """
    totals = [whole_minutes(total) for total in accumulate(seconds, initial=0)]
    return [after - before for before, after in pairwise(totals)]
