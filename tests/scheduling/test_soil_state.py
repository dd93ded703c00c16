"""The coming week's programs from the soil's state this morning, the published run times and the days ahead."""

import datetime as dt

import pytest

from scheduling.actions.pauses import pause
from scheduling.actions.schedules import compute_draft, publish
from scheduling.models import DailyWeather, ForecastDay
from scheduling.queries.explain import explain

SINCE, TODAY = dt.date(2015, 7, 1), dt.date(2015, 7, 20)
TAW, RAW, NET_PER_MIN = 25.5, 12.75, 12.0 / 60 * (0.4 + 0.6 * 0.65)  # loam 170 mm/m, 0.15 m, MAD 0.5; DU 0.65


@pytest.fixture
def published(seattle, site):
    return publish(schedule=compute_draft(site=site, today=SINCE, by=None, month=7), by=None, on=SINCE)


def by_hand(published, zone, until):
    """FAO-56 Eq. 85 to 88 day by day from the middle of a cycle, turf Kc of July 0.94."""
    program = published.programs.get()
    minutes = program.steps.get(zone=zone).run_time_min
    depletion = 0.5 * RAW
    days = DailyWeather.objects.filter(date__range=(SINCE, until - dt.timedelta(days=1))).order_by("date")
    for day in days:
        ks = min(1.0, (TAW - depletion) / (TAW - RAW))
        rain = day.precipitation_mm if day.precipitation_mm >= 0.2 * day.eto_mm else 0.0
        net = minutes * NET_PER_MIN if day.date.weekday() in program.weekdays else 0.0
        depletion = max(0.0, depletion - rain - net + ks * 0.94 * day.eto_mm)
    return depletion


def depletion(draft):
    """This morning's depletion by zone, as the draft kept it."""
    return {zone: week["mornings_depletion_mm"][0] for zone, week in draft.basis["advice"].items()}


def test_the_draft_starts_from_the_depletion_that_a_plain_loop_finds(published):
    draft = compute_draft(site=published.site, today=TODAY, by=None)
    zone = published.site.zones.get(number=1)
    assert draft.basis["rule"] == "the soil's daily balance up to yesterday and the coming week"
    assert depletion(draft)[str(zone.pk)] == pytest.approx(by_hand(published, zone, TODAY), abs=1e-3)
    ahead = explain(draft, zone, 7).ahead
    assert not ahead.assumed
    for before, after in zip(ahead.mornings, ahead.mornings[1:], strict=False):
        expected = before.depletion_mm - before.depth_mm + before.demand_mm - before.counted_mm
        assert after.depletion_mm == pytest.approx(max(expected, 0.0), abs=0.01)


def test_a_pause_leaves_the_soil_drier_and_the_next_week_longer(published):
    usual = compute_draft(site=published.site, today=TODAY, by=None)
    before, litres = depletion(usual), usual.litres_per_week
    pause(
        sites=[published.site], starts_on=dt.date(2015, 7, 15), ends_on=dt.date(2015, 7, 19), reason="works", by=None
    )
    dry = compute_draft(site=published.site, today=TODAY, by=None)
    assert all(depletion(dry)[zone] > before[zone] for zone in before)
    assert dry.litres_per_week > litres


def test_rain_in_an_entered_forecast_shortens_the_week(published, seattle):
    dry = compute_draft(site=published.site, today=TODAY, by=None).litres_per_week
    for number in range(3):
        ForecastDay.objects.create(
            station=seattle, date=TODAY + dt.timedelta(days=number), temp_max_c=18, temp_min_c=12, eto_mm=2.5,
            precipitation_mm=15, rain_chance_percent=80,
        )  # fmt: skip
    wet = compute_draft(site=published.site, today=TODAY, by=None)
    assert wet.litres_per_week < 0.7 * dry
    assert wet.basis["forecast_days"] == 3
    (week, _) = wet.basis["advice"].values()
    assert week["mornings_counted_mm"][:3] == [12.0, 12.0, 12.0]


def test_a_schedule_of_less_than_two_weeks_says_too_little_about_the_soil(published):
    zone = published.site.zones.get(number=1)
    early = compute_draft(site=published.site, today=SINCE + dt.timedelta(days=13), by=None)
    assert explain(early, zone, 7).ahead.assumed
    settled = compute_draft(site=published.site, today=SINCE + dt.timedelta(days=14), by=None)
    assert not explain(settled, zone, 7).ahead.assumed
