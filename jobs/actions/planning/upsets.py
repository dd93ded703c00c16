"""Something came up: a new plan is computed and shown; nothing changes before a person accepts it."""

import datetime as dt
import zoneinfo
from collections.abc import Mapping
from functools import partial
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from jobs.actions.planning.assignment import PLAN_FIELDS, PROMISE_FIELDS, add_visit, cancel_visit
from jobs.actions.planning.day import store_days
from jobs.actions.planning.errors import PlanOutdated
from jobs.actions.planning.queue import queue_planners
from jobs.actions.team import add_absence
from jobs.actions.visits import save_window
from jobs.core.site_dates import fitting
from jobs.models import Absence, Replan, SeasonWindow, Visit, VisitKind
from jobs.queries.days import read_days
from jobs.queries.planning import hours_to_promise, planning_technicians, time_at
from jobs.queries.upset_answers import answer_to, due_of, proposal_of, situation_of, winterisations_left
from jobs.queries.upsets import NEW, Situation, last_working_day
from sites.actions.audit import record
from sites.core import told
from sites.models import Firm, Site, User

State = Visit.State
# How far the work of an absence may be pushed; deadlines still hold. Common practice, no source.
AFTER_ABSENCE_WORKING_DAYS = 5
AFTER_CALL_OUT_DAYS = 7
OLD_AFTER_MIN = 30  # a proposal that touches today is about a morning that is over by then


def propose_absence(
    *, technician: User, first_day: dt.date, last_day: dt.date, reason: str = "", now: dt.datetime, by: User | None
) -> Replan:
    """A technician falls ill or is away: what others can take over, and when the rest is made."""
    today = _today(now)
    if last_day < max(first_day, today):
        raise ValidationError({"last_day": "The last day must not lie before the first, nor in the past."})
    detail = {
        "technician": technician.pk,
        "first_day": first_day.isoformat(),
        "last_day": last_day.isoformat(),
        "reason": reason,
    }
    until = last_working_day(last_day, AFTER_ABSENCE_WORKING_DAYS)
    return _propose(Replan.Upset.AWAY, detail, max(first_day, today), until, now, by)


def propose_frost(*, season_year: int, due_on: dt.date, now: dt.datetime, by: User | None) -> Replan:
    """The first hard freeze comes early: every winterization of the season must be made by `due_on`."""
    tomorrow = _today(now) + dt.timedelta(days=1)
    if due_on < tomorrow:
        raise ValidationError({"due_on": "The last day must be in the future."})
    season = winterisations_left(season_year)
    later = season.filter(due_on__gt=due_on)
    if not later.exists():
        raise ValidationError({"due_on": "Every winterization is due by then already."})
    # No winterization can go to a day before the first one opens: those days stay as they are.
    first = min([due_on, *season.values_list("opens_on", flat=True)])
    last = max([due_on, *(day for day in later.values_list("planned_on", flat=True) if day)])
    detail = {"season_year": season_year, "due_on": due_on.isoformat()}
    return _propose(Replan.Upset.FROST, detail, max(tomorrow, first), last, now, by)


def propose_call_out(
    *,
    site: Site,
    service_min: int,
    begin_by: dt.time | None = None,
    instructions: str = "",
    now: dt.datetime,
    by: User | None,
) -> Replan:
    """An urgent call, for example a burst pipe: somebody comes today, if possible by the hour that was asked for."""
    local = _local(now)
    if begin_by is not None and begin_by <= local.time():
        raise ValidationError({"begin_by": f"That time is past: it is {local:%H:%M} already."})
    today = local.date()
    detail = {
        "site": site.pk,
        "service_min": service_min,
        "begin_by": begin_by.isoformat() if begin_by else None,
        "instructions": instructions,
    }
    return _propose(Replan.Upset.CALL_OUT, detail, today, today + dt.timedelta(days=AFTER_CALL_OUT_DAYS), now, by)


def propose_cancellation(*, visit: Visit, reason: str, now: dt.datetime, by: User | None) -> Replan:
    """A client cancels: the rest of that day closes up."""
    if not reason.strip():
        raise ValidationError({"reason": "Say why the visit is cancelled."})
    if visit.state != State.PLANNED or visit.placed[1] < _today(now):
        raise ValidationError({"visit": "Only a planned visit in the future can be cancelled here."})
    detail = {"visit": visit.pk, "reason": reason.strip()}
    return _propose(Replan.Upset.CANCELLED, detail, visit.placed[1], visit.placed[1], now, by)


def _propose(
    upset: str, detail: dict[str, Any], first_day: dt.date, last_day: dt.date, now: dt.datetime, by: User | None
) -> Replan:
    detail = {**detail, "now": now.isoformat()}
    row = Replan(upset=upset, detail=detail, first_day=first_day, last_day=last_day, asked_by=by)
    before = situation_of(row)
    row.fingerprint = before.fingerprint
    row.proposal = proposal_of(row, answer_to(row, before))
    with transaction.atomic():
        row.save()
        record(by=by, verb=f"new plan proposed: {upset}", subject=row, moves=len(row.proposal["moves"]))
    return row


@transaction.atomic
def accept(*, replan: Replan, now: dt.datetime, by: User | None) -> Replan:
    """Make the proposal the plan: the upset itself, every changed visit and the days' routes, all or nothing.

    Promises that could not be kept become new ones at the new hours, to be told to the client; a visit without a
    place waits to be planned. PlanOutdated, and nothing written, if anything has changed since it was proposed.
    """
    queue_planners()
    row = Replan.objects.select_for_update().get(pk=replan.pk)
    if row.state != Replan.State.PROPOSED:
        raise ValidationError("This proposal has been decided already.")
    asked = dt.datetime.fromisoformat(row.detail["now"])
    if row.first_day <= _today(now) and now - asked > dt.timedelta(minutes=OLD_AFTER_MIN):
        raise PlanOutdated("Work has gone on since this was proposed. Nothing was changed; compute it again.")
    in_days = Visit.objects.filter(planned_on__range=(row.first_day, row.last_day))
    list(in_days.select_for_update().order_by("pk").values_list("pk", flat=True))
    before = situation_of(row)
    if before.fingerprint != row.fingerprint:
        raise PlanOutdated(
            "Visits or working days have changed since this was proposed. Nothing was changed; compute it again."
        )
    new = _apply_upset(row, by)
    _apply_plan(row, before, new)
    _decide(row, Replan.State.ACCEPTED, by)
    return row


@transaction.atomic
def discard(*, replan: Replan, by: User | None) -> Replan:
    """Leave everything as it was."""
    row = Replan.objects.select_for_update().get(pk=replan.pk)
    if row.state != Replan.State.PROPOSED:
        raise ValidationError("This proposal has been decided already.")
    _decide(row, Replan.State.DISCARDED, by)
    return row


def _decide(row: Replan, state: str, by: User | None) -> None:
    row.state, row.decided_at = state, timezone.now()
    row.save(update_fields=["state", "decided_at"])
    record(by=by, verb=f"new plan {state}", subject=row, upset=row.upset)


def _apply_upset(row: Replan, by: User | None) -> Visit | None:
    """What happened becomes data; returns the visit that an urgent call made."""
    detail = row.detail
    if row.upset == Replan.Upset.AWAY:
        first, last = (dt.date.fromisoformat(detail[name]) for name in ("first_day", "last_day"))
        who = User.objects.get(pk=detail["technician"])
        add_absence(absence=Absence(technician=who, starts_on=first, ends_on=last, reason=detail["reason"]), by=by)
    elif row.upset == Replan.Upset.FROST:
        _move_deadlines(detail["season_year"], due_of(row), by)
    elif row.upset == Replan.Upset.CANCELLED:
        cancel_visit(visit=Visit.objects.get(pk=detail["visit"]), reason=detail["reason"], by=by)
    else:
        visit = Visit(
            site=Site.objects.get(pk=detail["site"]),
            opens_on=row.first_day,
            due_on=max(dt.date.fromisoformat(on) for _, on, keys in row.proposal["orders"] if NEW in keys),
            service_min=detail["service_min"],
            instructions=detail["instructions"],
        )
        return add_visit(visit=visit, by=by)
    return None


def _move_deadlines(season_year: int, due_on: dt.date, by: User | None) -> None:
    window = SeasonWindow.objects.filter(season_year=season_year, kind=VisitKind.WINTERISATION).first()
    why = f"Frost earlier than planned: by {told.on(due_on)}."
    if window and window.due_on > due_on:
        reason = fitting(f"{why} {window.reason}".strip())
        window.opens_on, window.due_on, window.reason = min(window.opens_on, due_on), due_on, reason
        save_window(window=window, by=by)
    # Promised visits and those with dates of their own do not follow the window, but the frost comes to them, too.
    rest = winterisations_left(season_year).filter(due_on__gt=due_on)
    rest.filter(opens_on__gt=due_on).update(opens_on=due_on)
    rest.update(due_on=due_on, window_reason=why)


def _apply_plan(row: Replan, before: Situation, new: Visit | None) -> None:
    places = {
        (new.pk if key == NEW and new else key): (technician, dt.date.fromisoformat(on))
        for technician, on, keys in row.proposal["orders"]
        for key in keys
    }
    moved = {line["visit"] for line in row.proposal["moves"]}
    pks = [*map(int, before.rows), *([new.pk] if new else [])]
    rows = {visit.pk: visit for visit in Visit.objects.filter(pk__in=pks).select_related("site")}
    people = User.objects.select_related("technician_profile").in_bulk({pk for pk, _ in places.values()})
    touched: set[tuple[int, dt.date]] = set()
    for pk, visit in rows.items():
        was = visit.placed if visit.technician_id and visit.planned_on else None
        place = places.get(pk)
        if place != was or pk in moved:
            touched |= {day for day in (was, place) if day}
        if place is None and pk in row.proposal["off"]:
            _take_off(visit)
        elif place is not None:
            visit.state, visit.technician, visit.planned_on = State.PLANNED, people[place[0]], place[1]
            _renew_promise(visit, row.proposal)
    changed = [visit for visit in rows.values() if visit.state != State.CANCELLED]
    Visit.objects.bulk_update(changed, [*PLAN_FIELDS, *PROMISE_FIELDS], batch_size=200)
    _store_routes(row.proposal, touched, new)


def _take_off(visit: Visit) -> None:
    visit.state, visit.technician_id, visit.planned_on = State.OPEN, None, None
    visit.position = visit.arrives_at = visit.leaves_at = None
    visit.promised, visit.promised_time, visit.promised_until = False, None, None


def _renew_promise(visit: Visit, proposal: Mapping[str, Any]) -> None:
    """A promise that did not hold is made again for the new hours; one of the day only stays one of the day only."""
    if visit.pk in proposal["broken"] and visit.promised_time is not None:
        begins, until = hours_to_promise(visit, proposal["starts"][str(visit.pk)] // 60)
        visit.promised_time, visit.promised_until = time_at(begins * 60), time_at(until * 60)


def _place_in(order: Mapping[int, int], visit: Visit) -> int:
    return order.get(visit.pk, len(order))


def _store_routes(proposal: Mapping[str, Any], touched: set[tuple[int, dt.date]], new: Visit | None) -> None:
    order = {
        (technician, dt.date.fromisoformat(on)): [new.pk if key == NEW and new else key for key in keys]
        for technician, on, keys in proposal["orders"]
    }
    people = {user.pk: user for user in planning_technicians()}
    days = []
    for pk, date in sorted(touched):
        if pk in people:
            day = read_days(date, [people[pk]])[0]
            place = {key: n for n, key in enumerate(order.get((pk, date), ()))}
            days.append((day, sorted(day.to_do, key=partial(_place_in, place))))
    store_days(days)
    # A day that is under way goes on from now: its times are the proposal's, not those of a day that begins.
    timed = [visit for day, visits in days for visit in visits]
    for visit in timed:
        start = proposal["starts"].get(NEW if new and visit.pk == new.pk else str(visit.pk))
        if start is not None:
            visit.arrives_at, visit.leaves_at = time_at(start), time_at(start + visit.service_min * 60)
    Visit.objects.bulk_update(timed, ["arrives_at", "leaves_at"], batch_size=200)


def _local(now: dt.datetime) -> dt.datetime:
    return now.astimezone(zoneinfo.ZoneInfo(Firm.current().time_zone))


def _today(now: dt.datetime) -> dt.date:
    return _local(now).date()
