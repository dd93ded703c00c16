"""Meter readings once a month in season: what the published schedules let through, give or take, and one leak.

Two meters were read around a night as well, see `field_tests`.
"""

import datetime as dt
from collections.abc import Callable
from decimal import Decimal

import numpy as np

from config.demo.dice import dice
from config.demo.field_tests import with_leak_test
from config.demo.register import Progress
from config.demo.seasons import Stop
from config.demo.sketches import PLANTED, Mistake
from scheduling.queries.published import daily_runs
from sites.core.metering import REGISTER_UNITS_M3
from sites.models import Meter, MeterReading, Site, User

MONTHS = range(4, 12)  # read on the first of April to the first of November
NOISE = 0.06
LEAK_M3_A_DAY = 2.4
LEAK_SINCE = (7, 10)  # month and day, this season or, before that day, the last one
BATCH = 200
Between = Callable[[dt.date, dt.date], float]


def make_readings(*, seed: int, today: dt.date, stops: list[Stop], read_by: User, progress: Progress) -> None:
    """Readings of last season and of this one up to today."""
    leak_from = dt.date(today.year, *LEAK_SINCE)
    if leak_from >= today - dt.timedelta(days=30):
        leak_from = leak_from.replace(year=today.year - 1)
    days = [dt.date(year, month, 1) for year in (today.year - 1, today.year) for month in MONTHS]
    days = [day for day in days if day <= today]
    for start in range(0, len(stops), BATCH):
        batch = {stop.site_id: stop for stop in stops[start : start + BATCH]}
        water = _water_m3(list(batch), days[0], today)
        rows: list[MeterReading] = []
        for meter in Meter.objects.filter(site__in=batch).order_by("pk"):
            stop = batch[meter.site_id]
            leaks = leak_from if stop.name == PLANTED[Mistake.LEAK] else None
            between = _between(water[meter.site_id], days[0], REGISTER_UNITS_M3[meter.unit])
            read = _readings(seed, meter, stop, days, between, leaks, read_by)
            rows += with_leak_test(read, meter, stop.index, today, between, read_by)
        MeterReading.objects.bulk_create(rows, batch_size=500)
        progress("meter readings", start + len(batch), len(stops))


def _water_m3(site_ids: list[int], first: dt.date, until: dt.date) -> dict[int, np.ndarray]:
    """By site: what could run by the schedules on each day, m3; a zone of unknown flow counts nothing."""
    runs = daily_runs(Site.objects.filter(pk__in=site_ids), first, until)
    return {
        site_id: sum((np.nan_to_num(litres) for litres in run.litres.values()), np.zeros(run.days)) / 1000
        for site_id, run in runs.items()
    }


def _between(water_m3: np.ndarray, first: dt.date, unit_m3: float) -> Between:
    """Register units that the schedule lets through from one day up to another."""
    return lambda start, end: float(water_m3[(start - first).days : (end - first).days].sum()) / unit_m3


def _readings(
    seed: int,
    meter: Meter,
    stop: Stop,
    days: list[dt.date],
    between: Between,
    leaks_from: dt.date | None,
    read_by: User,
) -> list[MeterReading]:
    rng = dice(seed, "meter", stop.index)
    unit_m3 = REGISTER_UNITS_M3[meter.unit]
    counter = rng.uniform(200, 4000) / unit_m3
    rows = []
    for n, day in enumerate(days):
        if n:
            before = days[n - 1]
            counter += between(before, day) * max(0.5, rng.gauss(1, NOISE))
            shut_off = day.month == MONTHS[0]  # since the winterization
            if leaks_from is not None and day > leaks_from and not shut_off:
                counter += LEAK_M3_A_DAY * (day - max(before, leaks_from)).days / unit_m3
        rows.append(
            MeterReading(
                meter=meter,
                read_on=day,
                counter=Decimal(f"{counter:.3f}"),
                estimated=rng.random() < 0.03,
                read_by=read_by if rng.random() < 0.7 else None,
            )
        )
    return rows
