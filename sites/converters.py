"""Path converters shared by the four `urls` modules."""

import datetime as dt

from django.urls import register_converter

FIRST_YEAR, LAST_YEAR = 1900, 2199


class IsoDateConverter:
    """`<iso_date:date>`: an ISO 8601 calendar date such as 2026-04-02; anything else is not found.

    Nor is a date no firm plans for: at the ends of the calendar a week or a time zone more cannot be computed.
    """

    regex = r"\d{4}-\d{2}-\d{2}"

    def to_python(self, value: str) -> dt.date:
        date = dt.date.fromisoformat(value)
        if not FIRST_YEAR <= date.year <= LAST_YEAR:
            raise ValueError(f"{value} is no date to plan for")
        return date

    def to_url(self, value: dt.date | str) -> str:
        return value if isinstance(value, str) else value.isoformat()


register_converter(IsoDateConverter, "iso_date")
