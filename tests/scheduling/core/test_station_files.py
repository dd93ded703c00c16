"""Station files: units, gaps, duplicates, nonsense, each told by row."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.core.station_files import (
    Column,
    Gap,
    parse_date,
    read_declared_csv,
    read_station_csv,
    si_value,
)
from tests.scheduling.core.water.climates import SEATTLE_COLUMNS, seattle_file, seattle_text

HEADER = "date,precipitation_mm,temp_max_c,temp_min_c,wind_m_s\n"


def problems(text):
    return [(each.row, each.column, each.words) for each in read_station_csv(text).problems]


def test_a_clean_file_is_read_in_si_units():
    found = read_station_csv(HEADER + "2024-06-01,1.5,25,12,3.2\n2024-06-02,0,27.5,,\n")
    assert found.clean
    assert found.fields == ("precipitation", "temp_max", "temp_min", "wind")
    first, second = found.good_rows
    assert (first.date, first.row, first["precipitation"], first["wind"]) == (dt.date(2024, 6, 1), 2, 1.5, 3.2)
    assert (second["temp_max"], second["temp_min"], second["wind"], second["rh_max"]) == (27.5, None, None, None)


@pytest.mark.parametrize(
    ("cell", "field", "unit", "si"),
    [
        ("1.0", "precipitation", "in", 25.4),
        ("86", "temp_max", "f", 30.0),
        ("300", "temp_max", "k", 26.85),
        ("10", "wind", "mph", 4.4704),
        ("36", "wind", "km_h", 10.0),
        ("10", "wind", "kn", 5.14444),
        ("86.4", "wind", "km_day", 1.0),
        ("250", "radiation", "w_m2", 21.6),
        ("500", "radiation", "langley", 20.934),
        ("5", "radiation", "kwh_m2", 18.0),
        ("90", "sunshine", "min", 1.5),
    ],
)
def test_each_unit_becomes_si(cell, field, unit, si):
    """Definitions: inch 25.4 mm, mile/h 0.44704 m/s, knot 0.514444 m/s, W/m2 over a day 0.0864 MJ/m2."""
    assert si_value(cell, field, unit) == (pytest.approx(si), "")


def test_unknown_columns_and_units_are_told_in_the_header_row():
    text = "date,temp_max,snow_mm,temp_min_c\n2024-06-01,80,0,12\n"
    assert problems(text) == [
        (1, "snow_mm", "unknown column 'snow_mm'"),
        (
            1,
            "temp_max",
            "column 'temp_max' has no unit we know; use one of temp_max_c, temp_max_f, temp_max_k",
        ),
    ]
    assert len(read_station_csv(text).good_rows) == 1


def test_fahrenheit_in_a_celsius_column_is_suspected():
    assert problems(HEADER + "2024-06-01,0,84,12,1\n") == [
        (2, "temp_max_c", "84 °C is outside -60 to 57 °C; is it in °F?")
    ]
    mild = "".join(f"2024-01-{day:02},0,{50 + day % 5},40,1\n" for day in range(1, 21))
    assert problems(HEADER + mild) == [(0, "temp_max", "mean maximum 52.0 °C: is the column's unit right?")]


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("2024-06-02,0,10,12,1", "temp_min", "temp_min 12 is above temp_max 10 °C"),
        ("2024-06-01,0,25,12,1", "date", "2024-06-01 is already in row 2"),
        ("12/03/2024,0,25,12,1", "date", "'12/03/2024' is not a date (YYYY-MM-DD)"),
        ("2024-02-30,0,25,12,1", "date", "'2024-02-30' is not a date (YYYY-MM-DD)"),
        ("2024-06-02,nan,25,12,1", "precipitation_mm", "'nan' is not a finite number"),
        ("2024-06-02,0,inf,12,1", "temp_max_c", "'inf' is not a finite number"),
        ("2024-06-02,wet,25,12,1", "precipitation_mm", "'wet' is not a number"),
        ("2024-06-02,-3,25,12,1", "precipitation_mm", "-3 mm is outside 0 to 800 mm"),
        ("2024-06-02,0,25,12", "", "has 4 cells, the header 5"),
    ],
)
def test_a_bad_row_is_told_and_left_out(row, column, words):
    found = read_station_csv(HEADER + "2024-06-01,0,25,12,1\n" + row + "\n")
    assert [(each.row, each.column, each.words) for each in found.problems] == [(3, column, words)]
    assert [day.row for day in found.good_rows] == [2]


GOOD, BAD = "2024-06-01,0,25,12,1", "2024-06-01,wet,25,12,1"
TWICE = (3, "2024-06-01 is already in row 2")


@pytest.mark.parametrize(
    ("rows", "told", "kept"),
    [
        ((GOOD, BAD), [TWICE, (3, "'wet' is not a number")], [2]),
        ((BAD, GOOD), [(2, "'wet' is not a number"), TWICE], [3]),
        ((BAD, BAD), [(2, "'wet' is not a number"), TWICE, (3, "'wet' is not a number")], []),
        ((GOOD, "2024-06-01,0,10,12,1"), [TWICE, (3, "temp_min 12 is above temp_max 10 °C")], [2]),
        ((GOOD, "2024-06-01,0,10"), [(3, "has 3 cells, the header 5"), TWICE], [2]),
        ((GOOD, GOOD, BAD), [TWICE, (4, TWICE[1]), (4, "'wet' is not a number")], [2]),
    ],
)
def test_a_day_that_stands_twice_is_told_though_one_of_its_rows_is_bad(rows, told, kept):
    found = read_station_csv(HEADER + "\n".join(rows) + "\n")
    assert [(each.row, each.words) for each in found.problems] == told
    assert [day.row for day in found.good_rows] == kept


def test_gaps_are_listed_and_order_does_not_matter():
    text = HEADER + "2024-06-09,0,25,12,1\n2024-06-01,0,25,12,1\n2024-06-02,0,25,12,1\n2024-06-04,0,25,12,1\n"
    found = read_station_csv(text)
    assert found.gaps == (
        Gap(dt.date(2024, 6, 3), dt.date(2024, 6, 3)),
        Gap(dt.date(2024, 6, 5), dt.date(2024, 6, 8)),
    )
    assert [gap.days for gap in found.gaps] == [1, 4]


def test_crossed_humidity_is_told():
    text = "date,rh_max_pct,rh_min_pct\n2024-06-01,40,80\n"
    assert problems(text) == [(2, "rh_min", "rh_min 80 is above rh_max 40 %")]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "column 'date' is missing"),
        ("day,temp_max_c\n1,2\n", "column 'date' is missing"),
        ("date\n", "no column"),
    ],
)
def test_a_file_that_is_none_says_so(text, words):
    found = read_station_csv(text)
    assert found.good_rows == ()
    assert any(words in each.words for each in found.problems)


def test_the_same_quantity_twice_is_told():
    assert (1, "wind", "two columns hold wind") in problems("date,wind_m_s,wind_mph\n2024-06-01,1,2\n")


def test_the_real_series_is_read_whole_with_a_declared_mapping():
    found = seattle_file()
    assert found.clean and found.gaps == ()
    assert len(found.good_rows) == 1461
    first = found.good_rows[0]
    assert (first.date, first["temp_max"], first["temp_min"], first["wind"]) == (
        dt.date(2012, 1, 1),
        12.8,
        5.0,
        4.7,
    )


def test_the_real_series_without_a_mapping_is_refused_for_its_units():
    words = [each.words for each in read_station_csv(seattle_text()).problems if each.row == 1]
    assert sum("has no unit we know" in each for each in words) == 4
    assert "no column with weather was found" in words


def test_an_undeclared_and_a_missing_column_are_told():
    found = read_declared_csv("date,rain\n2024-06-01,1\n", SEATTLE_COLUMNS[:1])
    assert {each.words for each in found.problems} == {
        "unknown column 'rain'",
        "column 'precipitation' is missing",
        "no column with weather was found",
    }


def test_a_mapping_to_nothing_we_know_is_refused():
    with pytest.raises(ValueError, match="no field 'wind' with unit 'furlong'"):
        Column("w", "wind", "furlong")


def test_a_byte_order_mark_and_empty_lines_do_no_harm():
    found = read_station_csv("\ufeff" + HEADER + "\n2024-06-01,0,25,12,1\n\n")
    assert found.clean and len(found.good_rows) == 1


@pytest.mark.parametrize("text", ["2024-06-01", "2024/06/01", "20240601", " 2024-06-01 "])
def test_dates_in_one_order_only(text):
    assert parse_date(text) == dt.date(2024, 6, 1)


cells = st.text(alphabet="0123456789.-+einfa,/\n\"' \x00", max_size=60)


@given(body=cells)
def test_no_text_makes_the_reader_fail_and_good_rows_are_plausible(body):
    for day in read_station_csv(HEADER + body).good_rows:
        low, high = day["temp_min"], day["temp_max"]
        assert low is None or high is None or low <= high


@pytest.mark.parametrize(
    ("field", "unit", "low", "high"),
    [
        # Wide limits, common practice: what lies beyond is a fault or in the wrong unit.
        ("precipitation", "mm", 0.0, 800.0),
        ("temp_max", "c", -60.0, 57.0),
        ("temp_min", "c", -70.0, 45.0),
        ("dew_point", "c", -80.0, 36.0),
        ("wind", "m_s", 0.0, 50.0),
        ("rh_max", "pct", 0.0, 102.0),
        ("rh_min", "pct", 0.0, 102.0),
        ("rh_mean", "pct", 0.0, 102.0),
        ("radiation", "mj_m2", 0.0, 45.0),
        ("sunshine", "h", 0.0, 24.0),
    ],
)
def test_a_value_at_its_limit_is_taken_and_one_beyond_is_told(field, unit, low, high):
    assert (si_value(str(low), field, unit), si_value(str(high), field, unit)) == ((low, ""), (high, ""))
    for beyond in (low - 0.001, high + 0.001):
        value, words = si_value(str(beyond), field, unit)
        assert value is None and f"is outside {low:g} to {high:g}" in words


def test_what_a_conversion_leaves_beside_zero_is_zero():
    assert si_value("-1e-10", "precipitation", "mm") == (0.0, "")
    assert si_value("-459.67", "temp_max", "f")[0] is None
    assert si_value("10", "precipitation", "cm") == (100.0, "")


@pytest.mark.parametrize("word", ["", "na", "N/A", "null", "none", "M", "-", "-9999", "9999"])
def test_a_missing_value_is_none_without_a_word(word):
    assert si_value(f" {word} ", "temp_max", "c") == (None, "")


@pytest.mark.parametrize(("cell", "words"), [("warm", "'warm' is not a number"), ("inf", "not a finite number")])
def test_a_cell_that_is_no_number_says_so(cell, words):
    value, told = si_value(cell, "temp_max", "c")
    assert value is None and words in told


def test_the_unit_that_fits_is_asked_for():
    assert si_value("80", "temp_max", "c")[1] == "80 °C is outside -60 to 57 °C; is it in °F?"
    assert si_value("100", "precipitation", "in")[1].endswith("; is it in mm?")  # 2,540 mm is too much, 100 is not
    assert si_value("5000", "wind", "m_s")[1] == "5000 m/s is outside 0 to 50 m/s"


def series(maxima, start=dt.date(2024, 1, 1)):
    rows = [f"{start + dt.timedelta(days=n)},{value}" for n, value in enumerate(maxima)]
    return read_station_csv("date,temp_max_c\n" + "\n".join(rows) + "\n")


@pytest.mark.parametrize(
    ("each", "days", "told"),
    [(45.0, 10, False), (45.1, 10, True), (46.0, 9, False), (-25.0, 10, False), (-25.1, 10, True)],
)
def test_a_year_too_hot_or_too_cold_is_asked_about_from_ten_days_on(each, days, told):
    found = series([each] * days)
    assert [problem.row for problem in found.problems] == ([0] if told else [])
    if told:
        assert found.problems[0].words == f"mean maximum {each:.1f} °C: is the column's unit right?"


def test_days_are_compared_with_themselves_and_equal_ends_are_no_contradiction():
    header = "date,temp_max_c,temp_min_c,rh_max_pct,rh_min_pct\n"
    assert read_station_csv(header + "2024-06-01,12,12,80,80\n").clean
    assert problems(header + "2024-06-01,12,13,80,40\n") == [(2, "temp_min", "temp_min 13 is above temp_max 12 °C")]
    assert problems(header + "2024-06-01,12,3,40,80\n") == [(2, "rh_min", "rh_min 80 is above rh_max 40 %")]
    assert read_station_csv(header + "2024-06-01,,13,40,\n").clean


def test_a_gap_of_one_day_is_a_gap_and_neighbours_are_none():
    found = series([20, 21])
    assert found.gaps == ()
    apart = read_station_csv("date,temp_max_c\n2024-06-01,20\n2024-06-03,21\n")
    assert apart.gaps == (Gap(dt.date(2024, 6, 2), dt.date(2024, 6, 2)),)
    assert apart.gaps[0].days == 1
