"""Recorded years of a station, and a made-up zone watered as advised through them."""

from dataclasses import dataclass

import numpy as np
from django.core.cache import cache

from scheduling.core.water.backtest import Record, Setting, follow_advice, outlook_of_record, record_of
from scheduling.core.water.checks import Array
from scheduling.core.water.derivation import CannotCompute
from scheduling.core.water.outlook import by_normals_of_each_year
from scheduling.core.water.replay import Replay, ground_of
from scheduling.core.water.season import zone_season
from scheduling.core.water.zone_inputs import ZoneInputs
from scheduling.queries.climate import CACHE_SECONDS, station_state
from scheduling.queries.weather import history
from sites.models import WeatherStation

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
