"""The water core against independent packages, a night of 2,000 sites, and the office's week page over them."""

import contextlib
import csv
import datetime as dt
import io
import json
import os
import statistics
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from urllib.parse import urlsplit

import numpy as np
import pyfao56
import refet
from django.conf import settings
from django.core.cache import cache
from django.core.management import call_command
from django.db import connection
from django.db.models import Prefetch
from django.test import Client
from django.test.utils import CaptureQueriesContext

from config.bench import RUNS, median_seconds, output_of, peak_mib, start_in_own_database
from config.demo import people, register, stations
from config.demo.weather import PLACE, measured_text
from scheduling.actions.schedules import compute_many, publish
from scheduling.core.water.backtest import SETTINGS, Record, record_of
from scheduling.core.water.balance import DailyDrive, IrrigationByNeed, ZoneSoil, soil_water_balance
from scheduling.core.water.daily_et import DailyWeather, StationGeometry, daily_reference_et, day_of_year
from scheduling.core.water.derivation import CannotCompute
from scheduling.core.water.reference_et import extraterrestrial_radiation
from scheduling.core.water.replay import Ground
from scheduling.core.water.zone_inputs import ZoneInputs
from scheduling.queries.advice import week_ahead
from scheduling.queries.backtest import zone_backtest
from scheduling.queries.plan import StationWeather, site_seasons, station_weather
from sites.models import Firm, Site, User, WeatherStation, Zone

ZONES, DAYS = 10_000, 365
STATIONS = (200, 1000)  # few fit the processor's cache, many do not
SITES, SEED, PAGES = 2000, 1, 40
STATION = StationGeometry(PLACE["latitude"], PLACE["elevation_m"], wind_height_m=PLACE["wind_height_m"])
BACKTEST_ROOTS_M = {"cool_turf": 0.15, "shrubs": 0.45, "trees": 0.60, "drought_tolerant": 0.45}
BACKTEST_WOODY = ("shrubs", "trees", "drought_tolerant")


def run() -> Iterator[dict]:
    seconds = median_seconds(_balance())
    yield _line("balance_seconds", seconds, "s", f"{ZONES} zones x {DAYS} days", RUNS)
    yield _line("balance_ratio_pyfao56", ZONES * DAYS / seconds * _pyfao56_seconds(), "times", "pyfao56", RUNS)
    for stations_at_once in STATIONS:
        ours, theirs, apart = _et(stations_at_once)
        of = f"refet, {stations_at_once} stations x {DAYS} days, at most {apart:.1e} mm apart"
        yield _line("et_ratio_refet", theirs / ours, "times", of, RUNS)
    yield from _backtest()
    yield from _night_and_week("")
    if connection.vendor == "postgresql":
        with _own_database() as url:
            yield from _night_and_week(url)


def _backtest() -> Iterator[dict]:
    """The advice on four recorded years against a trigger that knows each day's rain, written out in scalars."""
    record = _recorded_years()
    excess: dict[str, float] = {}
    for setting in SETTINGS:
        for planting, root_depth_m in BACKTEST_ROOTS_M.items():
            zone = ZoneInputs(
                planting, "rotor", float(STATION.latitude_deg), 100.0, "loam", root_depth_m=root_depth_m
            )
            found = zone_backtest(record, zone, setting)
            assert not isinstance(found, CannotCompute)  # a usual zone
            told = found.summary()
            least_mm, least_days = _trigger(record, found.replay.ground)
            percent = 100.0 * (told["net_mm_per_year"] / least_mm - 1.0)
            if setting == "weekly":
                excess[planting] = percent
            of = f"{planting}, set {setting}: {told['net_mm_per_year']} mm a year, the trigger {least_mm:.0f}"
            yield _line("backtest_excess_pct", percent, "%", of, len(record.years))
            more = told["stress_days_per_year"] - least_days
            of = f"{planting}, set {setting}: {told['waterings_per_year']} waterings a year"
            yield _line("backtest_extra_stress_days", more, "days a year", of, len(record.years))
    woody = max(excess[planting] for planting in BACKTEST_WOODY)
    yield _line("backtest_woody_excess_pct", woody, "%", f"the largest of {', '.join(BACKTEST_WOODY)}", 3)


def _recorded_years() -> Record:
    """The measured Seattle series as the demo's station has it."""
    rows = list(csv.DictReader(io.StringIO(measured_text())))
    dates = np.array([row["date"].replace("/", "-") for row in rows], dtype="datetime64[D]")
    tmax, tmin, rain, wind = (
        np.array([float(row[name]) for row in rows]) for name in ("temp_max", "temp_min", "precipitation", "wind")
    )
    days = DailyWeather(dates, tmax, tmin, rain, wind)
    return record_of("Seattle", days, daily_reference_et(days, STATION))


def _trigger(record: Record, ground: Ground) -> tuple[float, float]:
    """Net mm and stressed mornings a year of a zone refilled on the day its depletion would pass RAW."""
    taw, raw = float(ground.taw_mm[0]), float(ground.raw_mm[0])
    depletion, water, stressed = raw / 2, 0.0, 0
    factor = ground.plant_factor[record.days.month_row, 0].tolist()
    for et, fell, k in zip(record.days.et_mm.tolist(), record.days.rain_mm.tolist(), factor, strict=True):
        rain = fell if fell >= 0.2 * et else 0.0
        given = depletion if depletion + k * et - rain > raw else 0.0
        stressed += depletion > raw
        water += given
        ks = min(1.0, (taw - depletion) / (taw - raw))
        depletion = min(max(depletion - rain - given + ks * k * et, 0.0), taw)
    return water / len(record.years), stressed / len(record.years)


def _night_and_week(database_url: str) -> Iterator[dict]:
    """The night's work and the week page over a register of their own: on SQLite where no address is given."""
    with tempfile.TemporaryDirectory() as folder:
        _child(folder, database_url, "make_register")
        for function in ("nightly", "advice", "week_page"):
            yield from json.loads(_child(folder, database_url, function))


@contextlib.contextmanager
def _own_database() -> Iterator[str]:
    """The address of a database beside the configured one, dropped afterwards."""
    name = f"rillbook_bench_{os.getpid()}"
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE DATABASE {name}")
    try:
        yield urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{name}").geturl()
    finally:
        with connection.cursor() as cursor:
            cursor.execute(f"DROP DATABASE {name}")


def _line(name: str, value: float, unit: str, against: str, n: int) -> dict:
    return {"bench": "water", "name": name, "value": float(f"{value:.4g}"), "unit": unit, "n": n, "against": against}


def _balance() -> Callable[[], object]:
    rng = np.random.default_rng(SEED)
    et, rain = rng.uniform(1, 7, DAYS), np.where(rng.random(DAYS) < 0.15, rng.uniform(0, 25, DAYS), 0.0)
    drive = DailyDrive(et, rain, rng.uniform(0.3, 1.0, (1, ZONES)))
    soil = ZoneSoil(rng.uniform(15, 90, ZONES), np.full(ZONES, 0.5), np.zeros(ZONES))
    permitted = IrrigationByNeed(np.ones(DAYS, np.bool_))
    return lambda: soil_water_balance(drive, soil, permitted)


def _pyfao56_seconds() -> float:
    """Seconds of the package's own model for one zone and day: one zone's year."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        keys = [(dt.date(2023, 1, 1) + dt.timedelta(days=day)).strftime("%Y-%j") for day in range(DAYS)]
        weather = pyfao56.Weather()
        weather.rfcrp, weather.z, weather.lat, weather.wndht = "S", 100.0, 47.0, 2.0
        row = dict.fromkeys(weather.cnames, np.nan)
        row.update(Tmax=25.0, Tmin=12.0, RHmin=45.0, Wndsp=2.0, Rain=1.0, ETref=4.0)
        for key in keys:
            weather.wdata.loc[key] = [row[name] for name in weather.cnames]
        model = pyfao56.Model(keys[0], keys[-1], pyfao56.Parameters(), weather, cons_p=True)
        return median_seconds(model.run) / DAYS


def _et(stations_at_once: int) -> tuple[float, float, float]:
    """Seconds of ours and of refet over the same station-days, and the largest difference in mm."""
    rng = np.random.default_rng(SEED)
    shape = (stations_at_once, DAYS)
    dates = np.arange(np.datetime64("2023-01-01"), np.datetime64("2024-01-01"))
    tmin = rng.uniform(2, 18, shape)
    tmax = tmin + rng.uniform(4, 18, shape)
    dew, wind, sun = tmin - rng.uniform(0, 4, shape), rng.uniform(0.5, 6, shape), rng.uniform(3, 28, shape)
    latitude, elevation = (rng.uniform(*span, (stations_at_once, 1)) for span in ((25, 50), (0, 1500)))
    # Radiation above the top of the atmosphere is refused by ours: keep below it.

    sun = np.minimum(sun, 0.75 * extraterrestrial_radiation(latitude, day_of_year(dates)))
    weather = DailyWeather(dates, tmax, tmin, tdew_c=dew, wind_m_s=wind, radiation_mj_m2=sun)
    site = StationGeometry(latitude, elevation)

    def theirs() -> np.ndarray:
        return refet.Daily(
            tmin=tmin, tmax=tmax, tdew=dew, rs=sun, uz=wind, zw=2.0, elev=elevation, lat=latitude.copy(),
            doy=day_of_year(dates)[None, :], method="asce",
        ).eto()  # fmt: skip

    apart = np.abs(daily_reference_et(weather, site, "asce_short").et_mm - np.maximum(theirs(), 0.0)).max()
    ours = median_seconds(lambda: daily_reference_et(weather, site, "asce_short"))
    return ours, median_seconds(theirs), float(apart)


def _child(folder: str, database_url: str, function: str) -> str:
    """The last line that one of the functions below prints, run beside the real database."""
    code = f"from config.bench import water; water.{function}()"
    return output_of(start_in_own_database(folder, code, database_url))


def make_register() -> None:
    """The demo's sites and weather with one published revision of July."""
    call_command("migrate", verbosity=0)
    today = dt.date(2026, 7, 20)
    people.make_firm(Firm.Units.METRIC)
    staff = people.make_staff(seed=SEED, sites=SITES, today=today)
    station = stations.make_stations(today=today, by=staff.owner)
    register.make_register(
        sites=SITES, seed=SEED, today=today, station=station, tariffs=register.make_tariffs(), progress=_quiet
    )
    july = dt.date(2026, 7, 1)
    for draft in compute_many(sites=Site.objects.all(), today=july, by=None, month=7):
        publish(schedule=draft, by=None, on=july, all_the_same=True)


def _quiet(*_: object) -> None:
    """No progress is told."""


def nightly() -> None:
    """One night from weather rows to written drafts, timed; a second and third count the queries of a batch."""
    cache.clear()
    sites = list(Site.objects.current())
    zones = Zone.objects.filter(in_use=True).count()
    night = dt.date(2026, 7, 20)
    started = time.perf_counter()
    compute_many(sites=sites, today=night, by=None)
    seconds = time.perf_counter() - started
    peak = peak_mib()
    counts = []
    for some in (sites[:50], sites[:100]):
        with CaptureQueriesContext(connection) as queries:
            compute_many(sites=some, today=night, by=None)
        counts.append(len(queries))
    on = connection.display_name
    of = f"{len(sites)} sites, {zones} zones, {on}"
    figures = [
        _line("nightly_2000_sites_seconds", seconds, "s", of, 1),
        _line("nightly_queries", counts[1], "queries", f"a batch of 100 sites; {counts[0]} for one of 50; {on}", 1),
        _line("nightly_peak_mib", peak, "MiB", of, 1),
    ]
    sys.stdout.write(json.dumps(figures) + "\n")


def advice() -> None:
    """The week ahead of every site at once, from the seasons of its zones and the schedules in force."""
    today = dt.date(2026, 7, 20)
    sites = (
        Site.objects.current()
        .select_related("weather_station")
        .prefetch_related(Prefetch("zones", Zone.objects.filter(in_use=True).select_related("valve")))
    )
    weathers: dict[int | None, StationWeather] = {
        row.pk: station_weather(row, today) for row in WeatherStation.objects.all()
    }
    found = [site_seasons(site, weathers[site.weather_station_id], today.year) for site in sites]
    started = time.perf_counter()
    weeks = week_ahead(found, weathers, today)
    seconds = time.perf_counter() - started
    of = f"{len(found)} sites, {len(weeks.zones)} zones, from their seasons, {connection.display_name}"
    sys.stdout.write(json.dumps([_line("advice_2000_sites_seconds", seconds, "s", of, 1)]) + "\n")


def week_page() -> None:
    """The office's week page, asked for again and again; the database holds the night's drafts."""
    settings.ALLOWED_HOSTS.append("testserver")
    plain = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}  # no collected files needed
    settings.STORAGES = {**settings.STORAGES, "staticfiles": plain}
    browser = Client()
    browser.force_login(User.objects.filter(role="office").first())
    times = []
    for _ in range(PAGES):
        started = time.perf_counter()
        answer = browser.get("/watering/")
        times.append((time.perf_counter() - started) * 1000)
        assert answer.status_code == 200
    worst = sorted(times)[int(0.95 * PAGES) - 1]
    median = statistics.median(times)
    of = f"p95 over {SITES} sites, median {median:.0f} ms, {connection.display_name}"
    line = _line("week_page_ms", worst, "ms", of, PAGES)
    sys.stdout.write(json.dumps([line]) + "\n")
