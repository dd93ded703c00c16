"""Meter readings once a month in season: what the published schedules let through, give or take, and one leak.

Two meters were read around a night as well, see `field_tests`.
"""

import datetime as dt
from collections import defaultdict
from decimal import Decimal

from django.db.models import Sum

from config.demo.dice import dice
from config.demo.field_tests import with_leak_test
from config.demo.register import Progress
from config.demo.seasons import Stop
from config.demo.sketches import PLANTED, Mistake
from scheduling.models import ZoneMonth
from sites.core.metering import REGISTER_UNITS_M3
from sites.models import Meter, MeterReading, User

MONTHS = range(4, 12)  # read on the first of April to the first of November
NOISE = 0.06
LEAK_M3_A_DAY = 2.4
LEAK_SINCE = (7, 10)  # month and day, this season or, before that day, the last one
BATCH = 200


def make_readings(*, seed: int, today: dt.date, stops: list[Stop], read_by: User, progress: Progress) -> None:
    """Readings of last season and of this one up to today."""
    leak_from = dt.date(today.year, *LEAK_SINCE)
    if leak_from >= today - dt.timedelta(days=30):
        leak_from = leak_from.replace(year=today.year - 1)
    days = [dt.date(year, month, 1) for year in (today.year - 1, today.year) for month in MONTHS]
    days = [day for day in days if day <= today]
    for start in range(0, len(stops), BATCH):
        batch = {stop.site_id: stop for stop in stops[start : start + BATCH]}
        water = _water_m3(list(batch))
        rows: list[MeterReading] = []
        for meter in Meter.objects.filter(site__in=batch).order_by("pk"):
            stop = batch[meter.site_id]
            leaks = leak_from if stop.name == PLANTED[Mistake.LEAK] else None
            water_m3 = water[meter.site_id]
            read = _readings(seed, meter, stop, days, water_m3, leaks, read_by)
            unit_m3 = REGISTER_UNITS_M3[meter.unit]
            used_a_day = water_m3.get((days[-1].year, days[-1].month), 0.0) / 31 / unit_m3
            rows += with_leak_test(read, stop.index, today, unit_m3, used_a_day, read_by)
        MeterReading.objects.bulk_create(rows, batch_size=500)
        progress("meter readings", start + len(batch), len(stops))


def _water_m3(site_ids: list[int]) -> dict[int, dict[tuple[int, int], float]]:
    """By site, then (year, month): the water of the revision in force in that month, m3."""
    months = (
        ZoneMonth.objects.filter(schedule__site__in=site_ids)
        .exclude(schedule__state="draft")
        .order_by("schedule__week_starts_on")
        .values_list("schedule__site", "schedule__season_year", "schedule__week_starts_on", "month")
        .annotate(Sum("water_l"))
    )
    water: dict[int, dict[tuple[int, int], float]] = defaultdict(dict)
    for site_id, year, from_day, month, litres in months:
        # Later revisions come later in the loop and replace the months they are in force for.
        if from_day.month <= month or (year, month) not in water[site_id]:
            water[site_id][year, month] = (litres or 0.0) / 1000
    return water


def _readings(
    seed: int,
    meter: Meter,
    stop: Stop,
    days: list[dt.date],
    water_m3: dict[tuple[int, int], float],
    leaks_from: dt.date | None,
    read_by: User,
) -> list[MeterReading]:
    rng = dice(seed, "meter", stop.index)
    unit_m3 = REGISTER_UNITS_M3[meter.unit]
    register = rng.uniform(200, 4000) / unit_m3
    rows = []
    for n, day in enumerate(days):
        if n and day.month != MONTHS[0]:
            before = days[n - 1]
            used = water_m3.get((before.year, before.month), 0.0) * max(0.5, rng.gauss(1, NOISE))
            if leaks_from is not None and day > leaks_from:
                used += LEAK_M3_A_DAY * (day - max(before, leaks_from)).days
            register += used / unit_m3
        rows.append(
            MeterReading(
                meter=meter,
                read_on=day,
                register=Decimal(f"{register:.3f}"),
                estimated=rng.random() < 0.03,
                read_by=read_by if rng.random() < 0.7 else None,
            )
        )
    return rows
