import datetime as dt

import pytest

from jobs.queries.planning import firm_today
from scheduling.actions.weather import import_refused_again, import_station_text, save_station
from scheduling.models import DailyWeather, WeatherImport
from tests import factories

HEAD = "date,precipitation_mm,temp_max_c,temp_min_c,wind_m_s,radiation_mj_m2"


@pytest.fixture
def station(db):
    return factories.WeatherStationFactory()


def import_text(station, *rows, head=HEAD, keep_good_rows=False, file_format="rillbook"):
    return import_station_text(
        station=station,
        text="\n".join([head, *rows]),
        file_name="days.csv",
        file_format=file_format,
        keep_good_rows=keep_good_rows,
        by=None,
    )


def test_the_seattle_series_is_stored_whole_with_the_reference_et_and_its_method(seattle):
    days = DailyWeather.objects.filter(station=seattle)
    assert days.count() == 1461
    assert days.filter(eto_mm=None).count() == 0
    assert set(days.values_list("eto_method", flat=True)) == {
        "Penman-Monteith, radiation estimated from temperature, humidity estimated from minimum temperature"
    }
    first = days.get(date=dt.date(2012, 1, 1))
    assert (first.precipitation_mm, first.temp_max_c, first.temp_min_c, first.wind_m_s) == (0.0, 12.8, 5.0, 4.7)


def test_importing_the_same_days_again_updates_them_and_doubles_nothing(station):
    import_text(station, "2024-07-01,0,25,12,2,20", "2024-07-02,0,26,13,2,20")
    before = DailyWeather.objects.get(date=dt.date(2024, 7, 2))
    done = import_text(station, "2024-07-02,5,30,13,2,25", "2024-07-03,0,24,12,2,20")
    after = DailyWeather.objects.get(date=dt.date(2024, 7, 2))
    assert done.rows_stored == 2
    assert DailyWeather.objects.count() == 3
    assert after.pk == before.pk
    assert (after.precipitation_mm, after.temp_max_c) == (5, 30)
    assert after.eto_mm > before.eto_mm


def test_an_empty_cell_erases_nothing_that_was_measured_before(station):
    import_text(station, "2024-07-01,3,25,12,2,20")
    import_text(station, "2024-07-01,,27,12,,", head=HEAD)
    day = DailyWeather.objects.get()
    assert (day.precipitation_mm, day.temp_max_c, day.wind_m_s, day.radiation_mj_m2) == (3, 27, 2, 20)


def test_a_day_that_has_not_come_is_no_measurement(station):
    today = firm_today()
    tomorrow = today + dt.timedelta(days=1)
    head = HEAD.removesuffix(",radiation_mj_m2")
    rows = (f"{today},3,25,12,2", f"{tomorrow},0,25,12,2")
    words = f"{tomorrow} has not come yet: it cannot have been measured"
    told = [{"row": 3, "column": "date", "message": words}]
    refused = import_text(station, *rows, head=head)
    assert (refused.problems, refused.rows_stored) == (told, 0)
    kept = import_text(station, *rows, head=head, keep_good_rows=True)
    assert (kept.problems, kept.rows_read) == (told, 2)
    assert [day.date for day in DailyWeather.objects.all()] == [today]


def test_a_file_with_bad_rows_stores_nothing_and_names_every_row(station):
    done = import_text(
        station,
        "2024-07-01,0,25,12,2,20",
        "2024-07-02,0,12,25,2,20",
        "2024-07-03,wet,25,12,2,20",
        "2024-07-01,0,25,12,2,20",
        "2024-07-05,0,25,12,2,44",
    )
    assert done.refused
    assert DailyWeather.objects.count() == 0
    assert [problem["row"] for problem in done.problems if not problem.get("note")] == [3, 4, 5, 6]
    assert "above temp_max" in done.problems[1]["message"] or "above temp_max" in done.problems[0]["message"]
    assert "2024-07-03,wet" in done.refused_text


def test_the_good_rows_are_taken_from_the_kept_file_when_somebody_says_so(station):
    refused = import_text(station, "2024-07-01,0,25,12,2,20", "2024-07-02,wet,25,12,2,20")
    done = import_refused_again(refused=refused, file_format="rillbook", keep_good_rows=True, by=None)
    assert done.rows_stored == 1
    assert done.refused_text == ""
    assert [row.pk for row in WeatherImport.objects.all()] == [done.pk]
    assert DailyWeather.objects.get().date == dt.date(2024, 7, 1)


def test_missing_days_are_told_but_do_not_stop_the_import(station):
    done = import_text(station, "2024-07-01,0,25,12,2,20", "2024-07-05,0,25,12,2,20")
    assert done.rows_stored == 2
    assert done.problems == [
        {"row": 0, "column": "date", "message": "3 days missing: 2024-07-02 to 2024-07-04", "note": True}
    ]


def test_more_radiation_than_reaches_the_atmosphere_is_a_problem_of_its_row(station):
    done = import_text(station, "2024-12-20,0,8,2,2,30", "2024-12-21,0,8,2,2,3")
    assert [(problem["row"], problem["column"]) for problem in done.problems] == [(2, "radiation")]
    assert DailyWeather.objects.count() == 0
    kept = import_text(station, "2024-12-20,0,8,2,2,30", "2024-12-21,0,8,2,2,3", keep_good_rows=True)
    assert kept.rows_stored == 1


def test_a_later_file_that_closes_a_gap_gives_the_silent_day_between_its_et(station):
    import_text(station, "2024-07-01,0,25,12,2,20", "2024-07-02,4,,,,")
    assert DailyWeather.objects.get(date=dt.date(2024, 7, 2)).eto_mm is None
    done = import_text(station, "2024-07-03,0,25,12,2,20")
    silent = DailyWeather.objects.get(date=dt.date(2024, 7, 2))
    ends = [DailyWeather.objects.get(date=dt.date(2024, 7, day)).eto_mm for day in (1, 3)]
    assert done.rows_stored == 1
    assert silent.eto_mm == pytest.approx(sum(ends) / 2)
    assert silent.eto_method == "interpolated between neighbouring days"


def test_a_column_that_cannot_be_kept_is_named(station):
    done = import_text(station, "2024-07-01,25,12,9", head="date,temp_max_c,temp_min_c,dew_point_c")
    assert done.refused
    assert [(problem["row"], problem["column"]) for problem in done.problems] == [(1, "dew_point")]


def test_a_ghcn_station_file_goes_through_the_same_door(station):
    text = "\n".join(
        [
            "STATION,DATE,ELEMENT,VALUE,MFLAG,QFLAG,SFLAG",
            *(f"USW00024233,2024070{day},TMAX,{250 + day},,,W" for day in (1, 2)),
            *(f"USW00024233,2024070{day},TMIN,{120 + day},,,W" for day in (1, 2)),
            "USW00024233,20240701,PRCP,15,,,W",
        ]
    )
    done = import_station_text(
        station=station, text=text, file_name="g.csv", file_format="ghcn_csv", keep_good_rows=False, by=None
    )
    assert (done.rows_stored, done.problems) == (2, [])
    day = DailyWeather.objects.get(date=dt.date(2024, 7, 1))
    assert (day.temp_max_c, day.temp_min_c, day.precipitation_mm) == (25.1, 12.1, 1.5)
    assert "default wind" in day.eto_method


def test_an_unknown_format_is_refused_by_name(station):
    with pytest.raises(ValueError, match="Unknown format 'xls'"):
        import_text(station, file_format="xls")


def test_moving_a_station_computes_its_days_again(station, office):
    import_text(station, "2024-07-01,0,25,12,2,", "2024-07-02,0,26,13,2,")
    before = list(DailyWeather.objects.values_list("eto_mm", flat=True))
    station.latitude = 10.0
    save_station(station=station, by=office)
    after = list(DailyWeather.objects.values_list("eto_mm", flat=True))
    assert all(one != other for one, other in zip(before, after, strict=True))
