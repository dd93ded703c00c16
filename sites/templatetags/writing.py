"""How templates write dates, numbers and money: the filters of `sites.core.writing`, known in every template.

An empty value stays empty, so that `|default:"–"` may follow.
"""

import datetime as dt
from collections.abc import Callable
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation
from typing import Any

from django import template

from sites.core import writing

register = template.Library()

DATES = (
    "day",
    "long_day",
    "day_month",
    "weekday_day",
    "weekday_date",
    "full_day",
    "weekday",
    "weekday_short",
    "month_year",
    "clock",
    "day_time",
)


def _filter(write: Callable[[Any], str]) -> Callable[[Any], str]:
    return lambda value: write(value) if value else ""


for name in DATES:
    register.filter(name, _filter(getattr(writing, name)), expects_localtime=True)


@register.filter(expects_localtime=True)
def clock_seconds(moment: dt.datetime | None) -> str:
    return f"{moment:%H:%M:%S}" if moment else ""


@register.filter
def month_name(month: int | dt.date) -> str:
    return writing.month_name(month if isinstance(month, int) else month.month)


@register.filter
def number(value: float | Decimal | None, decimals: int = 0) -> str:
    """`2.25|number:1`; negative decimals drop those that are 0. A half is rounded up, as `floatformat` does."""
    if value is None or value == "":
        return ""
    try:
        rounded = Decimal(str(value)).quantize(Decimal(1).scaleb(-abs(decimals)), ROUND_HALF_UP)
    except InvalidOperation:  # no number, or none that can be written
        return ""
    if not rounded.is_finite():
        return ""
    return writing.short_number(rounded, -decimals) if decimals < 0 else writing.number(rounded, decimals)


@register.filter
def money(amount: float | Decimal | None, currency: str = "") -> str:
    return "" if amount is None or amount == "" else writing.money(amount, currency)
