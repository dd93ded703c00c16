"""The coming week of many sites at once: what the soil of every zone needs, from this morning's depletion."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from scheduling.core.water.advice import DAYS, Flags, Outlook
from scheduling.core.water.checks import Array
from scheduling.core.water.outlook import Expected
from scheduling.core.water.published_week import judge_published
from scheduling.core.water.replay import MIDDLE_OF_A_CYCLE, Ground
from scheduling.core.water.week import MOST_FILLED_DAYS, ThisWeek, advise, ahead_of, expected_days
from scheduling.queries.plan import SiteSeasons, StationWeather
from scheduling.queries.published import daily_runs, permitted_dates
from scheduling.queries.soil_state import depletion_this_morning

Weathers = Mapping[int | None, StationWeather]


@dataclass(frozen=True)
class WeekAhead:
    """What every zone needs, and by site what the schedule published now does, in litres."""

    zones: dict[int, ThisWeek]
    sites: dict[int, dict[str, float]]


def week_ahead(found: Sequence[SiteSeasons], weathers: Weathers, today: dt.date) -> WeekAhead:
    """For the sites whose station knows the last days or has a forecast; the others are left out.

    Where no schedule was in force long enough to know how wet the soil is, it is taken to be watered as it needs.
    Whether a site's water is on is asked by whoever asks for the week.
    """
    able = [item for item in found if item.seasons and _known(weathers, item)]
    if not able:
        return WeekAhead({}, {})
    state = depletion_this_morning(able, weathers, today)
    zones = [(zone, season) for item in able for zone, season in item.seasons]
    seasons = [season for _, season in zones]
    depletion = np.array(
        [
            state.depletion_mm.get(zone.pk, MIDDLE_OF_A_CYCLE * float(season.raw_mm[today.month - 1]))
            for zone, season in zones
        ]
    )
    controllers = np.array([-1 if zone.valve is None else zone.valve.controller_id for zone, _ in zones])
    expected = _expected(able, weathers)
    permitted = _permitted(able, expected)
    planned = advise(seasons, expected, depletion, permitted, controllers)
    weeks = {
        zone.pk: week if zone.pk in state.measured else week.as_assumed()
        for (zone, _), week in zip(zones, planned, strict=True)
    }
    return WeekAhead(weeks, _published_weeks(able, *ahead_of(seasons, expected, permitted), depletion, today))


def _published_weeks(
    able: Sequence[SiteSeasons], ground: Ground, outlook: Outlook, depletion: Array, today: dt.date
) -> dict[int, dict[str, float]]:
    """By site under a published schedule, over the zones whose flow is known."""
    runs = daily_runs([item.site for item in able], today, today + dt.timedelta(days=DAYS))
    minutes = np.hstack([runs[item.site.pk].planned_of([zone.pk for zone, _ in item.seasons]) for item in able])
    given = minutes / 60.0 * ground.rate_mm_h / ground.multiplier
    week = judge_published(outlook, np.minimum(depletion, ground.taw_mm), given)
    litres = {name: mm * ground.litres_per_mm for name, mm in vars(week).items()}
    found, start = {}, 0
    for item in able:
        mine = slice(start, start + len(item.seasons))
        start = mine.stop
        if runs[item.site.pk].in_force.all() and not np.isnan(ground.litres_per_mm[mine]).all():
            found[item.site.pk] = {name: round(float(np.nansum(each[mine])), 1) for name, each in litres.items()}
    return found


def _known(weathers: Weathers, item: SiteSeasons) -> bool:
    weather = weathers[item.site.weather_station_id]
    coming = weather.coming
    return coming is not None and (weather.recent is not None or len(coming.filled_days) <= MOST_FILLED_DAYS)


def _expected(able: Sequence[SiteSeasons], weathers: Weathers) -> Expected:
    """The coming days of every zone's station, one column a zone."""
    columns: dict[int | None, Expected] = {}
    order: list[Expected] = []
    for item in able:
        pk = item.site.weather_station_id
        if pk not in columns:
            weather = weathers[pk]
            assert weather.climate is not None
            assert weather.coming is not None
            columns[pk] = expected_days(weather.climate, weather.coming)
        order += [columns[pk]] * len(item.seasons)

    def stacked(name: str) -> Array:
        return np.stack([getattr(each, name) for each in order], axis=1)

    return Expected(
        order[0].dates,
        stacked("et_mm"),
        stacked("rain_mm"),
        stacked("counted_rain_mm"),
        stacked("week_sd_et_mm"),
        stacked("week_sd_rain_mm"),
    )


def _permitted(able: Sequence[SiteSeasons], expected: Expected) -> Flags:
    dates = expected.dates.tolist()
    columns = [permitted_dates(item.site, dates) for item in able for _ in item.seasons]
    return np.stack(columns, axis=1)
