"""GHCN-Daily files, fixed width and CSV. The lines are made up in the documented format."""

import datetime as dt

from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.ghcn_files import read_ghcn_csv, read_ghcn_dly

STATION = "XX000000001"


def dly(element, values, year=2024, month=6, flags=None):
    """One line: id 1-11, year 12-15, month 16-17, element 18-21, then 31 x (value 5, three flags)."""
    flags = flags or {}
    cells = "".join(f"{values.get(day, -9999):5d}{flags.get(day, '   ')}" for day in range(1, 32))
    return f"{STATION}{year:04d}{month:02d}{element}{cells}\n"


def test_tenths_become_units_and_days_are_put_together():
    text = dly("TMAX", {1: 250, 2: 261}) + dly("TMIN", {1: 121, 2: -5}) + dly("PRCP", {1: 0, 2: 254})
    found = read_ghcn_dly(text + dly("SNWD", {1: 10}))
    assert found.clean and found.gaps == ()
    assert found.fields == ("precipitation", "temp_max", "temp_min")
    assert [(day.date.day, day["temp_max"], day["temp_min"], day["precipitation"]) for day in found.good_rows] == [
        (1, 25.0, 12.1, 0.0),
        (2, 26.1, -0.5, 25.4),
    ]


def test_a_value_with_a_quality_flag_is_left_out_and_told():
    text = dly("TMAX", {1: 250, 2: 999}, flags={2: " I "}) + dly("TMIN", {1: 120, 2: 130})
    found = read_ghcn_dly(text)
    assert [day["temp_max"] for day in found.good_rows] == [25.0, None]
    assert [(each.row, each.column) for each in found.problems] == [(1, "TMAX")]
    assert "failed the internal consistency check (I)" in found.problems[0].words


def test_a_measurement_flag_is_no_quality_flag():
    assert read_ghcn_dly(dly("PRCP", {1: 10}, flags={1: "T S"})).clean


def test_missing_values_make_gaps():
    found = read_ghcn_dly(dly("TMAX", {1: 250, 5: 240}))
    assert [(gap.first.day, gap.last.day) for gap in found.gaps] == [(2, 4)]


def test_a_day_that_does_not_exist_and_a_short_line_are_told():
    words = [each.words for each in read_ghcn_dly(dly("TMAX", {30: 100}, month=2)).problems]
    assert words[0] == "day 30: no such day, or '100' is no number"
    short = read_ghcn_dly(dly("TMAX", {1: 100})[:60])
    assert short.problems[0].words == "the line ends before day 6"
    assert len(short.good_rows) == 1


def test_tmin_above_tmax_and_an_implausible_value_are_told():
    found = read_ghcn_dly(dly("TMAX", {1: 100, 2: 250}) + dly("TMIN", {1: 120, 2: 100}) + dly("AWND", {2: 9000}))
    assert [day.date.day for day in found.good_rows] == [2]
    assert found.good_rows[0]["wind"] is None
    assert [each.words for each in found.problems] == [
        "temp_min 12 is above temp_max 10 °C",
        "2024-06-02: 900 is outside 0 to 50 m/s",
    ]


CSV = """STATION,DATE,ELEMENT,VALUE,MFLAG,QFLAG,SFLAG
XX000000001,20240601,TMAX,250,,,S
XX000000001,20240601,TMIN,121,,,S
XX000000001,20240602,TMAX,999,,X,S
XX000000001,20240602,PRCP,-9999,,,S
"""


def test_the_long_csv_reads_the_same():
    found = read_ghcn_csv(CSV)
    assert [(day.date, day["temp_max"], day["temp_min"]) for day in found.good_rows] == [
        (dt.date(2024, 6, 1), 25.0, 12.1),
        (dt.date(2024, 6, 2), None, None),
    ]
    assert [each.row for each in found.problems] == [4]


def test_a_by_year_file_has_no_header_and_many_stations():
    body = "".join(CSV.splitlines(keepends=True)[1:3])
    assert len(read_ghcn_csv(body).good_rows) == 1
    two = body + body.replace(STATION, "YY000000002").replace("250", "300")
    mixed = read_ghcn_csv(two)
    assert mixed.good_rows == ()
    assert mixed.problems[0].words == "2 stations in one file: say which"
    assert read_ghcn_csv(two, station="YY000000002").good_rows[0]["temp_max"] == 30.0


def test_rows_that_are_none_are_told_by_number():
    found = read_ghcn_csv(CSV + "XX000000001,2024-13-01,TMAX,1,,,\nXX000000001,20240603,TMAX,warm,,,\n")
    assert [(each.row, each.column) for each in found.problems] == [(4, "TMAX"), (6, "DATE"), (7, "VALUE")]


def test_an_element_twice_keeps_the_first_and_tells():
    found = read_ghcn_csv(CSV + "XX000000001,20240601,TMAX,260,,,S\n")
    assert found.good_rows[0]["temp_max"] == 25.0
    assert (6, "2024-06-01: the element is there twice") in [(each.row, each.words) for each in found.problems]


def test_a_header_without_values_and_an_empty_file_are_told():
    assert read_ghcn_csv("STATION,DATE,ELEMENT\n").problems[0].words == "column VALUE is missing"
    assert read_ghcn_dly("").problems[0].words == "no day of rain, temperature or wind was found"


@given(text=st.text(alphabet='XTMAPRCIND0123456789-,. \n"\x00', max_size=120))
def test_no_text_makes_the_readers_fail(text):
    read_ghcn_dly(text)
    read_ghcn_csv(text)
    read_ghcn_dly(STATION + "202406TMAX" + text)
