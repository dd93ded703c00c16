"""The season in figures: counted by hand on a small firm, the same in every form, harmless in a spreadsheet."""

import csv
import dataclasses
import datetime as dt
import io

import openpyxl
import pytest
from pypdf import PdfReader

from jobs.models import DayRoute, Fault
from reports.documents.fleet import fleet_csv, fleet_pdf, fleet_xlsx, shown
from reports.documents.spreadsheet import Table, guarded
from reports.queries.fleet import changes_since_last_year, fleet_data, year_table
from scheduling.core.water.budget import year_on_year
from scheduling.queries.water_use import AgainstLastYear
from tests import factories

TODAY = dt.date(2026, 11, 1)


def utc(*parts: int) -> dt.datetime:
    return dt.datetime(*parts, 17, tzinfo=dt.UTC)


@pytest.fixture
def season(site, other_site, technician):
    """One visit in time, one late, one overdue; a fault that came back; a day of driving."""
    done = {"technician": technician, "state": "finished"}
    factories.VisitFactory(
        site=site, **done, planned_on=dt.date(2026, 5, 4), started_at=utc(2026, 5, 4), finished_at=utc(2026, 5, 4)
    )
    factories.VisitFactory(
        site=other_site,
        **done,
        planned_on=dt.date(2026, 5, 4),
        started_at=utc(2026, 5, 20),
        finished_at=utc(2026, 5, 20),
    )
    factories.VisitFactory(site=site, kind="winterisation", due_on=dt.date(2026, 10, 20))
    valve = site.controllers.get().valves.first()
    valve.installed_on = dt.date(2019, 3, 1)
    valve.save()
    repaired = {"state": Fault.State.REPAIRED, "kind": "valve_weeps", "valve": valve}
    factories.FaultFactory(site=site, **repaired, found_at=utc(2025, 6, 1), repaired_at=utc(2025, 6, 2))
    factories.FaultFactory(site=site, **repaired, found_at=utc(2026, 6, 1), repaired_at=utc(2026, 6, 2))
    factories.FaultFactory(site=other_site, found_at=utc(2026, 7, 1))
    factories.FaultFactory(site=other_site, found_at=utc(2026, 8, 1), state=Fault.State.DISMISSED)
    DayRoute.objects.create(
        technician=technician, date=dt.date(2026, 5, 4), drive_min=50, drive_km=30, travel_source="straight line"
    )
    return fleet_data(season_year=2026, today=TODAY)


def rows_of(fleet, key) -> tuple:
    return next(table.rows for table in fleet.tables if table.key == key)


def test_visits_are_told_in_time_late_and_overdue(season):
    assert rows_of(season, "visits") == (
        ("Startup", 2, 2, 1, 1, 0, 50.0),
        ("Winterization", 1, 0, 0, 0, 1, 0.0),
    )
    assert (season.figures[0].value, season.figures[0].note) == ("33 %", "1 of 3 done or overdue")


def test_faults_are_told_by_kind_and_the_age_of_the_valve(season):
    ages = next(table.head for table in season.tables if table.key == "faults")
    rows = {row[0]: dict(zip(ages[1:], row[1:], strict=True)) for row in rows_of(season, "faults")}

    assert rows["Valve weeps"]["5 to 9 years"] == rows["Valve weeps"]["All"] == 1
    assert rows["Pipe or fitting leaks"]["No valve named"] == 1
    assert sum(row["All"] for row in rows.values()) == 2  # the dismissed one is none


def test_a_fault_that_came_back_after_its_repair_is_told(season):
    assert rows_of(season, "repeats") == (
        ("Hazel Court", "Valve 1", "Valve weeps", "2 June 2025", "1 June 2026", 364),
    )


def test_driving_is_told_per_visit(season, technician):
    assert rows_of(season, "driving") == ((str(technician), 1, 2, 50.0, 30.0, 25.0),)


def test_page_pdf_xlsx_and_csv_say_the_same(season, client, owner):
    cells = [shown(value) for table in season.tables for row in table.rows for value in row]
    pdf = "".join("".join(page.extract_text() for page in PdfReader(io.BytesIO(fleet_pdf(season))).pages).split())
    assert [cell for cell in cells if "".join(cell.split()) not in pdf] == []

    book = openpyxl.load_workbook(io.BytesIO(fleet_xlsx(season)))
    for table in season.tables:
        sheet = book[table.title[:31]]
        assert [tuple(row) for row in sheet.iter_rows(min_row=2, values_only=True)] == list(table.rows)

    read = list(csv.reader(io.StringIO(fleet_csv(season).decode("utf-8-sig"))))
    assert [str(value) for value in rows_of(season, "visits")[0]] in read

    client.force_login(owner)
    page = client.get("/reports/season-figures/?year=2026").content.decode()
    assert "Valve weeps" in page
    for form in ("pdf", "xlsx", "csv"):
        assert client.get(f"/reports/season-figures/{form}/?year=2026").status_code == 200


def year(this_l: float, last_l: float, needs: tuple[float, float, float] | None) -> AgainstLastYear:
    first, last = dt.date(2026, 5, 1), dt.date(2026, 9, 30)
    corrected = year_on_year(this_l, needs[0], last_l, needs[1], needs[2]) if needs else None
    this_mm, last_mm = needs[:2] if needs else (None, None)
    return AgainstLastYear(first, last, 153, this_l, last_l, 100, corrected, this_mm, last_mm)


def test_the_change_is_told_as_it_was_and_corrected_by_weather():
    """By hand: 120 against 100 m³ is 20 % more; a need of 300 mm after 200 puts last year's 100 to 150: 30 less.

    The second site has no weather: 60 against 50 m³ counts in the change as it was alone.
    """
    compared = [year(120e3, 100e3, (300.0, 200.0, 250.0)), year(60e3, 50e3, None)]

    was, corrected = changes_since_last_year(compared, 3, "m³", lambda litres: litres / 1000)
    rows = year_table(list(zip("AB", compared, strict=True)), "m³", lambda litres: litres and litres / 1000).rows

    assert (was.value, was.label) == ("+20 %", "against last year, as it was")
    assert was.note == "180 against 150 m³ on the days known in both years, 2 of 3 sites compared"
    assert (corrected.value, corrected.label) == (
        "30 m³",
        "less than last year's use would be in this year's weather",
    )
    assert corrected.note == "−20 % corrected by weather, 1 of 3 sites"
    assert rows == (
        ("A", 120.0, 100.0, pytest.approx(20), pytest.approx(-20), 30.0, 153, 100),
        ("B", 60.0, 50.0, pytest.approx(20), None, None, 153, 100),
    )


def test_a_firm_without_sites_has_nothing_to_compare(firm):
    fleet = fleet_data(season_year=2026, today=TODAY)

    told = [figure for figure in fleet.figures if "last year" in figure.label]
    assert [(figure.value, figure.note) for figure in told] == [("–", "nothing to compare yet")] * 2
    assert rows_of(fleet, "water") == ()


@pytest.mark.parametrize(
    ("value", "text"), [(-4.2, "−4.2"), (-1234.0, "−1,234"), (-7, "−7"), (None, "–"), (2.0, "2")]
)
def test_a_figure_is_shown_with_the_true_minus(value, text):
    assert shown(value) == text


LIVE = ["=1+1", "+1", "-1+2", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1+1", "＋1", "－1", "＠x", "  =1"]


@pytest.mark.parametrize("text", LIVE)
def test_no_text_becomes_a_formula(season, text):
    table = Table("x", "T", "", ("A", "B"), ((text, -4.2),))
    fleet = dataclasses.replace(season, tables=(table,))

    sheet = openpyxl.load_workbook(io.BytesIO(fleet_xlsx(fleet)))["T"]
    cell, number = next(sheet.iter_rows(min_row=2))
    assert cell.data_type == "s"
    assert number.value == -4.2
    rows = list(csv.reader(io.StringIO(fleet_csv(fleet).decode("utf-8-sig"), newline="")))
    assert rows[2][0].startswith("'")
    assert rows[2][1] == "-4.2"


def test_ordinary_text_and_numbers_stay_as_they_are():
    assert [guarded(value) for value in ("Hazel Court", "3 - 4", -4.2, None, 7)] == [
        "Hazel Court",
        "3 - 4",
        -4.2,
        None,
        7,
    ]
