"""A reading lower than the one before it: a slip, a replaced meter, or a counter that passed its end."""

from dataclasses import dataclass

from sites.core import writing
from sites.core.units import format_quantity
from sites.models import Firm, MeterReading
from sites.queries.site_page import used_between


@dataclass(frozen=True)
class FallingCounter:
    """The question for a person, and the note to keep where the counter did pass its end."""

    question: str
    note: str


def falling_counter(reading: MeterReading) -> FallingCounter | None:
    """Compare with the readings before and after in time; the amount a passed end would mean stands in the words."""
    if reading.rules["counter"].refusal(reading.counter):
        return None  # refused by itself
    others = reading.meter.readings.exclude(pk=reading.pk)
    before = others.filter(read_on__lt=reading.read_on).order_by("-read_on").first()
    after = others.filter(read_on__gt=reading.read_on).order_by("read_on").first()
    for first, second, other, compared in (
        (before, reading, before, "lower than the reading before"),
        (reading, after, after, "higher than the next reading"),
    ):
        if first is None or second is None or other is None or second.counter >= first.counter:
            continue
        used = format_quantity(used_between(reading.meter, first, second), "volume", Firm.current().units)
        return FallingCounter(
            f"This is {compared} ({other.counter:f} on {writing.day(other.read_on)}). Typing slip? Correct it above. "
            f"Did the counter pass its end? Then tick here; it would mean {used} used. Was the meter replaced? "
            "Then enter the day the old one was removed and add the new meter.",
            f"counter passed its end, {used} used",
        )
    return None
