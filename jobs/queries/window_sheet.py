"""The page of one season window: what it would be by the freeze history, and what that means site by site."""

import datetime as dt
from dataclasses import dataclass

from jobs.core.routing.frost import FreezeLadder, Side
from jobs.models import SeasonWindow
from jobs.queries.frost import SIDE_OF, SiteFrost
from jobs.queries.windows import (
    OwnDate,
    Suggestion,
    frost_of_current_sites,
    outer_windows,
    own_dates,
    percent,
    span_of,
    suggested_windows,
)

SHOWN_CHANCES = (0.1, 0.5, 0.9)


@dataclass(frozen=True)
class StationSide:
    """When the last spring or the first autumn hard freeze comes at a station's own height."""

    station: str
    elevation_m: float
    freeze: str
    dates: tuple[dt.date | None, ...]
    seasons: int
    frosty_seasons: int
    sufficient: bool


@dataclass(frozen=True)
class SitesDates:
    """How many sites own dates would set apart from the window, and how many cannot have a date of their own."""

    sites: int
    differing: int
    without: int
    earliest: OwnDate | None
    latest: OwnDate | None


@dataclass(frozen=True)
class WindowSheet:
    chance: float
    own: bool
    suggestion: Suggestion
    stations: tuple[StationSide, ...]
    sites: SitesDates | None  # None for checks, which no frost bounds

    @property
    def chance_words(self) -> str:
        return f"a chance of {percent(self.chance)}"


def window_sheet(*, window: SeasonWindow, chance: float, own: bool) -> WindowSheet:
    """In a fixed number of queries. `window` may be unsaved: the sites are then held to the suggested one."""
    frost = frost_of_current_sites()
    suggest = outer_windows if own else suggested_windows
    suggestion = next(row for row in suggest(window.season_year, chance, frost) if row.kind == window.kind)
    stations = tuple(_side(frost, pk, side, window.season_year) for pk in frost.stations for side in SIDE_OF.values())
    sites = _sites(frost, window, chance, suggestion) if window.kind in SIDE_OF else None
    return WindowSheet(chance, own, suggestion, stations, sites)


def _side(frost: SiteFrost, station_id: int, side: Side, season_year: int) -> StationSide:
    station = frost.stations[station_id]
    ladder: FreezeLadder = frost.ladder(station, side)
    risk = ladder.at_station
    return StationSide(
        station=station.name,
        elevation_m=station.elevation_m,
        freeze="last in spring" if side == "spring" else "first in autumn",
        dates=tuple(ladder.date_at(0.0, season_year, chance) for chance in SHOWN_CHANCES),
        seasons=risk.seasons,
        frosty_seasons=len(risk.dates),
        sufficient=risk.sufficient,
    )


def _sites(frost: SiteFrost, window: SeasonWindow, chance: float, suggestion: Suggestion) -> SitesDates:
    dates = own_dates(frost, window.kind, window.season_year, chance)
    opens_on, due_on = window.opens_on or suggestion.opens_on, window.due_on or suggestion.due_on
    differing = 0
    if opens_on and due_on:
        held_to = SeasonWindow(
            season_year=window.season_year, kind=window.kind, opens_on=opens_on, due_on=due_on, chance=chance
        )
        spans = [span_of(frost, site, held_to) for site in frost.sites]
        differing = sum((s.opens_on, s.due_on) != (held_to.opens_on, held_to.due_on) for s in spans)
    return SitesDates(
        sites=len(frost.sites),
        differing=differing,
        without=len(frost.sites) - len(dates),
        earliest=dates[0] if dates else None,
        latest=dates[-1] if dates else None,
    )
