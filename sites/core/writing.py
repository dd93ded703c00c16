"""How figures, dates and money are written, by locale: the one place for it. CLDR data come from Babel.

Everything between `written_for(code)` and its end is written for that locale; without it British English. A page is
written for the firm's locale, a client's document for the client's language. Minus is the true minus sign, clocks
have 24 hours. The same moment has one form everywhere: `day` on pages, `long_day` in letters.
"""

import datetime as dt
import math
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from decimal import Decimal
from functools import lru_cache

from babel import Locale
from babel.dates import format_date, format_skeleton
from babel.numbers import get_currency_precision

DEFAULT = "en-GB"
MINUS = "\u2212"
NOTHING = "\u2013"  # what stands in a cell without a figure

_code: ContextVar[str] = ContextVar("written_for", default=DEFAULT)


@contextmanager
def written_for(code: str) -> Iterator[None]:
    """Write for this locale (a BCP 47 tag such as en-US or de) until the end of the block."""
    token = _code.set(code)
    try:
        yield
    finally:
        _code.reset(token)


def locale_code() -> str:
    """The tag of the locale written for."""
    return _code.get()


def locale_in(language: str, firm_locale: str) -> str:
    """The locale of a client's document: the firm's own where it speaks this language, else the language alone."""
    return firm_locale if firm_locale.partition("-")[0] == language else language


@lru_cache
def _locale(code: str) -> Locale:
    return Locale.parse(code, sep="-")


def _here() -> Locale:
    return _locale(_code.get())


@lru_cache
def _marks(code: str) -> dict[int, str]:
    symbols = _locale(code).number_symbols["latn"]
    return str.maketrans({",": symbols["group"], ".": symbols["decimal"]})


def _rounded(value: float | Decimal, decimals: int) -> float | Decimal:
    return value.__round__(decimals)  # `round` loses the type of a figure that may be either


def number(value: float | Decimal, decimals: int = 0) -> str:
    """ "1,234.5", "−2.2", "1.234,5" in German; a value that rounds to 0 has no sign."""
    text = f"{abs(value):,.{decimals}f}".translate(_marks(_code.get()))
    return f"{MINUS}{text}" if _rounded(value, decimals) < 0 else text


def short_number(value: float | Decimal, most: int = 1) -> str:
    """As `number`, without decimals that are 0: "2", "2.5"."""
    rounded = _rounded(value, most)
    decimals = next((n for n in range(most) if _rounded(value, n) == rounded), most)
    return number(rounded, decimals)


def significant(value: float, figures: int = 4) -> str:
    """A figure of any size with this many digits, without decimals that are 0: "0.3512", "12.5", "1,235"."""
    if value == 0:
        return "0"
    return short_number(value, max(0, figures - 1 - math.floor(math.log10(abs(value)))))


def signed(value: float | Decimal, decimals: int = 0) -> str:
    """A difference with its sign: "+1.2", "−0.4", "0"."""
    return f"+{number(value, decimals)}" if _rounded(value, decimals) > 0 else number(value, decimals)


def money(amount: float | Decimal, currency: str = "") -> str:
    """ "1,234.50 USD", with the decimals that this ISO 4217 currency has; two without a currency."""
    return f"{number(amount, get_currency_precision(currency) if currency else 2)} {currency}".strip()


def percent(share: float, decimals: int = 0) -> str:
    """A share of 1 as "7 %"."""
    return f"{number(100 * share, decimals)} %"


def day(date: dt.date) -> str:
    """ "4 Apr 2026", "Apr 4, 2026"."""
    return format_skeleton("yMMMd", date, locale=_here())


def long_day(date: dt.date) -> str:
    """ "4 April 2026", "April 4, 2026", "4. April 2026"."""
    return format_date(date, "long", locale=_here())


def day_month(date: dt.date) -> str:
    """ "4 Apr", "Apr 4"."""
    return format_skeleton("MMMd", date, locale=_here())


def weekday_day(date: dt.date) -> str:
    """ "Sat 4 Apr", "Sat, Apr 4"."""
    return format_skeleton("MMMEd", date, locale=_here())


def weekday_date(date: dt.date) -> str:
    """ "Sat, 4 Apr 2026", "Sat, Apr 4, 2026"."""
    return format_skeleton("yMMMEd", date, locale=_here())


def full_day(date: dt.date) -> str:
    """ "Saturday, 4 April 2026", "Saturday, April 4, 2026"."""
    return format_date(date, "full", locale=_here())


def weekday(date: dt.date) -> str:
    """ "Saturday"."""
    return format_date(date, "EEEE", locale=_here())


def weekday_short(date: dt.date) -> str:
    """ "Sat"."""
    return format_date(date, "EEE", locale=_here())


def month_name(number: int) -> str:
    """ "April" for 4."""
    return _here().months["stand-alone"]["wide"][number]


def month_short(number: int) -> str:
    """ "Apr" for 4, three letters at most: the head of a narrow column."""
    return _here().months["stand-alone"]["abbreviated"][number][:3]


def month_year(date: dt.date) -> str:
    """ "April 2026"."""
    return format_skeleton("yMMMM", date, locale=_here())


def clock(time: dt.time | dt.datetime) -> str:
    """ "07:05"; a moment with its own zone's hours."""
    return f"{time:%H:%M}"


def day_time(moment: dt.datetime) -> str:
    """ "4 Apr 2026, 07:05"."""
    return f"{day(moment)}, {clock(moment)}"


def span(first: dt.date, last: dt.date) -> str:
    """From one day to another, the year once: "4 Apr to 6 May 2026"; a single day alone."""
    if first == last:
        return day(first)
    return f"{day(first) if first.year != last.year else day_month(first)} to {day(last)}"
