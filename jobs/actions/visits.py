"""The season's visits: when each kind may happen, and the visits every service plan orders."""

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet

from jobs.actions.planning.queue import queue_planners
from jobs.actions.skills import set_skills
from jobs.models import SeasonWindow, ServicePlan, Skill, Visit, VisitKind, VisitTerms
from jobs.queries.frost import SIDE_OF, SiteFrost
from jobs.queries.service_minutes import ServiceMinutes
from jobs.queries.windows import mid_season_counts, span_of, window_span
from sites.actions import register
from sites.actions.audit import record
from sites.models import Firm, User

State = Visit.State
DATE_FIELDS = ["opens_on", "due_on", "window_reason"]


@transaction.atomic
def generate_visits(*, season_year: int, by: User | None, today: dt.date | None = None) -> int:
    """Make the startup, mid-season and winterization visits that current sites have ordered; returns how many.

    Mid-season visits spread over their window; where a window has a chance, startup and winterization get the site's
    own date. Safe to repeat: a visit that exists, also a cancelled one, is left
    alone. With `today`, visits whose window is over by then are not made: a site that joins in autumn gets no
    startup beside its winterization. ValidationError naming the kinds whose window is missing.
    """
    plans = list(ServicePlan.objects.filter(site__archived_at=None).select_related("site").order_by("pk"))
    wanted = [(plan, kind, count) for plan in plans for kind, count in _ordered(plan)]
    windows = {window.kind: window for window in SeasonWindow.objects.filter(season_year=season_year)}
    missing = [kind.label for kind in VisitKind if any(k == kind for _, k, _ in wanted) and kind not in windows]
    if missing:
        raise ValidationError(f"Season {season_year} has no window yet for: {', '.join(missing)}. Set it first.")
    known = set(Visit.objects.filter(season_year=season_year).values_list("site_id", "kind", "sequence").distinct())
    sites = [plan.site for plan in plans]
    minutes, frost = ServiceMinutes(sites), SiteFrost(sites)
    new = [
        _visit(plan, windows[kind], sequence, count, minutes, frost)
        for plan, kind, count in wanted
        for sequence in range(1, count + 1)
        if (plan.site_id, str(kind), sequence) not in known
    ]
    new = [visit for visit in new if today is None or _last_day(visit, windows) >= today]
    before = Visit.objects.filter(season_year=season_year).count()
    # Two people pressing at once: the constraint keeps each visit once, the later press makes nothing.
    Visit.objects.bulk_create(new, batch_size=500, ignore_conflicts=True)
    made = Visit.objects.filter(season_year=season_year).count() - before
    record(by=by, verb="visits generated", subject=Firm.current(), season_year=season_year, visits=made)
    return made


def _ordered(plan: ServicePlan) -> Iterator[tuple[VisitKind, int]]:
    counts = {
        VisitKind.STARTUP: int(plan.startup),
        VisitKind.MID_SEASON: plan.mid_season_visits,
        VisitKind.WINTERISATION: int(plan.winterisation),
    }
    yield from ((kind, count) for kind, count in counts.items() if count)


def _last_day(visit: Visit, windows: Mapping[str, SeasonWindow]) -> dt.date:
    """When its window is over. A site's own date may have passed before: then the visit is late, not needless."""
    return windows[visit.kind].due_on if visit.kind in SIDE_OF else visit.due_on


def _visit(
    plan: ServicePlan, window: SeasonWindow, sequence: int, count: int, minutes: ServiceMinutes, frost: SiteFrost
) -> Visit:
    span = span_of(frost, plan.site, window, sequence, count)
    return Visit(
        site=plan.site,
        kind=window.kind,
        season_year=window.season_year,
        sequence=sequence,
        opens_on=span.opens_on,
        due_on=span.due_on,
        window_reason=span.reason,
        service_min=minutes.at(plan.site, window.kind).minutes,
    )


@transaction.atomic
def save_window(*, window: SeasonWindow, by: User | None) -> int:
    """Set a season's window, saved before or not; its visits follow it. Returns how many got other dates.

    With `chance` each site has a date of its own inside the window. Promised, started and finished visits and those
    with dates set by hand keep theirs. ValidationError by field.
    """
    queue_planners()
    season_year, kind = window.season_year, window.kind
    row = SeasonWindow.objects.select_for_update().filter(season_year=season_year, kind=kind).first()
    if row is not None and row.pk != window.pk:
        row.opens_on, row.due_on = window.opens_on, window.due_on
        row.reason, row.chance, window = window.reason, window.chance, row
    register.save(instance=window, by=by)
    moved = _renew(_followers().filter(season_year=season_year, kind=kind), [window])
    if moved:
        record(by=by, verb="windows of visits moved", subject=window, visits=moved)
    return moved


@transaction.atomic
def save_service_plan(*, plan: ServicePlan, terms: VisitTerms, skills: Iterable[Skill], by: User | None) -> int:
    """Save what a site has ordered and how it wants to be visited; returns how many of its visits got other dates.

    Only visits that follow a window do; those that are made already stay. ValidationError by field.
    """
    queue_planners()
    register.save(instance=plan, by=by)
    register.save(instance=terms, by=by)
    set_skills(row=terms, skills=skills, by=by)
    moved = _renew(_followers().filter(site=plan.site), SeasonWindow.objects.all())
    if moved:
        record(by=by, verb="windows of visits moved", subject=plan.site, visits=moved)
    return moved


@transaction.atomic
def renew_dates(*, season_year: int, promised_too: bool = False, by: User | None) -> int:
    """Give the visits of this season that follow a window its dates as they are now; returns how many changed.

    For visits that were loaded, not made here, and after a site's station or elevation was put right.
    """
    queue_planners()
    rows = _waiting() if promised_too else _followers()
    moved = _renew(rows.filter(season_year=season_year), SeasonWindow.objects.filter(season_year=season_year))
    record(by=by, verb="windows of visits moved", subject=Firm.current(), season_year=season_year, visits=moved)
    return moved


def _followers() -> QuerySet[Visit]:
    """Visits that go along when their window changes."""
    return _waiting().filter(promised=False)


def _waiting() -> QuerySet[Visit]:
    """Visits that have not started and whose dates nobody set by hand."""
    return Visit.objects.filter(state__in=[State.OPEN, State.PLANNED], own_dates=False)


def _renew(visits: QuerySet[Visit], windows: Iterable[SeasonWindow]) -> int:
    """Write the dates and reasons that these visits have by their windows; returns how many dates changed."""
    by_kind = {(window.season_year, window.kind): window for window in windows}
    rows = list(visits.select_for_update(of=("self",)).select_related("site").order_by("pk"))
    rows = [visit for visit in rows if (visit.season_year, visit.kind) in by_kind]
    frost = SiteFrost({visit.site for visit in rows})
    counts = mid_season_counts(frost.sites)
    changed, moved = [], 0
    for visit in rows:
        span = window_span(visit, by_kind[visit.season_year, visit.kind], frost, counts)
        if (visit.opens_on, visit.due_on, visit.window_reason) != (span.opens_on, span.due_on, span.reason):
            moved += (visit.opens_on, visit.due_on) != (span.opens_on, span.due_on)
            visit.opens_on, visit.due_on, visit.window_reason = span.opens_on, span.due_on, span.reason
            changed.append(visit)
    Visit.objects.bulk_update(changed, DATE_FIELDS, batch_size=500)
    return moved
