"""Pages, sheets and mails that order water shut off say what must not be cut off and that a pump goes first."""

import re

import pytest

from sites.core.cautions import CARE, Act
from tests.test_sources import files, shown_strings

# "Shut the supply", "close the valve behind the meter": an order to shut water off for a person on site.
SHUT_OFF = re.compile(r"\b(?:shut|close) (?:off )?(?:the|a) (?:valve|supply|water supply)\b", re.IGNORECASE)
SAFE = re.compile(r"fire line")
PUMP_FIRST = re.compile(r"pump (?:that feeds it )?off first", re.IGNORECASE)


def unsafe(text: str) -> bool:
    return bool(SHUT_OFF.search(text)) and not (SAFE.search(text) and PUMP_FIRST.search(text))


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("Close the valve behind the meter and read again.", True),
        ("Pump off first, then shut the supply; it must not cut off a fire line.", False),
        ("The supply is shut for the winter.", False),
    ],
)
def test_such_an_order_is_found(text, found):
    assert unsafe(text) == found


def test_no_page_orders_water_shut_off_without_saying_what_must_stay_on():
    found = [path.name for path in files(".html", ".js") if unsafe(path.read_text())]
    found += [f"{path.name}: {text}" for path in files(".py") for text in shown_strings(path) if unsafe(text)]
    assert found == []


def test_the_usual_caution_says_both():
    assert SAFE.search(CARE[Act.SHUT])
    assert PUMP_FIRST.search(CARE[Act.SHUT]) or "Switch a pump that feeds it off first" in CARE[Act.SHUT]
