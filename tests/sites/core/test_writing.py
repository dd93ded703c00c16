"""Dates, numbers and money by locale. The expected forms are those of Unicode CLDR (patterns yMMMd, MMMd, MMMEd, long
and full date; symbols of the latn numbering system), from memory, and ISO 4217 for the decimals of a currency."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sites.core import writing

DAY = dt.date(2026, 4, 4)


@pytest.mark.parametrize(
    ("code", "forms"),
    [
        ("en-GB", ("4 Apr 2026", "4 April 2026", "4 Apr", "Sat 4 Apr", "Saturday, 4 April 2026")),
        ("en-US", ("Apr 4, 2026", "April 4, 2026", "Apr 4", "Sat, Apr 4", "Saturday, April 4, 2026")),
        ("de", ("4. Apr. 2026", "4. April 2026", "4. Apr.", "Sa., 4. Apr.", "Samstag, 4. April 2026")),
    ],
)
def test_a_day_has_one_form_for_each_use_in_a_locale(code, forms):
    writes = (writing.day, writing.long_day, writing.day_month, writing.weekday_day, writing.full_day)

    with writing.written_for(code):
        assert tuple(write(DAY) for write in writes) == forms
    assert writing.locale_code() == "en-GB"


@pytest.mark.parametrize(("code", "text"), [("en-GB", "−1,234.5"), ("en-US", "−1,234.5"), ("de", "−1.234,5")])
def test_a_number_has_the_locale_s_marks_and_a_true_minus(code, text):
    with writing.written_for(code):
        assert writing.number(-1234.5, 1) == text


@given(st.floats(-1e9, 1e9), st.integers(0, 4), st.sampled_from(["en-GB", "en-US", "de"]))
def test_a_number_reads_back_as_itself_and_never_has_a_hyphen_or_a_signed_zero(value, decimals, code):
    with writing.written_for(code):
        text = writing.number(value, decimals)

    marks = str.maketrans({".": "", ",": "."} if code == "de" else {",": ""})
    read = float(text.translate(marks).replace(writing.MINUS, "-"))
    assert read == pytest.approx(round(value, decimals), abs=10.0**-decimals)
    assert "-" not in text
    assert text.startswith(writing.MINUS) == (read < 0)


def test_short_signed_and_significant_numbers():
    assert [writing.short_number(x, 2) for x in (2.0, 2.5, 2.456)] == ["2", "2.5", "2.46"]
    assert [writing.signed(x, 1) for x in (1.24, -0.41, 0.04)] == ["+1.2", "−0.4", "0.0"]
    assert [writing.significant(x) for x in (0.351234, 12.5, 1234.5, 0, 98765.0)] == [
        "0.3512",
        "12.5",
        "1,234",
        "0",
        "98,765",
    ]


@pytest.mark.parametrize(("currency", "text"), [("USD", "1,234.50 USD"), ("JPY", "1,234 JPY"), ("", "1,234.50")])
def test_money_has_the_decimals_of_its_currency(currency, text):
    assert writing.money(1234.5, currency) == text


def test_a_client_s_document_is_written_as_the_firm_writes_the_client_s_language():
    assert writing.locale_in("en", "en-US") == "en-US"
    assert writing.locale_in("de", "en-US") == "de"


def test_a_span_names_the_year_once():
    assert writing.span(DAY, dt.date(2026, 5, 6)) == "4 Apr to 6 May 2026"
    assert writing.span(DAY, dt.date(2027, 1, 6)) == "4 Apr 2026 to 6 Jan 2027"
    assert writing.span(DAY, DAY) == "4 Apr 2026"
