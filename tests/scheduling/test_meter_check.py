"""The meter against the schedule with its band, leaks off season, and the allowance of the landscape."""

import datetime as dt

import pytest

from scheduling.actions.schedules import compute_draft, publish
from scheduling.core.water.meter import expected_band
from scheduling.queries.meter_check import meter_check
from scheduling.queries.published import daily_runs
from scheduling.queries.site_budget import site_budget
from tests import factories

APRIL, TODAY = dt.date(2015, 4, 1), dt.date(2015, 11, 1)
READS = [dt.date(2014, 12, 5), dt.date(2015, 2, 20), dt.date(2015, 6, 1), dt.date(2015, 8, 1)]


@pytest.fixture
def metered(seattle, site):
    """Four reads that show just what the schedule let through: two zones of 20 L/min."""
    since = dt.date(2014, 12, 1)
    publish(schedule=compute_draft(site=site, today=APRIL, by=None, month=4), by=None, on=since)
    site.refresh_from_db()
    meter = factories.MeterFactory(site=site)
    runs = daily_runs([site], READS[0], READS[-1])[site.pk]
    litres = sum(minutes for minutes in runs.minutes.values()) * 20
    for day in READS:
        register = 100 + litres[: (day - READS[0]).days].sum() / 1000
        factories.MeterReadingFactory(meter=meter, read_on=day, register=f"{register:.3f}")
    return meter


def add(meter, from_day, m3):
    for read in meter.readings.filter(read_on__gte=from_day):
        read.register = float(read.register) + m3
        read.save()


def test_a_meter_that_shows_what_was_scheduled_is_within_the_band_and_no_leak(metered):
    check = meter_check(metered.site, TODAY)
    assert [span.verdict for span in check.spans] == ["within"] * 3
    assert check.spans[1].metered_l == pytest.approx(check.spans[1].expected_l, abs=1)
    assert check.leak is False


def test_water_that_runs_while_nothing_is_to_be_irrigated_is_a_likely_leak(metered):
    add(metered, READS[1], 60)
    check = meter_check(metered.site, TODAY)
    assert check.spans[0].verdict == "above"
    assert check.leak is True
    assert check.off_season_l_per_day == pytest.approx(60_000 / (READS[1] - READS[0]).days)


def test_twice_the_water_in_a_span_lies_above_the_band(metered):
    usual = meter_check(metered.site, TODAY).spans[2]
    add(metered, READS[3], usual.expected_l / 1000)
    assert [span.verdict for span in meter_check(metered.site, TODAY).spans] == ["within", "within", "above"]


def test_a_span_without_a_published_schedule_tells_nothing(metered):
    factories.MeterReadingFactory(meter=metered, read_on=dt.date(2014, 11, 1), register=10)
    first = meter_check(metered.site, TODAY).spans[0]
    assert (first.verdict, first.remark) == ("", "no schedule was published on all of these days")
    assert meter_check(metered.site, TODAY).leak is False


def test_the_band_adds_zones_as_squares_and_what_is_common_in_full():
    """Two zones of 100 L: measured 8 %, design 20 %: sqrt(64 + 400) + 5 % of 200 = 31.54 (common practice)."""
    low, high = expected_band([100.0, 100.0], ["measured", "register"])
    assert (low, high) == pytest.approx((200 - 31.5407, 200 + 31.5407), abs=1e-4)


def test_a_landscape_that_is_not_residential_is_allowed_less_and_a_special_area_more(seattle, site):
    """CCR-23: ETAF 0.55 and 0.45; (1 - ETAF) of the special area comes on top."""
    home = site_budget(site).allowance_l
    site.residential = False
    other = site_budget(site).allowance_l
    assert other / home == pytest.approx(0.45 / 0.55)
    site.special_landscape_m2 = 50.0  # a quarter of the 200 m2
    assert site_budget(site).allowance_l / other == pytest.approx((0.45 + 0.55 / 4) / 0.45)
