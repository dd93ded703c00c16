"""What was tested by hand in season: meters read around a night without watering, and cans set out over a zone."""

import datetime as dt
from collections.abc import Callable, Sequence
from decimal import Decimal

from config.demo.dice import dice
from scheduling.actions.catch_cans import record_test
from scheduling.models import CatchCanTest, WateringPause
from sites.core.metering import REGISTER_UNITS_M3
from sites.models import Meter, MeterReading, Site, User, Zone

SEASON = ((4, 21), (10, 8))  # first and last day of tests: a schedule is in force and the water is on
# Place among the sites -> what runs through its meter at night although no valve is open, L/h.
LEAK_TESTS = {1: 0.0, 4: 7.5}
EVENING, MORNING = dt.time(21, 40), dt.time(6, 10)
NIGHT_H = 8.5
CANS, CANS_PER_ROW, MOUTH_CM2, MINUTES = 24, 6, 85.0, 15.0
SPRAYS = ("fixed_spray", "rotating_nozzle", "rotor")


def season_day(today: dt.date, days_ago: int) -> dt.date:
    """The latest day in season that many days ago or longer."""
    first, last = (dt.date(today.year, *day) for day in SEASON)
    day = min(today - dt.timedelta(days=days_ago), last)
    return day if day >= first else last.replace(year=today.year - 1)


def leak_test_evening(today: dt.date) -> dt.date:
    """An evening after which the morning is no first of a month, when every meter is read anyway."""
    day = season_day(today, 3)
    while 1 in (day.day, (day + dt.timedelta(days=1)).day):
        day -= dt.timedelta(days=1)
    return day


def leak_test_pauses(sites: Sequence[Site], today: dt.date) -> list[WateringPause]:
    """Watering stopped for the two days, without which a night tells nothing."""
    evening = leak_test_evening(today)
    morning = evening + dt.timedelta(days=1)
    return [
        WateringPause(site=sites[place], starts_on=evening, ends_on=morning, reason="Meter read overnight")
        for place in LEAK_TESTS
    ]


def with_leak_test(
    rows: list[MeterReading],
    meter: Meter,
    place: int,
    today: dt.date,
    between: Callable[[dt.date, dt.date], float],
    read_by: User,
) -> list[MeterReading]:
    """A meter's monthly `rows` and, where a test was made, the two of its night; what leaks runs on after it.

    `between` gives the counter units that the schedule lets through from one day up to another.
    """
    if place not in LEAK_TESTS:
        return rows
    evening = leak_test_evening(today)
    leak = LEAK_TESTS[place] / 1000 / REGISTER_UNITS_M3[meter.unit]
    *_, before = (row for row in rows if row.read_on < evening)
    after = next((row for row in rows if row.read_on > evening), None)
    start = float(before.counter)
    used = between(before.read_on, evening)
    if after is None:
        start += used
    elif used:
        start += float(after.counter - before.counter) * used / between(before.read_on, after.read_on)
    for row in rows:
        if row.read_on > evening:
            row.counter += Decimal(f"{leak * 24 * (row.read_on - evening).days:.3f}")
    night = [
        MeterReading(
            meter=meter,
            read_on=day,
            read_at=time,
            counter=Decimal(f"{counter:.3f}"),
            read_by=read_by,
            note="Leak test, watering paused",
        )
        for day, time, counter in (
            (evening, EVENING, start),
            (evening + dt.timedelta(days=1), MORNING, start + leak * NIGHT_H),
        )
    ]
    return [*rows, *night]


def record_catch_cans(*, seed: int, today: dt.date, site_id: int, by: User) -> None:
    """One test of the site's first sprayed zone, a little less even than its design."""
    zone = (
        Zone.objects.filter(site=site_id, emitter__in=SPRAYS)
        .exclude(application_rate_mm_h=None)
        .exclude(distribution_uniformity=None)
        .order_by("number")
        .first()
    )
    if zone is None:
        return
    rng = dice(seed, "cans")
    assert zone.application_rate_mm_h and zone.distribution_uniformity
    mean_ml = 0.95 * zone.application_rate_mm_h * MOUTH_CM2 * MINUTES / 600
    # The driest quarter of normally spread catches lies 1.27 standard deviations below their mean.
    spread_ml = mean_ml * (1.05 - zone.distribution_uniformity) / 1.27
    test = CatchCanTest(
        zone=zone,
        tested_on=season_day(today, 9),
        minutes=MINUTES,
        mouth_cm2=MOUTH_CM2,
        wind_m_s=1.2,
        catches_ml=[max(2.0, round(rng.gauss(mean_ml, spread_ml))) for _ in range(CANS)],
        cans_per_row=CANS_PER_ROW,
        note="Two heads stand low at the far corner.",
    )
    record_test(test=test, by=by)
