"""How dry the soil of every zone is this morning: the daily balance of thousands of zones at once."""

import datetime as dt
from collections.abc import Mapping, Sequence

import numpy as np

from scheduling.core.water.replay import Days, ground_of, replay_given
from scheduling.queries.plan import SiteSeasons, StationWeather
from scheduling.queries.published import DailyRuns, daily_runs

SETTLED_DAYS = 14  # under a published schedule for so long, before its run times say how wet the soil is


def depletion_this_morning(
    found: Sequence[SiteSeasons], weathers: Mapping[int | None, StationWeather], today: dt.date
) -> dict[int, float]:
    """Depletion (mm) by zone, for the sites whose watering and weather are known; the others are left out.

    The balance starts with the day since which a schedule has been in force, in the middle of a cycle. Four queries
    whatever the number of sites.
    """
    able = [item for item in found if item.seasons and weathers[item.site.weather_station_id].recent is not None]
    if not able:
        return {}
    any_days = weathers[able[0].site.weather_station_id].recent
    assert any_days is not None
    first = any_days.dates[0].astype(dt.date)
    runs = daily_runs([item.site for item in able], first, today - dt.timedelta(days=1))
    settled = [item for item in able if _settled(runs[item.site.pk])]
    if not settled:
        return {}
    zones = [zone.pk for item in settled for zone, _ in item.seasons]
    ground = ground_of([season for item in settled for _, season in item.seasons])
    minutes = np.hstack([runs[item.site.pk].of([zone.pk for zone, _ in item.seasons]) for item in settled])
    et, rain = _drive(settled, weathers, runs)
    replay = replay_given(ground, Days(any_days.dates, et, rain), minutes)
    return dict(zip(zones, replay.balance.depletion_mm[-1].tolist(), strict=True))


def _settled(run: DailyRuns) -> bool:
    start = run.settled_from
    return start is not None and run.days - start >= SETTLED_DAYS


def _drive(
    settled: Sequence[SiteSeasons], weathers: Mapping[int | None, StationWeather], runs: Mapping[int, DailyRuns]
) -> tuple[np.ndarray, np.ndarray]:
    """ET and rain, one column a zone; nothing happens before the site's schedule came into force."""
    et_columns, rain_columns = [], []
    for item in settled:
        days = weathers[item.site.weather_station_id].recent
        start = runs[item.site.pk].settled_from
        assert days is not None and start is not None
        live = np.arange(len(days.dates)) >= start
        et_columns += [days.et_mm * live] * len(item.seasons)
        rain_columns += [days.rain_mm * live] * len(item.seasons)
    return np.array(et_columns).T, np.array(rain_columns).T
