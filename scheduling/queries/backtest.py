"""Recorded years of a station lived through: a made-up zone as advised, and a site by three ways of watering."""

import datetime as dt
from dataclasses import dataclass

import numpy as np
from django.core.cache import cache

from scheduling.core.water.backtest import (
    SETTINGS,
    Record,
    Setting,
    Year,
    by_year,
    follow_advice,
    outlook_of_record,
    record_of,
)
from scheduling.core.water.checks import Array, WaterInputError
from scheduling.core.water.derivation import CannotCompute
from scheduling.core.water.outlook import by_normals_of_each_year
from scheduling.core.water.replay import Replay, ground_of, replay_given
from scheduling.core.water.season import zone_season
from scheduling.core.water.season_chart import GroupedBars, grouped_bars
from scheduling.core.water.zone_inputs import ZoneInputs
from scheduling.models import SeasonSchedule, ZoneMonth
from scheduling.queries.climate import CACHE_SECONDS, station_state
from scheduling.queries.published import permitted_dates, watering_dates
from scheduling.queries.season_replay import NotEnough, SeasonGround, season_ground
from scheduling.queries.weather import history
from sites.core.units import Quantity, to_display
from sites.models import Firm, Site, WeatherStation

MADE_UP_AREA_M2 = 100.0  # of a made-up zone; net depths do not depend on it


def station_record(station: WeatherStation) -> Record:
    """The station's whole years, kept until one of its days changes. Raises `WaterInputError` where none is."""
    key = f"record:{station_state(station)}"
    found = cache.get(key)
    if found is None:
        found = record_of(station.name, *history(station))
        cache.set(key, found, CACHE_SECONDS)
    return found


@dataclass(frozen=True)
class ZoneBacktest:
    """One zone through the recorded years; raw_mm and forecast_rain_mm by day, (days,)."""

    record: Record
    replay: Replay
    raw_mm: Array
    forecast_rain_mm: Array

    def summary(self) -> dict[str, float | int]:
        """Yearly means in mm, days and times."""
        whole = np.isin(self.record.year_of, self.record.years)
        years = len(self.record.years)
        net = self.replay.balance.irrigation_mm[whole, 0]
        return {
            "net_mm_per_year": round(float(net.sum()) / years, 1),
            "stress_days_per_year": round(float(self.replay.stress[whole, 0].sum()) / years, 2),
            "waterings_per_year": round(float(np.count_nonzero(net > 0)) / years, 2),
            "years": years,
            "taw_mm": round(float(self.replay.ground.taw_mm[0]), 2),
            "raw_mm": round(float(self.raw_mm[whole].mean()), 2),
        }

    @property
    def morning_mm(self) -> Array:
        """Depletion on the morning of each day."""
        balance = self.replay.balance
        return np.concatenate([balance.start_depletion_mm[:1], balance.depletion_mm[:-1, 0]])


def zone_backtest(record: Record, zone: ZoneInputs, setting: Setting) -> ZoneBacktest | CannotCompute:
    """A zone watered as advised on any day. Raises `WaterInputError` for an unknown key or impossible figure."""
    last = record.years[-1]
    season = zone_season(zone, record.climates[last], last)
    if isinstance(season, CannotCompute):
        return season
    ground = ground_of([season])
    days = len(record.days.dates)
    permitted = np.ones(days, np.bool_)
    replay = follow_advice(ground, record, permitted, setting)
    outlook = outlook_of_record(ground, record, permitted)
    expected = by_normals_of_each_year(record.climates, record.days.dates)
    return ZoneBacktest(record, replay, outlook.raw_mm[:days, 0], expected.rain_mm[:days])


BASIS = (
    "Daily soil-water balance, FAO-56 Eq. 82 to 88, through every recorded year of the station, from the middle of a "
    "cycle; zones as the register has them today, on the site's permitted days. The advice knows what could have "
    "been known: this morning's soil and the normals of the other years, never the rain that fell. A day under "
    "stress is one zone on a morning beyond the readily available water."
)


@dataclass(frozen=True)
class Way:
    """One way of watering through the recorded years; zone-days under stress and waterings are sums over zones."""

    key: str
    label: str
    years: tuple[Year, ...]

    def mean(self, name: str) -> float:
        """Yearly mean of a column."""
        return sum(getattr(year, name) for year in self.years) / len(self.years)

    @property
    def litres(self) -> float:
        return self.mean("litres")

    @property
    def stress_days(self) -> float:
        return self.mean("stress_days")

    @property
    def waterings(self) -> float:
        return self.mean("waterings")

    @property
    def lost_l(self) -> float:
        return self.mean("lost_l")

    @property
    def displaced_l(self) -> float:
        return self.mean("displaced_l")


@dataclass(frozen=True)
class SiteBacktest:
    """A site's ways of watering side by side; `without_litres` are zones in no sum of litres."""

    site: Site
    record: Record
    ways: tuple[Way, ...]
    zones: int
    left_out: tuple[dict, ...]
    without_litres: tuple[str, ...]
    basis: str = BASIS

    @property
    def table(self) -> list[tuple[int, tuple[Year, ...]]]:
        """A row a year: the year and what each way took of it."""
        rows = zip(*(way.years for way in self.ways), strict=True)
        return [(years[0].year, years) for years in rows]

    @property
    def bars(self) -> GroupedBars:
        """Water of each year by each way, in the firm's unit of volume."""
        system = Firm.current().units
        series = [
            [to_display(year.litres / 1000.0, Quantity.VOLUME, system) for year in way.years] for way in self.ways
        ]
        return grouped_bars(series, [str(year.year) for year in self.ways[0].years])


def site_backtest(site: Site, today: dt.date) -> SiteBacktest:
    """The advice set weekly and daily, the published months and a fixed summer setting, where a schedule is
    published. Raises `NotEnough` with what the site needs first."""
    if site.weather_station is None:
        raise NotEnough("a weather station for the site")
    try:
        record = station_record(site.weather_station)
    except WaterInputError as error:
        raise NotEnough(f"a whole year of weather at {site.weather_station.name} ({error})") from error
    ground = season_ground(site, today.year, dt.date(today.year, 1, 1))
    soil = ground_of(ground.seasons)
    permitted = permitted_dates(site, record.days.dates.tolist())
    ways = [
        _way(f"advice {setting}", f"advice, set {setting}", follow_advice(soil, record, permitted, setting), record)
        for setting in SETTINGS
    ]
    months = _published_months(ground)
    if months:
        for key, label, of_month in (
            ("published", "published schedule", months),
            ("summer", "fixed summer setting", _summer(months)),
        ):
            minutes = _minutes(ground, record, of_month)
            ways.append(_way(key, label, replay_given(soil, record.days, minutes), record))
    unknown = tuple(str(zone) for zone, flow in zip(ground.zones, soil.litres_per_min, strict=True) if np.isnan(flow))
    return SiteBacktest(site, record, tuple(ways), len(ground.zones), ground.left_out, unknown)


def _way(key: str, label: str, replay: Replay, record: Record) -> Way:
    return Way(key, label, by_year(replay, record))


Months = dict[int, dict[int, tuple[float, float]]]  # zone -> month -> minutes of a watering day, days a week


def _published_months(ground: SeasonGround) -> Months:
    """The published table of months; empty where nothing is published."""
    schedule = SeasonSchedule.objects.published().filter(site=ground.site).first()
    rows = ZoneMonth.objects.filter(schedule=schedule, run_time_min__gt=0) if schedule else ZoneMonth.objects.none()
    months: Months = {}
    for zone, month, minutes, days in rows.values_list("zone", "month", "run_time_min", "days_per_week"):
        months.setdefault(zone, {})[month] = (minutes, days)
    return months


def _summer(months: Months) -> Months:
    """The month of most water, run unchanged through every month that has any."""
    fixed: Months = {}
    for zone, of in months.items():
        most = max(of.values(), key=lambda each: each[0] * each[1])
        fixed[zone] = dict.fromkeys(of, most)
    return fixed


def _minutes(ground: SeasonGround, record: Record, months: Months) -> Array:
    """(days, zones) minutes through the recorded years."""
    dates = record.days.dates.tolist()
    place = {date: row for row, date in enumerate(dates)}
    minutes = np.zeros((len(dates), len(ground.zones)))
    by_month: dict[int, list[dt.date]] = {}
    for date in dates:
        by_month.setdefault(date.month, []).append(date)
    for column, zone in enumerate(ground.zones):
        for month, (run, days) in months.get(zone.pk, {}).items():
            for date in watering_dates(ground.site, days, by_month.get(month, [])):
                minutes[place[date], column] = run
    return minutes
