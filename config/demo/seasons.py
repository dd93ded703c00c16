"""Which visits the demo has in which season: windows, service plans, and rounds of visits to make."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from django.db.models import Count

from config.demo import weather
from config.demo.dice import dice
from config.demo.places import PATCHES
from config.demo.sketches import FIRST_CLIENT_SITE
from jobs.actions.visits import renew_dates
from jobs.core.routing import frost
from jobs.core.site_dates import fitting
from jobs.models import SeasonWindow, ServicePlan, Visit, VisitKind, VisitTerms
from jobs.queries.windows import Suggestion, frost_of_current_sites, outer_windows
from sites.core.told import figure
from sites.models import Pump, Site, User, Valve

# Chances at which the office works: common practice, no source.
FREEZE_AFTER_STARTUP, HARD_FREEZE_BEFORE_WINTERISATION = 0.2, 0.1
SERIES = "Seattle 2012-2015"
# Minutes on site: a fixed part and a part for each valve.
SERVICE_MIN = {
    VisitKind.STARTUP: (20, 4),
    VisitKind.MID_SEASON: (15, 3),
    VisitKind.WINTERISATION: (15, 3),
    VisitKind.REPAIR: (40, 0),
}
LONGEST_MIN = 150
# (place among twenty sites, days earlier, what the office knows of it)
KNOWN_FROST = (
    (5, 7, "cold hollow by the creek"),
    (11, 3, "open to the north wind"),
    (14, -5, "sheltered between tall walls"),
)


@dataclass(frozen=True)
class Stop:
    """A site as the planner of the demo sees it; `index` is its place among the sites, from 0."""

    index: int
    site_id: int
    name: str
    town: str
    latitude: float
    longitude: float
    opens_at: dt.time
    closes_at: dt.time
    open_weekdays: tuple[int, ...]
    valves: int
    has_pump: bool
    contact: str

    def service_min(self, kind: str) -> int:
        fixed, each = SERVICE_MIN[VisitKind(kind)]
        return min(LONGEST_MIN, fixed + each * self.valves)


@dataclass(frozen=True)
class Round:
    """One visit of a kind at each of these sites within a season's window."""

    year: int
    kind: str
    sequence: int
    opens_on: dt.date
    due_on: dt.date
    stops: tuple[Stop, ...]


def make_windows(today: dt.date) -> None:
    """Last season, this one and the next; frost dates from the records, the others set by hand."""
    spring = frost.freeze_risk(weather.minima_c(), "spring", frost.FREEZE_C, latitude=weather.PLACE["latitude"])
    sites = frost_of_current_sites()
    SeasonWindow.objects.bulk_create(
        window
        for year in (today.year - 1, today.year, today.year + 1)
        for window in _windows(
            year,
            frost.startup_opens(spring, year, FREEZE_AFTER_STARTUP, SERIES, _cold(spring)),
            outer_windows(year, HARD_FREEZE_BEFORE_WINTERISATION, sites)[-1],
        )
    )


def _windows(year: int, startup: frost.FrostLimit, winterise: Suggestion) -> Iterator[SeasonWindow]:
    """`or`: what the office would set by hand where the record gave no date.

    One startup date for all: the last hard freeze is over weeks before anybody wants water here. Winterization is
    due at each site by its own date.
    """
    yield SeasonWindow(
        season_year=year,
        kind=VisitKind.STARTUP,
        opens_on=startup.on or dt.date(year, 3, 15),
        due_on=dt.date(year, 5, 15),
        reason=startup.reason,
    )
    yield SeasonWindow(
        season_year=year,
        kind=VisitKind.MID_SEASON,
        opens_on=dt.date(year, 6, 10),
        due_on=dt.date(year, 8, 25),
        reason="While the season's need is highest, so that faults show (set by the office).",
    )
    yield SeasonWindow(
        season_year=year,
        kind=VisitKind.WINTERISATION,
        opens_on=dt.date(year, 10, 1),
        due_on=winterise.due_on or dt.date(year, 11, 15),
        reason=winterise.reason,
        chance=HARD_FREEZE_BEFORE_WINTERISATION,
    )


def make_visit_terms(stops: list[Stop]) -> None:
    """Frost comes to some sites otherwise than their height says."""
    VisitTerms.objects.bulk_create(
        VisitTerms(site_id=stop.site_id, frost_days=days, frost_note=note)
        for stop in stops
        for every, days, note in KNOWN_FROST
        if stop.index % 20 == every
    )


def give_own_dates(years: tuple[int, ...], by: User) -> None:
    """What visits rest on: past ones on their window, those to come on the site's own date."""
    for window in SeasonWindow.objects.filter(season_year__in=years):
        visits = Visit.objects.filter(season_year=window.season_year, kind=window.kind)
        visits.update(window_reason=fitting(f"the season's window: {window.reason}"))
    for year in years:
        renew_dates(season_year=year, promised_too=True, by=by)


def make_service_plans(seed: int, stops: list[Stop]) -> dict[int, ServicePlan]:
    """By site id. A few sites have no plan: they call when they need somebody."""
    plans = []
    for stop in stops:
        rng = dice(seed, "service plan", stop.index)
        if rng.random() < 0.06 and stop.index > FIRST_CLIENT_SITE:
            continue
        checks = 2 if stop.valves >= 12 else rng.choices((0, 1, 2), (15, 75, 10))[0]
        plans.append(ServicePlan(site_id=stop.site_id, mid_season_visits=checks, winterisation=rng.random() < 0.96))
    return {plan.site_id: plan for plan in ServicePlan.objects.bulk_create(plans, batch_size=500)}


def read_stops() -> list[Stop]:
    """Every site in the order of the sketches; small rows, so that thousands fit."""
    valves = dict(Valve.objects.order_by().values_list("controller__site_id").annotate(Count("pk")))
    pumps = set(Pump.objects.values_list("supply__site_id", flat=True))
    return [
        Stop(
            index=index,
            site_id=site.pk,
            name=site.name,
            town=site.town,
            latitude=site.latitude,
            longitude=site.longitude,
            opens_at=site.opens_at,
            closes_at=site.closes_at,
            open_weekdays=tuple(site.open_weekdays),
            valves=valves.get(site.pk, 0),
            has_pump=site.pk in pumps,
            contact=site.client.contact_name,
        )
        for index, site in enumerate(Site.objects.select_related("client").order_by("pk").iterator())
    ]


def rounds_of(seed: int, year: int, stops: list[Stop], plans: dict[int, ServicePlan]) -> Iterator[Round]:
    """The season's rounds in order of time, the stops of each town by town."""
    windows = {window.kind: window for window in SeasonWindow.objects.filter(season_year=year)}
    ordered = {
        VisitKind.STARTUP: lambda plan: int(plan.startup),
        VisitKind.MID_SEASON: lambda plan: plan.mid_season_visits,
        VisitKind.WINTERISATION: lambda plan: int(plan.winterisation),
    }
    for kind, visits in ordered.items():
        window = windows[kind]
        wanted = {stop.site_id: visits(plans[stop.site_id]) for stop in stops if stop.site_id in plans}
        half = (window.due_on - window.opens_on) // 2
        for sequence in range(1, max(wanted.values(), default=0) + 1):
            late = sequence > 1
            yield Round(
                year=year,
                kind=kind,
                sequence=sequence,
                opens_on=window.opens_on + half if late else window.opens_on,
                due_on=window.due_on if late or kind != VisitKind.MID_SEASON else window.due_on - half / 2,
                stops=_town_by_town(seed, year, kind, [s for s in stops if wanted.get(s.site_id, 0) >= sequence]),
            )


def _town_by_town(seed: int, year: int, kind: str, stops: list[Stop]) -> tuple[Stop, ...]:
    towns = [patch.town for patch in PATCHES]
    dice(seed, "towns", year, kind).shuffle(towns)
    place = {town: n for n, town in enumerate(towns)}
    return tuple(sorted(stops, key=lambda stop: (place[stop.town], stop.latitude, stop.index)))


def _cold(risk: frost.FreezeRisk) -> str:
    return figure(risk.threshold_c, "temperature")
