"""One site for each cause in the way from planned to used water, its figures recomputed by hand.

Both zones run 20 L/min. The programs are put on every day at 10 minutes, so a zone takes 200 L a day, the site 400 L.
"""

import datetime as dt

import numpy as np
import pytest

from jobs.actions.faults import at_place, dismiss_fault, record_fault, repair_fault
from jobs.models import Fault
from scheduling.actions.pauses import pause
from scheduling.actions.schedules import compute_draft, publish, record_applied
from scheduling.models import DailyWeather
from scheduling.queries.metered import meter_days
from scheduling.queries.site_budget import cost_of_months
from scheduling.queries.water_use import site_water_use
from sites.models import Tariff, TariffBlock
from tests import factories

JULY = dt.date(2015, 7, 1)
UNTIL = dt.date(2015, 7, 31)
DAY_L = 400.0


def at(day):
    """Noon at the site."""
    return dt.datetime(2015, 7, day, 19, tzinfo=dt.UTC)


def publish_daily(site, minutes=10, on=JULY):
    draft = compute_draft(site=site, today=on, by=None, month=7)
    program = draft.programs.get()
    draft.programs.update(weekdays=list(range(7)))
    program.steps.update(run_time_min=minutes, enabled=True, cycles=1)
    return publish(schedule=draft, by=None, on=on)


@pytest.fixture
def daily(seattle, site):
    """Published on 1 July, 10 minutes a day each zone; set from afar, so what is published is set."""
    site.controllers.update(set_by_hand=False)
    publish_daily(site)
    site.refresh_from_db()
    return site


def bridge(site, until=UNTIL):
    return site_water_use(site, season_year=2015, until=until).bridge


def found(site, kind, place=None, severity="plants_at_risk", day=10):
    """A fault found at noon of a day of July."""
    fault = Fault(site=site, kind=kind, severity=severity, found_at=at(day), **at_place(place))
    return record_fault(fault=fault, by=None)[0]


def metered(site, *reads):
    meter = factories.MeterFactory(site=site, unit="m3")
    for day, register in reads:
        factories.MeterReadingFactory(meter=meter, read_on=dt.date(2015, 7, day), counter=register)
    return meter


def test_without_any_cause_all_that_is_planned_is_used(daily):
    told = bridge(daily)

    assert (told.planned_l, told.expected_l, told.used_l) == (31 * DAY_L, 31 * DAY_L, 31 * DAY_L)
    assert not told.metered
    assert told.rest_l == 0


@pytest.mark.parametrize("state", ["off", "winter", "filling"])
def test_days_on_which_the_site_is_off_use_nothing(daily, state):
    """On from 1 July, off from 11 to 20 July: 10 days of 400 L."""
    for on, to in ((JULY, "on"), (dt.date(2015, 7, 11), state), (dt.date(2015, 7, 21), "on")):
        factories.StateChangeFactory(site=daily, state=to, changed_on=on)

    told = bridge(daily)

    assert (told.off_l, told.expected_l) == (4000, 12400 - 4000)
    assert told.used_l == 8400


def test_days_before_the_startup_and_after_the_winterisation_do_not_count(daily):
    factories.StateChangeFactory(site=daily, state="on", changed_on=dt.date(2015, 7, 6))
    factories.StateChangeFactory(site=daily, state="winter", changed_on=dt.date(2015, 7, 30))

    assert bridge(daily).used_l == 24 * DAY_L  # 6 to 29 July
    assert bridge(daily, dt.date(2015, 7, 5)).used_l == 0


def test_a_pause_takes_its_days_off_but_not_those_the_site_was_off_anyway(daily):
    """Paused 5 to 9 July, off from 8 July on: three days of the pause count as paused."""
    pause(sites=[daily], starts_on=dt.date(2015, 7, 5), ends_on=dt.date(2015, 7, 9), reason="rain", by=None)
    factories.StateChangeFactory(site=daily, state="on", changed_on=dt.date(2015, 6, 1))
    factories.StateChangeFactory(site=daily, state="off", changed_on=dt.date(2015, 7, 8))

    told = bridge(daily)

    assert (told.paused_l, told.paused_days, told.off_l) == (3 * DAY_L, 3, 24 * DAY_L)
    assert told.used_l == 4 * DAY_L


@pytest.mark.parametrize("kind", ["coil_open", "coil_short", "valve_stuck_shut"])
def test_a_fault_that_stops_a_zone_counts_from_the_day_after_it_was_found_to_the_day_before_its_repair(daily, kind):
    """Found on 10 July, repaired on the 16th: 11 to 15 July, five days of one zone's 200 L."""
    valve = daily.zones.get(number=1).valve
    fault = found(daily, kind, valve)
    assert bridge(daily).stopped_l == 21 * 200, "still open: 11 to 31 July"

    repair_fault(fault=fault, note="new coil", repaired_at=at(16), by=None)

    told = bridge(daily)
    (line,) = told.stopped
    assert (line.first, line.last, line.litres) == (dt.date(2015, 7, 11), dt.date(2015, 7, 15), 1000)
    assert told.expected_l == 31 * DAY_L - 1000


def test_a_dismissed_fault_and_one_that_only_lessens_the_flow_stop_nothing(daily):
    zone = daily.zones.get(number=1)
    dismiss_fault(fault=found(daily, "coil_open", zone), reason="meter lead broken", by=None)
    for kind in ("head_blocked", "low_pressure", "high_resistance"):
        found(daily, kind, zone)

    assert bridge(daily).stopped == ()
    assert bridge(daily).expected_l == 31 * DAY_L


def test_a_master_valve_that_does_not_open_stops_all_zones_behind_it(daily):
    master = factories.ValveFactory(controller=daily.controllers.get(), is_master=True, terminal=None, name="Master")
    found(daily, "valve_stuck_shut", master, day=21)

    assert bridge(daily).stopped_l == 10 * DAY_L  # 22 to 31 July


def test_a_hand_set_controller_waters_by_what_was_set_on_it_from_that_day_on(seattle, site, technician):
    """5 minutes published on 1 July and set that day; 10 minutes published on the 11th, set on the 21st.

    Planned: 10 x 200 + 21 x 400. Run: 20 x 200 + 11 x 400, so 10 days of 200 L less.
    """
    site.controllers.update(set_by_hand=True)
    first = publish_daily(site, minutes=5)
    controller = site.controllers.get()
    record_applied(schedule=first, controller=controller, applied_on=JULY, by=technician)
    second = publish_daily(site, minutes=10, on=dt.date(2015, 7, 11))
    site.refresh_from_db()
    assert bridge(site).set_otherwise_l == 10 * 200 - 21 * 400 + 11 * 200, "nobody has set the second one"

    record_applied(schedule=second, controller=controller, applied_on=dt.date(2015, 7, 21), by=technician)

    told = bridge(site)
    assert (told.planned_l, told.set_otherwise_l) == (10 * 200 + 21 * 400, -10 * 200)
    assert told.used_l == 20 * 200 + 11 * 400


def test_a_hand_set_controller_without_a_note_counts_from_the_publication(seattle, site):
    site.controllers.update(set_by_hand=True)
    publish_daily(site)
    site.refresh_from_db()

    assert bridge(site).expected_l == 31 * DAY_L


def test_the_meter_is_what_was_used_and_the_rest_is_not_explained(daily):
    """10 m3 between 1 and 21 July, where 20 days of 400 L are expected: 2,000 L nobody explains."""
    metered(daily, (1, 100), (21, 110))

    told = bridge(daily)

    assert (told.metered_l, told.metered_from, told.metered_until) == (
        pytest.approx(10_000),
        dt.date(2015, 7, 1),
        dt.date(2015, 7, 21),
    )
    assert told.used_l == pytest.approx(10_000 + 11 * DAY_L)  # the reads end on the 21st
    assert told.rest_l == pytest.approx(2000)
    assert told.metered_days == 20


def test_between_two_reads_the_water_is_spread_as_the_schedule_has_it(daily):
    """Off until 20 July: the meter's 4 m3 between 1 and 31 July ran on the 11 days since."""
    factories.StateChangeFactory(site=daily, state="on", changed_on=dt.date(2015, 7, 21))
    meter = metered(daily, (1, 100), (31, 104))

    (days,) = meter_days(daily, JULY, np.array([0.0] * 20 + [400.0] * 11))

    assert days.daily_l[:20].sum() == 0
    assert days.daily_l[20:30].sum() == pytest.approx(4000)
    assert days.over(JULY, UNTIL).meter_id == meter.pk


def test_reads_that_do_not_tell_leave_the_expected_water(daily):
    """The register fell between the 11th and the 21st by more than a rollover can mean."""
    metered(daily, (1, 100), (11, 104), (21, 90))

    told = bridge(daily)

    assert told.metered_l == pytest.approx(4000)
    assert told.used_l == pytest.approx(4000 + 21 * DAY_L)


def test_a_meter_of_the_whole_house_is_not_the_irrigation_s(daily):
    metered(daily, (1, 100), (21, 150)).__class__.objects.update(irrigation_only=False)

    told = bridge(daily)

    assert not told.metered
    assert told.used_l == 31 * DAY_L


def test_a_new_meter_takes_over_where_the_old_one_was_removed(daily):
    old = metered(daily, (1, 100), (11, 105))
    old.removed_on = dt.date(2015, 7, 11)
    old.save()
    metered(daily, (11, 0), (21, 3))

    told = bridge(daily)

    assert told.metered_l == pytest.approx(8000)
    assert told.metered_days == 20


def test_a_weeping_valve_is_told_but_not_guessed(daily):
    metered(daily, (1, 100), (31, 115))
    found(daily, "valve_weeps", daily.zones.get(number=2).valve, "water_loss")

    told = bridge(daily)

    (line,) = told.added
    assert (line.litres, line.first, told.added_l) == (None, dt.date(2015, 7, 11), 0)
    assert told.unmeasured == (line,)
    assert told.rest_l == pytest.approx(15_000 - 30 * DAY_L)  # with what nobody measured


def test_a_leak_measured_in_a_night_without_watering_is_an_addition(daily):
    """60 L in the ten hours to 13 July 08:00 are 6 L/h; open from the 11th to the 31st: 21 days of 144 L."""
    pause(sites=[daily], starts_on=dt.date(2015, 7, 12), ends_on=dt.date(2015, 7, 13), reason="leak test", by=None)
    meter = factories.MeterFactory(site=daily, unit="m3")
    for day, hour, register in ((12, 22, "104.000"), (13, 8, "104.060")):
        factories.MeterReadingFactory(
            meter=meter, read_on=dt.date(2015, 7, day), read_at=dt.time(hour), counter=register
        )
    found(daily, "pipe_leak", severity="water_loss")

    (line,) = bridge(daily).added

    assert line.measured_l_h == pytest.approx(6)
    assert line.litres == pytest.approx(21 * 144)


def test_last_year_is_compared_on_the_days_known_in_both_and_corrected_by_weather(seattle, site):
    """Published since 1 July 2014 with the same minutes: the same water, in a year with another need."""
    site.controllers.update(set_by_hand=False)
    draft = compute_draft(site=site, today=dt.date(2014, 7, 1), by=None, month=7)
    publish(schedule=draft, by=None, on=dt.date(2014, 7, 1))
    site.refresh_from_db()

    years = site_water_use(site, season_year=2015, until=dt.date(2015, 8, 31)).against_last_year

    assert (years.first, years.last, years.days) == (JULY, dt.date(2015, 8, 31), 62)
    assert years.this_need_mm > 0 and years.last_need_mm > 0
    # normalised use = use x normal need / need of the year, so the change is the ratio of both
    ratio = years.this_l / years.this_need_mm / (years.last_l / years.last_need_mm)
    assert years.change_percent == pytest.approx(100 * (ratio - 1))
    assert years.saved_l == pytest.approx(years.last_l * years.this_need_mm / years.last_need_mm - years.this_l)


def test_the_year_s_need_is_et_less_rain_by_month_from_the_station_s_days(seattle, site):
    site.controllers.update(set_by_hand=False)
    begins = dt.date(2014, 7, 1)
    publish(schedule=compute_draft(site=site, today=begins, by=None, month=7), by=None, on=begins)
    site.refresh_from_db()

    years = site_water_use(site, season_year=2015, until=dt.date(2015, 8, 31)).against_last_year

    for year, need in ((2015, years.this_need_mm), (2014, years.last_need_mm)):
        by_hand = 0.0
        for month in (7, 8):
            rows = DailyWeather.objects.filter(station=seattle, date__year=year, date__month=month)
            by_hand += max(0.0, sum(row.eto_mm for row in rows) - sum(row.precipitation_mm for row in rows))
        assert need == pytest.approx(by_hand)


def test_the_bill_is_for_the_water_used_month_by_month(daily):
    daily.tariff = Tariff.objects.create(name="Town", fixed_per_month=10)
    TariffBlock.objects.create(tariff=daily.tariff, from_m3=0, price_per_m3=2)
    daily.save()
    metered(daily, (1, 100), (31, 115))

    use = site_water_use(daily, season_year=2015, until=UNTIL)

    assert use.used_by_month_l[6] == pytest.approx(15_000 + DAY_L)
    assert use.cost.volume_l == pytest.approx(use.used_l)
    assert (use.cost.months, use.cost.fixed) == (7, 70)
    assert use.cost.water == pytest.approx(2 * 15.4)
    assert cost_of_months(daily, [0.0] * 7).total == 70


@pytest.mark.parametrize(
    ("today", "days"),
    [
        (dt.date(2015, 2, 1), 0),
        (dt.date(2015, 4, 5), 0),
        (dt.date(2015, 7, 25), 25),
        (dt.date(2015, 10, 1), None),
        (dt.date(2015, 11, 30), None),
    ],
)
def test_on_five_dates_of_the_year_nothing_is_used_while_the_site_is_off(daily, today, days):
    """On from 1 July to 19 September; asked on five days."""
    factories.StateChangeFactory(site=daily, state="on", changed_on=JULY)
    factories.StateChangeFactory(site=daily, state="winter", changed_on=dt.date(2015, 9, 20))

    use = site_water_use(daily, season_year=2015, until=today)

    months = use.used_by_month_l
    assert sum(months[:6]) == 0 == sum(months[9:])
    if days is not None:
        assert use.used_l == days * DAY_L
    else:
        assert use.bridge.off_l > 0 or use.bridge.planned_l == pytest.approx(use.used_l)
        assert use.used_l == pytest.approx(site_water_use(daily, season_year=2015, until=dt.date(2015, 9, 19)).used_l)
