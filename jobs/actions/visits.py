"""The season's visits: when each kind may happen, and the visits every service plan orders."""

import datetime as dt
from collections.abc import Iterator

from django.core.exceptions import ValidationError
from django.db import transaction

from jobs.models import SeasonWindow, ServicePlan, Visit, VisitKind
from jobs.queries.service_minutes import ServiceMinutes
from jobs.queries.windows import part_of
from sites.actions import register
from sites.actions.audit import record
from sites.models import Firm, User

State = Visit.State


@transaction.atomic
def generate_visits(*, season_year: int, by: User | None, today: dt.date | None = None) -> int:
    """Make the startup, mid-season and winterisation visits that current sites have ordered; returns how many.

    Mid-season visits spread over their window. Safe to repeat: a visit that exists, also a cancelled one, is left
    alone. With `today`, visits whose window is over by then are not made: a site that joins in autumn gets no
    startup beside its winterisation. ValidationError naming the kinds whose window is missing.
    """
    plans = list(ServicePlan.objects.filter(site__archived_at=None).select_related("site").order_by("pk"))
    wanted = [(plan, kind, count) for plan in plans for kind, count in _ordered(plan)]
    windows = {window.kind: window for window in SeasonWindow.objects.filter(season_year=season_year)}
    missing = [kind.label for kind in VisitKind if any(k == kind for _, k, _ in wanted) and kind not in windows]
    if missing:
        raise ValidationError(f"Season {season_year} has no window yet for: {', '.join(missing)}. Set it first.")
    known = set(Visit.objects.filter(season_year=season_year).values_list("site_id", "kind", "sequence").distinct())
    minutes = ServiceMinutes([plan.site for plan in plans])
    new = [
        _visit(plan, windows[kind], sequence, count, minutes)
        for plan, kind, count in wanted
        for sequence in range(1, count + 1)
        if (plan.site_id, str(kind), sequence) not in known
    ]
    new = [visit for visit in new if today is None or visit.due_on >= today]
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


def _visit(plan: ServicePlan, window: SeasonWindow, sequence: int, count: int, minutes: ServiceMinutes) -> Visit:
    opens_on, due_on = part_of(window, sequence, count)
    return Visit(
        site=plan.site,
        kind=window.kind,
        season_year=window.season_year,
        sequence=sequence,
        opens_on=opens_on,
        due_on=due_on,
        service_min=minutes.at(plan.site, window.kind).minutes,
    )


@transaction.atomic
def save_window(
    *, season_year: int, kind: str, opens_on: dt.date, due_on: dt.date, reason: str, by: User | None
) -> int:
    """Set a season's window; visits that still carry the old one follow it. Returns how many visits moved along.

    Promised, started and finished visits and those with dates of their own keep theirs. ValidationError by field.
    """
    window = SeasonWindow.objects.select_for_update().filter(season_year=season_year, kind=kind).first()
    old = SeasonWindow(kind=kind, opens_on=window.opens_on, due_on=window.due_on) if window else None
    window = window or SeasonWindow(season_year=season_year, kind=kind)
    window.opens_on, window.due_on, window.reason = opens_on, due_on, reason
    register.save(instance=window, by=by)
    if old is None or (old.opens_on, old.due_on) == (opens_on, due_on):
        return 0
    followers = _followers(old, window)
    Visit.objects.bulk_update(followers, ["opens_on", "due_on"], batch_size=500)
    record(by=by, verb="windows of visits moved", subject=window, visits=len(followers))
    return len(followers)


def _followers(old: SeasonWindow, new: SeasonWindow) -> list[Visit]:
    """Visits whose dates are the part of the old window that was theirs, with the new dates set."""
    counts = dict(ServicePlan.objects.values_list("site_id", "mid_season_visits"))
    rows = Visit.objects.select_for_update().filter(
        season_year=new.season_year, kind=new.kind, state__in=[State.OPEN, State.PLANNED], promised=False
    )
    followers = []
    for visit in rows.order_by("pk"):
        planned = counts.get(visit.site_id, 1) if new.kind == VisitKind.MID_SEASON else 1
        count = max(planned, visit.sequence)
        if (visit.opens_on, visit.due_on) == part_of(old, visit.sequence, count):
            visit.opens_on, visit.due_on = part_of(new, visit.sequence, count)
            followers.append(visit)
    return followers
