"""One visit at a time: onto a technician's day, off it, promised, changed, added, cancelled."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction

from jobs.actions.planning.day import (
    DAY_CHANGED,
    lock_days,
    one_day,
    refuse_past,
    reroute,
    set_order,
    store_days,
)
from jobs.actions.planning.errors import Doubtful
from jobs.actions.planning.queue import queue_planners
from jobs.actions.skills import set_skills
from jobs.core.routing.day import DayRoute as CoreRoute
from jobs.models import ClientTold, SeasonWindow, Skill, Visit, VisitKind
from jobs.queries.days import Day
from jobs.queries.doubts import doubts, promise_doubts
from jobs.queries.frost import SiteFrost
from jobs.queries.windows import mid_season_counts, window_span
from sites.actions import register
from sites.actions.audit import record
from sites.core import writing
from sites.models import Role, User

State = Visit.State
PROMISE_FIELDS = ["promised", "promised_time", "promised_until"]
PLAN_FIELDS = ["state", "technician", "planned_on", "position", "arrives_at", "leaves_at"]
WHY_FIXED = {
    State.STARTED: "This visit has started and stays where it is.",
    State.FINISHED: "This visit is finished.",
    State.CANCELLED: "This visit was cancelled.",
}


@transaction.atomic
def assign(*, visit: Visit, technician: User, planned_on: dt.date, knowingly: bool = False, by: User | None) -> Visit:
    """Put a visit on a technician's day where it costs least driving; both days get new times.

    Doubtful, by field, for a day outside the window, a closed site or an absence, unless it is wanted `knowingly`:
    then the day's warnings tell it. ValidationError for a past day, a promised, started, finished or cancelled visit,
    or somebody without working hours.
    """
    refuse_past(planned_on)
    visit = _locked(visit)
    _refuse_promised(visit)
    if technician.role != Role.TECHNICIAN or not technician.is_active:
        raise ValidationError({"technician": f"{technician} is not a technician who works here."})
    before = _place(visit)
    lock_days({(technician.pk, planned_on)})
    day = one_day(technician, planned_on)
    if before == (technician, planned_on):
        return visit
    if not knowingly:
        _refuse_doubtful(doubts(visit, day.technician, planned_on))
    others = list(day.to_do)
    visit.state, visit.technician, visit.planned_on = State.PLANNED, technician, planned_on
    visit.save(update_fields=PLAN_FIELDS)
    day = one_day(technician, planned_on)  # with the new point in its travel matrix
    store_days([(day, _best_place(day, visit, others))])
    if before:
        reroute([before])
    record(
        by=by,
        verb="visit assigned",
        subject=visit,
        technician=technician.pk,
        planned_on=planned_on.isoformat(),
        before=[before[0].pk, before[1].isoformat()] if before else None,
    )
    visit.refresh_from_db()
    return visit


def _refuse_doubtful(found: Sequence[tuple[str, str]]) -> None:
    by_field: dict[str, list[str]] = defaultdict(list)
    for field, words in found:
        by_field[field].append(words)
    if by_field:
        raise Doubtful(dict(by_field))


@transaction.atomic
def hand_over(*, visit: Visit, technician: User, date: dt.date, visit_ids: Sequence[int], by: User | None) -> None:
    """Give a visit of this date to another technician of the same day, in the order chosen there by hand.

    `visit_ids` are all visits of that technician's day that have not started, this one among them. ValidationError
    where they are not or the visit left the date since; Doubtful and what else `assign` refuses.
    """
    refuse_past(date)
    lock_days({(user_id, date) for user_id in (technician.pk, visit.technician_id) if user_id})
    if _locked(visit).planned_on != date:
        raise ValidationError(DAY_CHANGED)
    assign(visit=visit, technician=technician, planned_on=date, by=by)
    set_order(technician=technician, date=date, visit_ids=visit_ids, by=by)


def _best_place(day: Day, visit: Visit, others: list[Visit]) -> list[Visit]:
    """The order of the others with this visit where fewest rules break, then where driving is least."""

    def cost(route: CoreRoute) -> tuple[int, int, int]:
        return len(route.broken), sum(broken.late_s for broken in route.broken), route.drive_s

    orders = [[*others[:n], visit, *others[n:]] for n in range(len(others) + 1)]
    return min(orders, key=lambda order: cost(day.in_order(order)))


@transaction.atomic
def unassign(*, visit: Visit, by: User | None) -> Visit:
    """Take a visit off its day; it waits to be planned again. ValidationError if promised, started or over."""
    visit = _locked(visit)
    _refuse_promised(visit)
    before = _place(visit)
    if before is None:
        return visit
    _take_off(visit)
    visit.save(update_fields=PLAN_FIELDS)
    reroute([before])
    record(by=by, verb="visit unassigned", subject=visit, before=[before[0].pk, before[1].isoformat()])
    return visit


@transaction.atomic
def pin(
    *,
    visit: Visit,
    promised: bool,
    promised_time: dt.time | None = None,
    promised_until: dt.time | None = None,
    knowingly: bool = False,
    by: User | None,
) -> Visit:
    """Note that the client was told the day (and the time, or the hours within which work begins), or take that back.

    A promised visit is moved by no planner. ValidationError if the visit is not planned or the hours end too early;
    Doubtful for an exact time at which the site is closed or nobody works, unless it is wanted `knowingly`.
    """
    visit = _locked(visit)
    if promised and promised_time and not promised_until and not knowingly:
        _refuse_doubtful(promise_doubts(visit, promised_time))
    _promise(visit, promised, promised_time, promised_until, by)
    if before := _place(visit):
        reroute([before])
    visit.refresh_from_db()
    return visit


@transaction.atomic
def promise_hours(*, told: Mapping[Visit, tuple[dt.time | None, dt.time | None]], by: User | None) -> None:
    """Promise many visits, each the hours (from, to) that its client is told, before any day gets new times.

    A promise may move the stops behind it: what is told must not depend on whose turn came first.
    """
    rows = [(_locked(visit), hours) for visit, hours in told.items()]
    for visit, (begins, until) in rows:
        _promise(visit, True, begins, until, by)
    reroute({place for visit, _ in rows if (place := _place(visit))})


def _promise(visit: Visit, promised: bool, begins: dt.time | None, until: dt.time | None, by: User | None) -> None:
    if promised and visit.state != State.PLANNED:
        raise ValidationError("Only a planned visit can be promised.")
    if until and (begins is None or until <= begins):
        raise ValidationError("The promised hours must end after they start.")
    visit.promised, visit.promised_time = promised, begins if promised else None
    visit.promised_until = until if promised else None
    visit.save(update_fields=PROMISE_FIELDS)
    if promised:
        ClientTold.objects.create(
            visit=visit,
            by=by,
            on_date=visit.planned_on,
            from_time=visit.promised_time,
            until_time=visit.promised_until,
        )
    verb = "visit promised" if promised else "promise withdrawn"
    on = visit.planned_on.isoformat() if visit.planned_on else None
    time, end = (clock.isoformat() if clock else None for clock in (visit.promised_time, visit.promised_until))
    record(by=by, verb=verb, subject=visit, on=on, time=time, until=end)


@transaction.atomic
def cancel_visit(*, visit: Visit, reason: str, by: User | None) -> Visit:
    """Cancel a visit that has not started; its place in the day is given back. The reason is kept in the audit.

    ValidationError without a reason, or if the visit has started or is over.
    """
    if not reason.strip():
        raise ValidationError({"reason": "Say why the visit is cancelled."})
    visit = _locked(visit)
    before = _place(visit)
    visit.state = State.CANCELLED
    visit.position = visit.arrives_at = visit.leaves_at = None
    visit.promised, visit.promised_time, visit.promised_until = False, None, None
    visit.save(update_fields=["state", "position", "arrives_at", "leaves_at", *PROMISE_FIELDS])
    if before:
        reroute([before])
    record(by=by, verb="visit cancelled", subject=visit, reason=reason.strip())
    return visit


@transaction.atomic
def add_visit(*, visit: Visit, skills: Iterable[Skill] = (), by: User | None) -> Visit:
    """Keep an unsaved visit on request, open to be planned; one without a kind is a repair.

    ValidationError (by field) on bad dates. It belongs to the season of its first day where it names none.
    """
    if visit.site.archived_at:
        raise ValidationError({"site": "This site is archived."})
    visit.kind = visit.kind or VisitKind.REPAIR
    visit.season_year = visit.season_year or visit.opens_on.year
    earlier = Visit.objects.filter(site=visit.site, kind=visit.kind, season_year=visit.season_year)
    last = earlier.order_by("-sequence").values_list("sequence", flat=True).first() or 0
    visit.sequence, visit.own_dates = last + 1, True
    register.save(instance=visit, by=by)
    set_skills(row=visit, skills=skills, by=by)
    return visit


CHANGEABLE = {"opens_on", "due_on", "service_min", "instructions"}
BY_HAND = "set by hand"


@transaction.atomic
def change_visit(*, visit: Visit, changes: Mapping[str, Any], by: User | None) -> Visit:
    """Change dates, minutes on site, instructions or skills; its day gets new times. ValidationError by field.

    Other dates are set by hand from now on: they follow the season's window no more.
    """
    row = _locked(visit)
    dates = row.opens_on, row.due_on
    for name in CHANGEABLE & changes.keys():
        setattr(row, name, changes[name])
    if (row.opens_on, row.due_on) != dates:
        row.own_dates, row.window_reason = True, BY_HAND
    register.save(instance=row, by=by)
    if "skills" in changes:
        set_skills(row=row, skills=changes["skills"], by=by)
    if before := _place(row):
        reroute([before])
    return row


@transaction.atomic
def follow_window(*, visit: Visit, by: User | None) -> Visit:
    """Give up dates set by hand: the visit has its window's dates again and follows it from now on.

    ValidationError if the season has no window of this kind, or the visit has started or is over.
    """
    row = _locked(visit)
    window = SeasonWindow.objects.filter(season_year=row.season_year, kind=row.kind).first()
    if window is None:
        raise ValidationError(f"Season {row.season_year} has no window for: {row.get_kind_display()}.")
    span = window_span(row, window, SiteFrost([row.site]), mid_season_counts([row.site]))
    row.opens_on, row.due_on, row.window_reason, row.own_dates = span.opens_on, span.due_on, span.reason, False
    register.save(instance=row, by=by)
    if before := _place(row):
        reroute([before])
    record(by=by, verb="visit follows the season's window again", subject=row)
    return row


def _locked(visit: Visit) -> Visit:
    """The row as it is now, held until the transaction ends; refused when it cannot change any more."""
    queue_planners()
    row = Visit.objects.select_for_update().get(pk=visit.pk)
    if row.state in WHY_FIXED:
        raise ValidationError(WHY_FIXED[State(row.state)])
    return row


def _refuse_promised(visit: Visit) -> None:
    if visit.promised:
        day = f"{writing.day(visit.planned_on)}" if visit.planned_on else "this visit"
        raise ValidationError(f"The client was promised {day}. Withdraw the promise first.")


def _place(visit: Visit) -> tuple[User, dt.date] | None:
    if visit.state != State.PLANNED or visit.technician is None or visit.planned_on is None:
        return None
    return visit.technician, visit.planned_on


def _take_off(visit: Visit) -> None:
    visit.state, visit.technician, visit.planned_on = State.OPEN, None, None
    visit.position = visit.arrives_at = visit.leaves_at = None
