"""The filters every template knows: empty stays empty, a half is rounded up, times are those of the zone shown."""

import datetime as dt
from decimal import Decimal

import pytest
from django.template import Context, Template
from django.utils import timezone

from sites.core.writing import written_for


def shown(text: str, value: object) -> str:
    return Template("{{ value|" + text + " }}").render(Context({"value": value}))


@pytest.mark.parametrize(
    ("text", "value", "words"),
    [
        ("number", 0.5, "1"),
        ("number:1", -2.25, "−2.3"),
        ("number:-1", 3.0, "3"),
        ("number:2", Decimal("1234.5"), "1,234.50"),
        ('number|default:"–"', None, "–"),
        ("number", "no number", ""),
        ("number", float("nan"), ""),
        ("money", Decimal("7"), "7.00"),
        ('money:"JPY"', 7, "7 JPY"),
        ("day", None, ""),
        ("day", dt.date(2026, 4, 4), "4 Apr 2026"),
        ("clock", dt.time(7, 5), "07:05"),
        ("month_name", dt.date(2026, 4, 4), "April"),
    ],
)
def test_a_value_is_written_for_the_page(text, value, words):
    assert shown(text, value) == words


def test_a_moment_is_told_in_the_zone_of_the_page_and_in_its_locale():
    moment = dt.datetime(2026, 4, 4, 23, 30, tzinfo=dt.UTC)

    with timezone.override("Asia/Tokyo"), written_for("en-US"):
        assert shown("day_time", moment) == "Apr 5, 2026, 08:30"
        assert shown("weekday_short", moment) == "Sun"
