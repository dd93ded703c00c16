import datetime as dt
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from scheduling.models import DailyWeather, SeasonSchedule
from tests import factories


def run(*words):
    out, err = StringIO(), StringIO()
    call_command(*words, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


@pytest.fixture
def station(db):
    return factories.WeatherStationFactory()


def test_import_weather_brings_the_seattle_series(station):
    out, _ = run("import_weather", "--seattle", "--station", "TEST1")
    assert out == "1461 days of Test station stored, 1461 rows read.\n"


def test_import_weather_lists_bad_rows_and_stores_nothing(station, tmp_path):
    path = tmp_path / "days.csv"
    path.write_text("date,temp_max_c,temp_min_c\n2024-07-01,25,12\n2024-07-02,12,25\n")
    err = StringIO()
    with pytest.raises(CommandError, match="Nothing of days.csv was stored: correct the rows or give --keep"):
        call_command("import_weather", str(path), "--station", "TEST1", stderr=err)
    assert err.getvalue() == "row 3, temp_min: temp_min 25 is above temp_max 12 °C\n"
    assert not DailyWeather.objects.exists()
    out, _ = run("import_weather", str(path), "--station", "TEST1", "--keep-good-rows")
    assert out.startswith("1 days of Test station stored")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere.csv", "--station", "TEST1"], "Cannot read nowhere.csv: No such file or directory."),
        (["--seattle", "--station", "ELSE"], "No weather station has the code 'ELSE'. Known: TEST1."),
        (["--station", "TEST1"], "one of the arguments file --seattle is required"),
    ],
)
def test_import_weather_says_in_one_line_what_is_wrong(station, words, said):
    with pytest.raises(CommandError, match=said.replace("(", r"\(")):
        run("import_weather", *words)


def test_import_weather_refuses_a_file_that_is_no_text(station, tmp_path):
    path = tmp_path / "days.bin"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(CommandError, match=r"days.bin is not UTF-8 text \(byte 0\)."):
        run("import_weather", str(path), "--station", "TEST1")


def test_compute_schedules_computes_and_publishes(seattle, site, other_site):
    out, _ = run("compute_schedules", "--date", "2015-07-15", "--publish")
    assert "2 schedules computed, 0 with warnings, 0 zones need more data." in out
    assert "2 schedules published." in out
    assert SeasonSchedule.objects.published().count() == 2


def test_compute_schedules_takes_single_sites_and_a_month(seattle, site, other_site):
    run("compute_schedules", "--site", str(site.pk), "--date", "2015-07-15", "--month", "6")
    schedule = SeasonSchedule.objects.get()
    assert (schedule.site, schedule.month, schedule.week_starts_on) == (site, 6, dt.date(2015, 7, 15))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--date", "15.7.2015"], "'15.7.2015' is not a date: write YYYY-MM-DD."),
        (["--site", "999999"], "No site has the id 999999."),
        (["--site", "9" * 30], f"No site has the id {'9' * 30}."),
        (["--month", "13"], "--month 13 is not a month: give 1 to 12."),
    ],
)
def test_compute_schedules_says_in_one_line_what_is_wrong(site, words, said):
    with pytest.raises(CommandError, match=said):
        run("compute_schedules", *words)
