"""A forecast typed in for a station: kept, changed, cleared, and what the week's programs make of it."""

import datetime as dt

import numpy as np
import pytest
from django.urls import reverse

from jobs.queries.planning import firm_today
from scheduling.actions.forecasts import save_forecast
from scheduling.actions.schedules import compute_draft, publish
from scheduling.core.water.daily_et import DailyWeather, StationGeometry, daily_reference_et
from scheduling.models import ForecastDay
from scheduling.queries.explain import explain
from sites.models import AuditEntry, Firm
from tests import factories

SINCE, TODAY = dt.date(2015, 7, 1), dt.date(2015, 7, 20)
LATER = dt.date(2016, 7, 20)  # the series ends with 2015: the station is silent
A_DAY = dt.timedelta(days=1)


@pytest.fixture
def station(firm):
    return factories.WeatherStationFactory()


def page(station):
    return reverse("scheduling:station_forecast", args=[station.pk])


def typed(rows, first=None):
    """What the form sends: `rows` by number of the day, each with the fields that are not empty."""
    first = first or firm_today()
    data = {"first_day": first.isoformat()}
    for number in range(7):
        for name in ("precipitation_mm", "temp_max_c", "temp_min_c", "eto_mm"):
            data[f"{first + number * A_DAY}-{name}"] = rows.get(number, {}).get(name, "")
    return data


def days(station, first, **figures):
    return [ForecastDay(station=station, date=first + number * A_DAY, **figures) for number in range(7)]


def test_days_are_entered_changed_and_cleared(as_office, station, office):
    rows = {0: {"precipitation_mm": "12.5"}, 1: {"eto_mm": "4.2"}, 2: {"temp_max_c": "24", "temp_min_c": "11"}}
    assert as_office.post(page(station), typed(rows)).status_code == 302
    rain, entered, warm = ForecastDay.objects.order_by("date")
    assert (rain.precipitation_mm, rain.eto_mm, rain.entered_by) == (12.5, None, office)
    assert (entered.eto_mm, entered.eto_method) == (4.2, "entered")
    assert warm.eto_method.startswith("Penman-Monteith, radiation estimated from temperature")
    rows = {0: {"precipitation_mm": "3"}, 2: {"temp_max_c": "24", "temp_min_c": "11"}}
    as_office.post(page(station), typed(rows))
    assert [(day.pk, day.precipitation_mm) for day in ForecastDay.objects.order_by("date")] == [
        (rain.pk, 3.0),
        (warm.pk, None),
    ]
    assert AuditEntry.objects.filter(verb="entered forecast").count() == 2


def test_temperatures_alone_give_the_et_of_a_measured_day_that_lacks_all_else(as_office, station):
    today = firm_today()
    as_office.post(page(station), typed({0: {"temp_max_c": "24", "temp_min_c": "11"}}))
    weather = DailyWeather(np.array([today], dtype="datetime64[D]"), np.array([24.0]), np.array([11.0]))
    place = StationGeometry(station.latitude, station.elevation_m, station.wind_height_m)
    assert ForecastDay.objects.get().eto_mm == pytest.approx(daily_reference_et(weather, place).et_mm[0])


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"temp_max_c": "10", "temp_min_c": "12"}, "Lies above the maximum."),
        ({"temp_max_c": "10"}, "Give both temperatures or none."),
        ({"precipitation_mm": "-1"}, "Must be at least 0.0 mm."),
        ({"eto_mm": "plenty"}, "Enter a number."),
    ],
)
def test_a_bad_figure_stores_nothing_loses_nothing_and_says_so_beside_the_field(as_office, station, row, words):
    answer = as_office.post(page(station), typed({0: {"precipitation_mm": "7.25"}, 3: row}))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert words in text
    assert 'value="7.25"' in text
    assert not ForecastDay.objects.exists()


def test_a_firm_in_us_units_types_inches_and_fahrenheit(as_office, station, firm):
    Firm.objects.update(units=Firm.Units.US)
    as_office.post(page(station), typed({0: {"precipitation_mm": "0.5", "temp_max_c": "77", "temp_min_c": "50"}}))
    day = ForecastDay.objects.get()
    assert (day.precipitation_mm, day.temp_max_c, day.temp_min_c) == pytest.approx((12.7, 25.0, 10.0))


def test_a_page_opened_yesterday_saves_the_days_it_showed(as_office, station):
    yesterday = firm_today() - A_DAY
    as_office.post(page(station), typed({1: {"precipitation_mm": "4"}}, first=yesterday))
    assert ForecastDay.objects.get().date == firm_today()


def test_the_station_page_shows_the_forecast(as_office, station):
    assert "None entered" in as_office.get(reverse("scheduling:station", args=[station.pk])).content.decode()
    as_office.post(page(station), typed({0: {"precipitation_mm": "12.5"}}))
    text = as_office.get(reverse("scheduling:station", args=[station.pk])).content.decode()
    assert "12.5 mm" in text
    assert "Change the forecast" in text


def test_the_derivation_says_which_days_are_forecast_and_which_are_normals(seattle, site):
    publish(schedule=compute_draft(site=site, today=SINCE, by=None, month=7), by=None, on=SINCE)
    save_forecast(station=seattle, days=days(seattle, TODAY, precipitation_mm=15.0, eto_mm=2.0)[:3], by=None)
    draft = compute_draft(site=site, today=TODAY, by=None)
    assert draft.basis["rule"].endswith("the coming week, 3 of its days by the forecast entered")
    zone = site.zones.get(number=1)
    ahead = explain(draft, zone, 7).ahead
    # Turf Kc of July 0.94; half of forecast rain is counted where no chance is named, three tenths of normals.
    assert [each.demand_mm for each in ahead.mornings[:3]] == pytest.approx([0.94 * 2.0] * 3)
    assert [each.counted_mm for each in ahead.mornings[:3]] == pytest.approx([7.5] * 3)
    for each in ahead.mornings[3:]:
        assert each.counted_mm == pytest.approx(0.3 * each.rain_mm, abs=0.001)
    assert draft.basis["forecast_days"] == 3


def test_without_any_weather_a_forecast_of_the_week_takes_the_normals_place(seattle, site):
    assert compute_draft(site=site, today=LATER, by=None).basis["rule"] == "the normal of the month"
    save_forecast(station=seattle, days=days(seattle, LATER, precipitation_mm=0.0, eto_mm=6.0)[:4], by=None)
    draft = compute_draft(site=site, today=LATER, by=None)
    assert draft.basis["rule"].startswith("the forecast entered for the coming week")
    ahead = explain(draft, site.zones.get(number=1), 7).ahead
    assert ahead.assumed
    assert ahead.mornings[0].depletion_mm == pytest.approx(12.75 / 2)  # the middle of a cycle
    assert ahead.dates


def test_three_days_of_forecast_are_too_few_to_water_a_silent_station_by(seattle, site):
    save_forecast(station=seattle, days=days(seattle, LATER, precipitation_mm=0.0, eto_mm=6.0)[:3], by=None)
    assert compute_draft(site=site, today=LATER, by=None).basis["rule"] == "the normal of the month"
