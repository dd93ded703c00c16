"""How dry the soil of every zone is this morning: the daily balance of thousands of zones at once."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from scheduling.core.water.replay import Days, Ground, Replay, ground_of, replay_by_need, replay_given
from scheduling.queries.plan import SiteSeasons, StationWeather
from scheduling.queries.published import DailyRuns, daily_runs, permitted_dates

SETTLED_DAYS = 14  # under a published schedule for so long, before its run times say how wet the soil is


@dataclass(frozen=True)
class SoilState:
    """Depletion (mm) by zone; `measured` are the zones whose run times are known, the others are taken to have been
    watered as they needed."""

    depletion_mm: dict[int, float]
    measured: frozenset[int]


def depletion_this_morning(
    found: Sequence[SiteSeasons], weathers: Mapping[int | None, StationWeather], today: dt.date
) -> SoilState:
    """The soil of the sites whose last weather is known; the others are left out.

    The balance of a site under a published schedule starts with the day since which one has been in force, in the
    middle of a cycle. Four queries whatever the number of sites.
    """
    able = [item for item in found if item.seasons and weathers[item.site.weather_station_id].recent is not None]
    if not able:
        return SoilState({}, frozenset())
    any_days = weathers[able[0].site.weather_station_id].recent
    assert any_days is not None
    first = any_days.dates[0].astype(dt.date)
    runs = daily_runs([item.site for item in able], first, today - dt.timedelta(days=1))
    settled = [item for item in able if _settled(runs[item.site.pk])]
    others = [item for item in able if not _settled(runs[item.site.pk])]
    depletion: dict[int, float] = {}
    if settled:
        live = {item.site.pk: runs[item.site.pk].settled_from or 0 for item in settled}
        minutes = np.hstack([runs[item.site.pk].of([zone.pk for zone, _ in item.seasons]) for item in settled])
        days = _days(settled, weathers, live)
        depletion |= _last(settled, replay_given(_ground(settled), days, minutes))
    if others:
        days = _days(others, weathers, dict.fromkeys((item.site.pk for item in others), 0))
        dates = days.dates.tolist()
        permitted = np.stack([permitted_dates(item.site, dates) for item in others for _ in item.seasons], axis=1)
        depletion |= _last(others, replay_by_need(_ground(others), days, permitted))
    return SoilState(depletion, frozenset(zone.pk for item in settled for zone, _ in item.seasons))


def _settled(run: DailyRuns) -> bool:
    start = run.settled_from
    return start is not None and run.days - start >= SETTLED_DAYS


def _ground(some: Sequence[SiteSeasons]) -> Ground:
    return ground_of([season for item in some for _, season in item.seasons])


def _last(some: Sequence[SiteSeasons], replay: Replay) -> dict[int, float]:
    zones = [zone.pk for item in some for zone, _ in item.seasons]
    return dict(zip(zones, replay.balance.depletion_mm[-1].tolist(), strict=True))


def _days(
    some: Sequence[SiteSeasons], weathers: Mapping[int | None, StationWeather], live_from: Mapping[int, int]
) -> Days:
    """ET and rain, one column a zone; nothing happens before a site's balance begins."""
    et_columns, rain_columns, dates = [], [], None
    for item in some:
        days = weathers[item.site.weather_station_id].recent
        assert days is not None
        dates = days.dates
        live = np.arange(len(dates)) >= live_from[item.site.pk]
        et_columns += [days.et_mm * live] * len(item.seasons)
        rain_columns += [days.rain_mm * live] * len(item.seasons)
    assert dates is not None
    return Days(dates, np.array(et_columns).T, np.array(rain_columns).T)
