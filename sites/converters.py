"""Path converters shared by the four `urls` rooms."""

import datetime as dt

from django.urls import register_converter


class IsoDateConverter:
    """`<iso_date:date>`: an ISO 8601 calendar date such as 2026-04-02; anything else is not found."""

    regex = r"\d{4}-\d{2}-\d{2}"

    def to_python(self, value: str) -> dt.date:
        return dt.date.fromisoformat(value)

    def to_url(self, value: dt.date | str) -> str:
        return value if isinstance(value, str) else value.isoformat()


register_converter(IsoDateConverter, "iso_date")
