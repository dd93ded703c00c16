"""A season lived through again on the measured Seattle series, and once more with one thing changed."""

import datetime as dt

import numpy as np
import pytest
from django.urls import reverse

from scheduling.actions.pauses import pause
from scheduling.actions.schedules import compute_draft, publish
from scheduling.core.water.replay import Days
from scheduling.queries.published import daily_runs
from scheduling.queries.season_replay import NotEnough, site_replay, zone_season_sheet
from scheduling.queries.water_use import site_water_use
from scheduling.queries.what_if import left_by_rain_mm, what_if, what_ifs
from sites.models import Tariff, TariffBlock

APRIL, TODAY = dt.date(2015, 4, 1), dt.date(2015, 11, 1)


@pytest.fixture
def site(site):
    site.refresh_from_db()  # times as the database gives them
    return site


@pytest.fixture
def published(seattle, site):
    return publish(schedule=compute_draft(site=site, today=APRIL, by=None, month=4), by=None, on=APRIL)


@pytest.fixture
def tariff(site):
    site.tariff = Tariff.objects.create(name="Town", fixed_per_month=10)
    TariffBlock.objects.create(tariff=site.tariff, from_m3=0, price_per_m3=2)
    site.save()
    return site.tariff


def test_what_a_zone_got_is_what_the_published_schedule_let_through(published, site):
    replay = site_replay(site, season_year=2015, today=TODAY)
    use = site_water_use(site, season_year=2015, until=dt.date(2015, 10, 31))
    assert replay.got_l == pytest.approx(use.bridge.expected_l)
    assert 0 < replay.unscheduled_days <= 90  # growing days before April
    assert all(0 < line.lost_irrigation_mm < line.got_mm for line in replay.zones)


def test_minutes_of_a_day_are_those_of_the_programs_and_none_while_paused(published, site):
    pause(sites=[site], starts_on=dt.date(2015, 4, 6), ends_on=dt.date(2015, 4, 12), reason="frost", by=None)
    runs = daily_runs([site], APRIL, dt.date(2015, 4, 30))[site.pk]
    program = published.programs.first()
    step = program.steps.first()
    minutes = runs.minutes[step.zone_id]
    for place in range(30):
        date = APRIL + dt.timedelta(days=place)
        runs_then = date.weekday() in program.weekdays and not 6 <= date.day <= 12
        assert minutes[place] == (step.run_time_min if runs_then else 0)
    assert runs.settled_from == 0


def test_without_a_published_schedule_the_season_shows_stress_and_says_so(seattle, site):
    replay = site_replay(site, season_year=2015, today=TODAY)
    assert replay.got_l == 0
    assert replay.unscheduled_days > 200
    assert all(line.stress_days > 60 > line.best_stress_days for line in replay.zones)


def test_the_months_of_a_zone_add_up_to_its_season(published, site):
    sheet = zone_season_sheet(site.zones.get(number=1), season_year=2015, today=TODAY)
    assert sum(month.irrigation_mm for month in sheet.months) == pytest.approx(sheet.line.got_mm)
    assert sum(month.stress_days for month in sheet.months) == sheet.line.stress_days
    assert [month.month for month in sheet.months] == list(range(1, 11))
    assert len(sheet.chart.depletion_points.split()) == 304


def test_a_site_without_weather_says_what_it_needs(site, client, office):
    with pytest.raises(NotEnough, match="a full year of daily weather"):
        site_replay(site, season_year=2015, today=TODAY)
    client.force_login(office)
    page = client.get(reverse("scheduling:site_season", args=[site.pk, 2015])).content.decode()
    assert "Cannot be computed: needs a full year" in page


def test_better_uniformity_saves_what_the_multiplier_says(seattle, site, tariff):
    """SM = 1/(0.4 + 0.6 DU) (Irrigation Association 2005): from 0.65 to 0.70 the water falls by 3.66 %."""
    found = what_if(site, 2015, "even")
    assert found.after.litres / found.before.litres == pytest.approx((0.4 + 0.6 * 0.65) / (0.4 + 0.6 * 0.70))
    assert found.after.stress_days == found.before.stress_days
    assert found.cost_change == pytest.approx((found.after.litres - found.before.litres) / 1000 * 2)


def test_mulch_and_drip_touch_beds_and_leave_turf(seattle, site):
    site.zones.filter(number=2).update(planting="shrubs")
    for key in ("mulch", "drip"):
        turf, shrubs = what_if(site, 2015, key).zones
        assert (turf.touched, shrubs.touched) == (False, True)
        assert turf.after_l == turf.before_l
        assert shrubs.after_l < shrubs.before_l


def test_two_days_a_week_never_stress_less_and_the_driest_year_takes_the_most(seattle, site):
    days = what_if(site, 2015, "two_days")
    assert days.after.stress_days >= days.before.stress_days
    driest = what_if(site, 2012, "hot_year")
    assert driest.after.litres > driest.before.litres
    assert driest.detail[:5] in ("2013:", "2014:", "2015:")
    assert what_if(site, int(driest.detail[:4]), "hot_year").litres_percent == 0


def test_pages_show_chart_and_table_and_every_change(published, site, client, office, tariff):
    client.force_login(office)
    zone = site.zones.get(number=1)
    season = client.get(reverse("scheduling:site_season", args=[site.pk, 2015])).content.decode()
    assert reverse("scheduling:zone_season", args=[zone.pk, 2015]) in season
    page = client.get(reverse("scheduling:zone_season", args=[zone.pk, 2015])).content.decode()
    assert page.count("<tr>") == 13
    assert 'class="depletion"' in page
    changes = client.get(reverse("scheduling:what_if", args=[site.pk, 2015])).content.decode()
    for one in what_ifs(site, 2015):
        assert one.change.label in changes
    assert client.get(reverse("scheduling:site_season", args=[site.pk, 3000])).status_code == 404


def test_what_is_in_no_sum_of_a_what_if_is_named(seattle, site, client, office):
    site.zones.filter(number=1).update(area_m2=None, flow_l_min=None)
    site.zones.filter(number=2).update(area_m2=None, flow_l_min=None, application_rate_mm_h=None)
    client.force_login(office)
    page = client.get(reverse("scheduling:what_if", args=[site.pk, 2015])).content.decode()
    assert "flow and area unknown: 1 Zone 1." in page
    assert "Zone 2 Zone 2 is not in it: needs application rate and area" in page


def test_a_wet_winter_makes_no_dry_summer_wet():
    """Two years of equal ET and rain: rain in January leaves July to be watered, rain in July does not."""
    dates = np.arange(np.datetime64("2021-01-01"), np.datetime64("2022-01-01"))
    months = dates.astype("datetime64[M]").astype(int) % 12
    et = np.where(months == 6, 5.0, 1.0)
    winter_rain, summer_rain = (np.where(months == month, 5.0, 0.0) for month in (0, 6))
    all_year = np.ones(12, np.bool_)
    dry, wet = (left_by_rain_mm(Days(dates, et, rain), all_year) for rain in (winter_rain, summer_rain))
    assert dry == pytest.approx(365 + 4 * 31 - 31)
    assert wet == pytest.approx(365 - 31)
    assert left_by_rain_mm(Days(dates, et, winter_rain), months[:12] > 99) == 0
