"""The meter against the schedule with its band, leaks off season, and the allowance of the landscape."""

import datetime as dt
from decimal import Decimal

import pytest
from django.urls import reverse

from scheduling.actions.pauses import pause
from scheduling.actions.schedules import compute_draft, publish
from scheduling.core.water.meter import expected_band
from scheduling.models import ZoneMonth
from scheduling.queries.meter_check import meter_check
from scheduling.queries.published import daily_runs
from scheduling.queries.site_budget import site_budget
from sites.models import Firm, Site
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
        counter = 100 + litres[: (day - READS[0]).days].sum() / 1000
        factories.MeterReadingFactory(meter=meter, read_on=day, counter=f"{counter:.3f}")
    return meter


def add(meter, from_day, m3):
    for read in meter.readings.filter(read_on__gte=from_day):
        read.counter = float(read.counter) + m3
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


def test_a_winter_with_the_supply_shut_off_does_not_hide_the_leak_before_it(metered):
    """4 m3 in a fortnight, then nothing: over the whole winter that is no tenth of the season's use a day."""
    factories.MeterReadingFactory(meter=metered, read_on=dt.date(2014, 12, 19), counter="100.000")
    add(metered, dt.date(2014, 12, 19), 4)
    check = meter_check(metered.site, TODAY)
    busy = check.spans[2:]
    tenth = 0.1 * sum(span.metered_l for span in busy) / sum(span.days for span in busy)
    assert 4000 / (READS[1] - READS[0]).days < tenth < 4000 / 14
    assert check.leak is True
    assert (check.leak_from, check.leak_until) == (READS[0], dt.date(2014, 12, 19))
    assert check.off_season_l_per_day == pytest.approx(4000 / 14)
    assert not check.leak_is_latest


def test_a_zone_that_ran_with_an_unknown_flow_is_named(metered):
    assert not any(span.remark for span in meter_check(metered.site, TODAY).spans)
    for row in ZoneMonth.objects.filter(zone__number=1):
        row.derivation["flow_l_min"] = None  # nobody knew it when the schedule was computed
        row.save()
    first, *season = meter_check(Site.objects.get(pk=metered.site.pk), TODAY).spans
    assert first.remark == ""  # nothing was to run
    assert {span.remark for span in season} == {"expected without zone 1 Zone 1: flow not known"}


def test_twice_the_water_in_a_span_lies_above_the_band(metered):
    usual = meter_check(metered.site, TODAY).spans[2]
    add(metered, READS[3], usual.expected_l / 1000)
    assert [span.verdict for span in meter_check(metered.site, TODAY).spans] == ["within", "within", "above"]


def test_a_span_without_a_published_schedule_tells_nothing(metered):
    factories.MeterReadingFactory(meter=metered, read_on=dt.date(2014, 11, 1), counter=10)
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


# Nights


def night(meter, evening, litres, *, from_hour=22, to_hour=6, step="0.001"):
    """Two reads around the night after the day `evening`, with the times they were taken at."""
    before = float(meter.readings.filter(read_on__lt=evening).order_by("-read_on").first().counter) + 1
    for day, hour, counter in (
        (evening, from_hour, before),
        (evening + dt.timedelta(days=1), to_hour, before + litres / 1000),
    ):
        value = Decimal(f"{counter:.3f}").quantize(Decimal(step))
        factories.MeterReadingFactory(meter=meter, read_on=day, read_at=dt.time(hour), counter=value)


WINTER, SUMMER = dt.date(2015, 1, 10), dt.date(2015, 7, 7)


def test_a_night_without_scheduled_watering_tells_a_leak_by_its_flow(metered):
    """66 L in 8 h are 8.25 L/h (by hand)."""
    night(metered, WINTER, 66)
    (found,) = meter_check(metered.site, TODAY).nights
    assert (found.remark, found.hours, found.leaks) == ("", 8.0, True)
    assert found.flow.litres_per_hour == pytest.approx(8.25)
    assert found.flow.m3_per_month == pytest.approx(8.25 * 24 * 30.4 / 1000)
    assert found.flow.smallest_tellable_l_h == pytest.approx(1 / 8)


def test_a_movement_of_one_step_of_the_register_is_nothing(metered):
    night(metered, WINTER, 1)
    assert meter_check(metered.site, TODAY).last_quiet_night.leaks is False


def test_a_register_read_in_whole_units_tells_less(metered):
    """Whole cubic metres: one step in 8 h is 125 L/h, so 1 m3 may be nothing and 2 m3 are a leak."""
    for read in metered.readings.all():
        read.counter = round(read.counter)
        read.save()
    night(metered, WINTER, 1000, step="1")
    night(metered, dt.date(2015, 2, 1), 2000, step="1")
    small, large = meter_check(metered.site, TODAY).nights
    assert (small.flow.smallest_tellable_l_h, small.leaks, large.leaks) == (125.0, False, True)


def test_a_night_of_scheduled_watering_tells_nothing_unless_it_was_paused(metered):
    night(metered, SUMMER, 66)
    (found,) = meter_check(metered.site, TODAY).nights
    assert (found.remark, found.leaks) == ("watering was scheduled on these days", False)
    pause(sites=[metered.site], starts_on=SUMMER, ends_on=SUMMER + dt.timedelta(days=1), reason="leak test", by=None)
    (found,) = meter_check(metered.site, TODAY).nights
    assert (found.remark, found.leaks) == ("", True)


def test_a_night_is_not_held_against_the_days_expected_water(metered):
    night(metered, WINTER, 66)
    (span,) = [one for one in meter_check(metered.site, TODAY).spans if one.first == WINTER]
    assert (span.verdict, span.remark) == ("", "one night, see below")


@pytest.mark.parametrize("changed", [{"estimated": True}, {"read_at": None}])
def test_estimated_reads_and_reads_without_a_time_make_no_night(metered, changed):
    night(metered, WINTER, 66)
    metered.readings.filter(read_on=WINTER).update(**changed)
    assert meter_check(metered.site, TODAY).nights == ()


def test_the_page_shows_the_night_in_the_firms_units(metered, client, office, monkeypatch):
    night(metered, WINTER, 66)
    client.force_login(office)
    monkeypatch.setattr("django.utils.timezone.localdate", lambda: TODAY)
    address = reverse("scheduling:site_watering", args=[metered.site.pk])
    assert "8.2 L/h" in client.get(address).content.decode()
    Firm.objects.update(units=Firm.Units.US)
    assert "2.18 gal/h" in client.get(address).content.decode()
