"""The coming week of many sites at once: what the soil of every zone needs, from this morning's depletion."""

import datetime as dt
from collections.abc import Mapping, Sequence

import numpy as np

from scheduling.core.water.advice import Flags
from scheduling.core.water.checks import Array
from scheduling.core.water.outlook import Expected
from scheduling.core.water.replay import MIDDLE_OF_A_CYCLE
from scheduling.core.water.week import MOST_FILLED_DAYS, ThisWeek, advise, expected_days
from scheduling.queries.plan import SiteSeasons, StationWeather
from scheduling.queries.published import permitted_dates
from scheduling.queries.soil_state import depletion_this_morning

Weathers = Mapping[int | None, StationWeather]


def week_ahead(found: Sequence[SiteSeasons], weathers: Weathers, today: dt.date) -> dict[int, ThisWeek]:
    """By zone, for the sites whose station knows the last days or has a forecast; the others are left out.

    Where no schedule was in force long enough to know how wet the soil is, it is taken to be watered as it needs.
    Whether a site's water is on is asked by whoever asks for the week.
    """
    able = [item for item in found if item.seasons and _known(weathers, item)]
    if not able:
        return {}
    state = depletion_this_morning(able, weathers, today)
    zones = [(zone, season) for item in able for zone, season in item.seasons]
    depletion = [
        state.depletion_mm.get(zone.pk, MIDDLE_OF_A_CYCLE * float(season.raw_mm[today.month - 1]))
        for zone, season in zones
    ]
    controllers = np.array([-1 if zone.valve is None else zone.valve.controller_id for zone, _ in zones])
    expected = _expected(able, weathers)
    planned = advise(
        [season for _, season in zones], expected, np.array(depletion), _permitted(able, expected), controllers
    )
    return {
        zone.pk: week if zone.pk in state.measured else week.as_assumed()
        for (zone, _), week in zip(zones, planned, strict=True)
    }


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
