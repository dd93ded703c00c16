"""Stored text with figures in it. Conversions by hand: -2.2 degC x 9/5 + 32 = 28.04 degF; 27 m / 0.3048 = 88.6 ft."""

import datetime as dt

import pytest

from sites.core.told import figure, on, told
from sites.core.writing import written_for

COLD, HIGHER = figure(-2.2, "temperature"), figure(27, "length", 0)
STORED = f"10 % chance of {COLD} by {on(dt.date(2026, 10, 24))}, site {HIGHER} higher"


@pytest.mark.parametrize(
    ("system", "code", "text"),
    [
        ("metric", "en-GB", "10 % chance of −2.2 °C by 24 Oct, site 27 m higher"),
        ("us", "en-US", "10 % chance of 28 °F by Oct 24, site 89 ft higher"),
        ("metric", "de", "10 % chance of −2,2 °C by 24. Okt., site 27 m higher"),
    ],
)
def test_stored_figures_are_worded_for_whoever_reads_them(system, code, text):
    with written_for(code):
        assert told(STORED, system) == text


@pytest.mark.parametrize(
    "typed", ["by hand", "valve {A}", "{mood:3}", "{day:2026-13-45}", "{temperature:warm}", "{}"]
)
def test_what_a_person_typed_stays_as_typed(typed):
    assert told(typed, "us") == typed
