"""Season windows: what they mean for each visit, and what the stations' freeze history suggests."""

import datetime as dt
import statistics
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from jobs.core.routing.frost import FrostLimit, Side
from jobs.core.site_dates import Span, fitting, moved_words, own_date, startup_span, winterisation_span
from jobs.models import SeasonWindow, ServicePlan, Visit, VisitKind
from jobs.queries.frost import SIDE_OF, SiteFrost
from sites.models import Site

SEASONAL = (VisitKind.STARTUP, VisitKind.MID_SEASON, VisitKind.WINTERISATION)
CHANCES = (0.1, 0.2, 0.5)
# Common practice, no source: two months for a round, checks begin once the startups have settled.
ROUND_DAYS = 60
SETTLE_DAYS = 28


def percent(chance: float) -> str:
    return f"{round(100 * chance)} %"


def part_of(window: SeasonWindow, sequence: int, count: int) -> tuple[dt.date, dt.date]:
    """(opens, due) of visit `sequence` of `count` in a window: equal parts of it, so that visits spread."""
    days = (window.due_on - window.opens_on).days + 1
    first = days * (sequence - 1) // count
    last = max(first, days * sequence // count - 1)
    return window.opens_on + dt.timedelta(days=first), window.opens_on + dt.timedelta(days=last)


def span_of(frost: SiteFrost, site: Site, window: SeasonWindow, sequence: int = 1, count: int = 1) -> Span:
    """When visit `sequence` of `count` may happen at this site, with the reason.

    Mid-season checks share the window in equal parts. Startup and winterization have the site's own date if the
    window has a chance; where it has none, the site's frost days still move the window's own date.
    """
    side = SIDE_OF.get(window.kind)
    if side is None:
        return Span(*part_of(window, sequence, count), window.reason)
    usual = Span(window.opens_on, window.due_on, window.reason)
    limit = frost.limit(site, side, window.season_year, window.chance) if window.chance else None
    return (startup_span if side == "spring" else winterisation_span)(usual, limit, frost.place(site))


def mid_season_counts(sites: Iterable[Site]) -> dict[int, int]:
    """By site id how many checks it has ordered; one query."""
    plans = ServicePlan.objects.filter(site__in=[site.pk for site in sites])
    return dict(plans.values_list("site_id", "mid_season_visits"))


def window_span(visit: Visit, window: SeasonWindow, frost: SiteFrost, counts: Mapping[int, int]) -> Span:
    """The dates that a visit has when it follows its window."""
    ordered = counts.get(visit.site_id, 1) if visit.kind == VisitKind.MID_SEASON else 1
    return span_of(frost, visit.site, window, visit.sequence, max(ordered, visit.sequence))


@dataclass(frozen=True)
class SeasonDates:
    """When startup or winterization of a season falls at one site; `own`: the window gives each site its own date."""

    year: int
    kind: str
    name: str
    span: Span
    own: bool


def season_dates(site: Site, years: Sequence[int]) -> list[SeasonDates]:
    """By date; seasons without a window are left out."""
    frost = SiteFrost([site])
    windows = SeasonWindow.objects.filter(season_year__in=years, kind__in=SIDE_OF)
    return [
        SeasonDates(w.season_year, w.kind, w.get_kind_display(), span_of(frost, site, w), w.chance is not None)
        for w in windows
    ]


@dataclass(frozen=True)
class OwnDate:
    """The day that one site's frost asks for, before the window holds it."""

    on: dt.date
    site: Site
    reason: str


def own_dates(frost: SiteFrost, kind: str, season_year: int, chance: float) -> list[OwnDate]:
    """Sites with a record that can be relied on, the earliest date first."""
    side = SIDE_OF[kind]
    found = []
    for site in frost.sites:
        limit = frost.limit(site, side, season_year, chance)
        if on := own_date(limit):
            later = frost.place(site).frost_days * (1 if side == "spring" else -1)
            found.append(OwnDate(on + dt.timedelta(days=later), site, limit.reason + moved_words(later)))
    return sorted(found, key=lambda row: (row.on, row.site.name, row.site.pk))


@dataclass(frozen=True)
class Suggestion:
    """A window as the freeze history suggests it; no dates where the record gives none."""

    kind: str
    opens_on: dt.date | None
    due_on: dt.date | None
    reason: str
    sufficient: bool

    @property
    def usable(self) -> bool:
        return self.opens_on is not None and self.due_on is not None

    @property
    def name(self) -> str:
        return VisitKind(self.kind).label


def suggested_windows(season_year: int, chance: float, frost: SiteFrost | None = None) -> list[Suggestion]:
    """Startup opens when a later hard freeze is at most this likely, winterization is due before an earlier one.

    One window for all: each station counts for its own sites, startup at their median elevation, winterization at
    the highest, because a deadline must protect everybody. Of several stations the most careful date counts.
    """
    frost = frost or frost_of_current_sites()
    starts, ends = (list(_careful(frost, side, season_year, chance)) for side in SIDE_OF.values())
    return _with_checks(_startup(starts), _winterisation(ends))


def outer_windows(season_year: int, chance: float, frost: SiteFrost | None = None) -> list[Suggestion]:
    """The bounds around the sites' own dates: within them every site is protected by its own.

    Startup opens with the site that thaws first, winterization ends with the one that freezes last; a round's
    length before the first deadline and after the last opening, so that no site is held to the window.
    """
    frost = frost or frost_of_current_sites()
    starts, ends = (own_dates(frost, kind, season_year, chance) for kind in SIDE_OF)
    startup, winterisation = suggested_windows(season_year, chance, frost)[::2]
    if starts:
        first, last = starts[0], starts[-1].on + dt.timedelta(days=ROUND_DAYS)
        reason = fitting(f"{first.site}, the first to thaw: {first.reason}")
        startup = Suggestion(VisitKind.STARTUP, first.on, last, reason, sufficient=True)
    if ends:
        opens_on, coldest = ends[0].on - dt.timedelta(days=ROUND_DAYS), ends[-1]
        reason = fitting(f"{coldest.site}, the last to freeze: {coldest.reason}")
        winterisation = Suggestion(VisitKind.WINTERISATION, opens_on, coldest.on, reason, sufficient=True)
    return _with_checks(startup, winterisation)


def frost_of_current_sites() -> SiteFrost:
    return SiteFrost(Site.objects.current())


def windows_over(season_year: int, today: dt.date) -> list[VisitKind]:
    """The kinds of visit whose window of this season has passed."""
    ended = set(SeasonWindow.objects.filter(season_year=season_year, due_on__lt=today).values_list("kind", flat=True))
    return [kind for kind in SEASONAL if kind in ended]


def _with_checks(startup: Suggestion, winterisation: Suggestion) -> list[Suggestion]:
    return [startup, _mid_season(startup, winterisation), winterisation]


def _careful(frost: SiteFrost, side: Side, season_year: int, chance: float) -> Iterator[FrostLimit]:
    for station in frost.stations.values():
        rises = [frost.rise_m(site) for site in frost.sites if site.weather_station_id == station.pk]
        rise_m = statistics.median(rises) if side == "spring" else max(rises)
        yield frost.limit_at(station, rise_m, side, season_year, chance)


def _pick(limits: Iterable[FrostLimit], choose: Callable[..., FrostLimit]) -> FrostLimit:
    dated = [limit for limit in limits if limit.on]
    if dated:
        return choose(dated, key=lambda limit: limit.on)
    return next(iter(limits), FrostLimit(None, "no site has a weather station", sufficient=False))


def _startup(limits: list[FrostLimit]) -> Suggestion:
    limit = _pick(limits, max)
    due = limit.on + dt.timedelta(days=ROUND_DAYS) if limit.on else None
    return Suggestion(VisitKind.STARTUP, limit.on, due, fitting(limit.reason), limit.sufficient)


def _winterisation(limits: list[FrostLimit]) -> Suggestion:
    limit = _pick(limits, min)
    opens = limit.on - dt.timedelta(days=ROUND_DAYS) if limit.on else None
    return Suggestion(VisitKind.WINTERISATION, opens, limit.on, fitting(limit.reason), limit.sufficient)


def _mid_season(startup: Suggestion, winterisation: Suggestion) -> Suggestion:
    reason = f"from {SETTLE_DAYS} days after the last startup to {SETTLE_DAYS} days before winterization begins"
    empty = Suggestion(VisitKind.MID_SEASON, None, None, reason, startup.sufficient and winterisation.sufficient)
    if not startup.due_on or not winterisation.opens_on:
        return replace(empty, reason="needs the two dates of startup and winterization")
    opens = startup.due_on + dt.timedelta(days=SETTLE_DAYS)
    due = winterisation.opens_on - dt.timedelta(days=SETTLE_DAYS)
    return replace(empty, opens_on=opens, due_on=due) if opens <= due else empty
