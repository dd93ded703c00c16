"""The season's sites on a plain ground: one sign a site, by where its visits stand."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from django.urls import reverse

from jobs.models import Visit
from jobs.queries.day_map import HEIGHT, WIDTH, Sheet, scale_bar
from jobs.queries.planning import point_of
from jobs.queries.season_board import visits_of_season
from sites.core import writing
from sites.models import Firm, Site

State = Visit.State
# In this order the worst one speaks for a site with several visits.
STATES = ("late", "open", "planned", "started", "finished")
NAMES = {
    "late": "late",
    "open": "to be planned",
    "planned": "planned",
    "started": "started",
    "finished": "finished",
}


@dataclass(frozen=True)
class SitePlace:
    """A site of the season and what it waits for; (x, y) on the drawn sheet."""

    site: Site
    state: str
    text: str
    x: float
    y: float


@dataclass(frozen=True)
class SeasonMap:
    width: float
    height: float
    places: tuple[SitePlace, ...]
    bar_px: float
    bar_label: str
    legend: tuple[tuple[str, str, int], ...]


def season_map(*, year: int, kind: str, today: dt.date, technician: int | None = None) -> SeasonMap:
    """All sites with a visit of this season (of this kind and technician, if given), cancelled visits left out."""
    rows = visits_of_season(year, kind, technician).exclude(state=State.CANCELLED)
    found: dict[int, tuple[str, Visit]] = {}
    for visit in rows.select_related("site", "technician").order_by("opens_on", "pk"):
        state = _state(visit, today)
        if visit.site_id not in found or STATES.index(state) < STATES.index(found[visit.site_id][0]):
            found[visit.site_id] = state, visit
    firm = Firm.current()
    points = [point_of(visit.site) for _, visit in found.values()]
    sheet = Sheet.around(points) if points else None
    places = []
    for state, visit in found.values() if sheet else ():
        assert sheet
        x, y = sheet.place(point_of(visit.site))
        places.append(SitePlace(visit.site, state, _text(visit, state), x, y))
    # The worst on top.
    places.sort(key=lambda place: -STATES.index(place.state))
    bar_km, label = scale_bar(sheet.km_per_px, firm.units) if sheet else (0.0, "")
    counts = [(s, NAMES[s], sum(place.state == s for place in places)) for s in STATES]
    return SeasonMap(
        WIDTH,
        HEIGHT,
        tuple(places),
        bar_km / sheet.km_per_px if sheet else 0.0,
        label,
        tuple(count for count in counts if count[2]),
    )


def _state(visit: Visit, today: dt.date) -> str:
    done = visit.state in (State.FINISHED, State.STARTED)
    if not done and (visit.due_on < today or (visit.planned_on and visit.planned_on > visit.due_on)):
        return "late"
    return str(visit.state)


def _text(visit: Visit, state: str) -> str:
    text = f"{visit.get_kind_display()}: {NAMES[state]}"
    if visit.planned_on and visit.technician:
        text += f", {writing.day_month(visit.planned_on)}, {visit.technician}"
    return f"{text}; by {writing.day_month(visit.due_on)}"


def places_json(places: Iterable[SitePlace]) -> dict:
    """The sites as GeoJSON (RFC 7946) for the map that can be moved."""
    return {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [place.site.longitude, place.site.latitude]},
                "properties": {
                    "name": str(place.site),
                    "text": place.text,
                    "state": place.state,
                    "url": reverse("sites:site_page", args=[place.site.pk]),
                },
            }
            for place in places
        ],
    }
