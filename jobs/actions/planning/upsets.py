"""Something came up: a new plan is computed and shown; nothing changes before a person accepts it."""

import datetime as dt
import zoneinfo
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q, Sum
from django.utils import timezone

from jobs.actions.planning.assignment import PLAN_FIELDS, PROMISE_FIELDS, add_visit, cancel_visit
from jobs.actions.planning.day import store_days
from jobs.actions.planning.errors import PlanOutdated
from jobs.actions.planning.queue import queue_planners
from jobs.actions.team import add_absence
from jobs.actions.visits import save_window
from jobs.core.appointments import told_hours
from jobs.core.routing.replan import Appointment, Move, PlanDiff, replan
from jobs.core.routing.season import PlannableVisit, SeasonPlan, SeasonSettings, TechnicianDay, points_needed
from jobs.models import Absence, DayRoute, Replan, SeasonWindow, Visit, VisitKind
from jobs.queries.days import read_days
from jobs.queries.planning import minute_of, planning_technicians, time_at
from jobs.queries.travel import travel_between
from jobs.queries.upsets import NEW, Situation, call_out_visit, last_working_day, situation
from sites.actions.audit import record
from sites.models import Firm, Site, User

State = Visit.State
# How far the work of an absence may be pushed; deadlines still hold. Common practice, no source.
AFTER_ABSENCE_WORKING_DAYS = 5
AFTER_CALL_OUT_DAYS = 7
OLD_AFTER_MIN = 30  # a proposal that touches today is about a morning that is over by then
SMALL_MIN = 15
# An upset is what the spare time of each day is kept for.
SETTINGS = SeasonSettings(spare_fraction=0.0)


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
    """The first hard freeze comes early: every winterisation of the season must be made by `due_on`."""
    tomorrow = _today(now) + dt.timedelta(days=1)
    if due_on < tomorrow:
        raise ValidationError({"due_on": "The last day must lie ahead."})
    later = _winterisations(season_year).filter(due_on__gt=due_on)
    if not later.exists():
        raise ValidationError({"due_on": "Every winterisation is due by then already."})
    last = max([due_on, *later.filter(planned_on__isnull=False).values_list("planned_on", flat=True)])
    detail = {"season_year": season_year, "due_on": due_on.isoformat()}
    return _propose(Replan.Upset.FROST, detail, tomorrow, last, now, by)


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
    today = _today(now)
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
    if visit.state != State.PLANNED or visit.planned_on < _today(now):
        raise ValidationError({"visit": "Only a visit that is planned and lies ahead can be cancelled here."})
    detail = {"visit": visit.pk, "reason": reason.strip()}
    return _propose(Replan.Upset.CANCELLED, detail, visit.planned_on, visit.planned_on, now, by)


def _propose(
    upset: str, detail: dict[str, Any], first_day: dt.date, last_day: dt.date, now: dt.datetime, by: User | None
) -> Replan:
    detail = {**detail, "now": now.isoformat()}
    row = Replan(upset=upset, detail=detail, first_day=first_day, last_day=last_day, asked_by=by)
    before = _situation(row)
    after, plan, diff = _replanned(row, before)
    row.fingerprint = before.fingerprint
    row.proposal = _proposal(row, after, plan, diff)
    with transaction.atomic():
        row.save()
        record(by=by, verb=f"new plan proposed: {upset}", subject=row, moves=len(row.proposal["moves"]))
    return row


def _situation(row: Replan) -> Situation:
    also = None
    if row.upset == Replan.Upset.FROST:
        # Winterisations without a day want one before the new deadline, too.
        open_ones = _winterisations(row.detail["season_year"]).filter(state=State.OPEN, opens_on__lte=_due(row))
        also = Q(pk__in=open_ones.values("pk"))
    now = dt.datetime.fromisoformat(row.detail["now"])
    return situation(first_day=row.first_day, last_day=row.last_day, now=now, also=also)


def _replanned(row: Replan, now: Situation) -> tuple[Situation, SeasonPlan, PlanDiff]:
    """The situation after the upset, the plan near the old one, and the difference."""
    if row.upset == Replan.Upset.AWAY:
        after = replace(now, days=tuple(d for d in now.days if not _is_away(row, now, d)))
    elif row.upset == Replan.Upset.FROST:
        after = replace(now, visits=tuple(_due_by(v, _due(row)) for v in now.visits))
    elif row.upset == Replan.Upset.CANCELLED:
        after = replace(now, visits=tuple(v for v in now.visits if v.key != str(row.detail["visit"])))
    else:
        return _with_call_out(row, now)
    return after, *_solve(after)


def _solve(given: Situation) -> tuple[SeasonPlan, PlanDiff]:
    if not given.days:
        raise ValidationError("Nobody works on these days.")
    travel = travel_between(points_needed(given.visits, given.days))
    return replan(given.previous, given.visits, given.days, travel, settings=SETTINGS, seed=1)


def _is_away(row: Replan, now: Situation, day: TechnicianDay) -> bool:
    first, last = (dt.date.fromisoformat(row.detail[name]) for name in ("first_day", "last_day"))
    return now.technicians[day.technician].pk == row.detail["technician"] and first <= day.date <= last


def _due(row: Replan) -> dt.date:
    return dt.date.fromisoformat(row.detail["due_on"])


def _due_by(visit: PlannableVisit, due_on: dt.date) -> PlannableVisit:
    if visit.kind != VisitKind.WINTERISATION or visit.window_due <= due_on:
        return visit
    return replace(visit, window_opens=min(visit.window_opens, due_on), window_due=due_on)


def _with_call_out(row: Replan, now: Situation) -> tuple[Situation, SeasonPlan, PlanDiff]:
    """By the hour asked for; else today at any hour; else on the next days. The page shows what it came to."""
    site, detail = Site.objects.get(pk=row.detail["site"]), row.detail
    by_min = minute_of(dt.time.fromisoformat(detail["begin_by"])) if detail["begin_by"] else None
    tries = [(row.first_day, by_min)] if by_min is not None else []
    dates = sorted({day.date for day in now.days})
    tries += [(date, None) for date in dates[:3]]
    for date, begin_by in tries:
        new = call_out_visit(site, detail["service_min"], date, begin_by)
        after = replace(now, visits=(*now.visits, new))
        plan, diff = _solve(after)
        if NEW in plan.assignment:
            return after, plan, diff
    raise ValidationError("No technician can come on the next working days.")


def _proposal(row: Replan, after: Situation, plan: SeasonPlan, diff: PlanDiff) -> dict[str, Any]:
    """The plan and the difference as JSON: keys are visit ids, technicians' ids, ISO dates."""
    ids = {name: user.pk for name, user in after.technicians.items()}
    starts = {stop.key: stop.start_s for route in plan.routes.values() for stop in route.stops}
    why = {missing.key: missing.reason for missing in plan.unplaced}
    moves = [_move(after, move, why) for move in diff.moves]
    moves += [_line(after, a.key, after_words=_words(after, a)) for a in diff.added]
    moves += [_line(after, a.key, before_words=_words(after, a), gone=True) for a in diff.removed]
    moves += [_line(after, key, reason=reason) for key, reason in why.items() if key not in after.previous]
    orders = [
        [ids[who], on.isoformat(), [key if key == NEW else int(key) for key in route.keys]]
        for (who, on), route in sorted(plan.routes.items())
    ]
    return {
        "orders": orders,
        "starts": starts,
        "moves": moves,
        "off": [int(m.key) for m in diff.moves if m.after is None],
        "broken": [int(key) for key in diff.promises_broken],
        "tell_clients": [int(key) for key in diff.tell_clients],
        "tell_technicians": sorted(ids[who] for who in diff.tell_technicians if who in ids),
        "people": sorted(ids.values()),
        "drive_before_min": _stored_drive_min(row, after),
        "drive_after_min": round(plan.drive_min, 1),
        "travel_source": plan.travel_source,
        "warnings": list(plan.warnings),
    }


def _stored_drive_min(row: Replan, now: Situation) -> float:
    routes = DayRoute.objects.filter(
        date__range=(row.first_day, row.last_day), technician__in=now.technicians.values()
    )
    return round(routes.aggregate(total=Sum("drive_min"))["total"] or 0.0, 1)


def _line(
    now: Situation, key: str, *, before_words: str = "", after_words: str = "", reason: str = "", gone: bool = False
) -> dict[str, Any]:
    """One line of the difference; empty words mean that the visit has no place."""
    before = now.previous.get(key)
    promised = before is not None and before.promise is not None
    return {
        "visit": NEW if key == NEW else int(key),
        "before": before_words,
        "after": after_words,
        "minutes": None,
        "small": False,
        "promised": promised,
        "promise_kept": not promised,
        "reason": reason,
        "gone": gone,
    }


def _move(now: Situation, move: Move, why: Mapping[str, str]) -> dict[str, Any]:
    minutes = None if move.minutes is None else round(move.minutes)
    same = move.after is not None and move.after.technician == move.before.technician
    small = minutes is not None and same and abs(minutes) < SMALL_MIN and move.promise_kept
    words = _words(now, move.after) if move.after else ""
    line = _line(
        now, move.key, before_words=_words(now, move.before), after_words=words, reason=why.get(move.key, "")
    )
    return {**line, "minutes": minutes, "small": small, "promise_kept": move.promise_kept}


def _words(now: Situation, place: Appointment) -> str:
    at = time_at(round(place.start_min * 60))
    return f"{place.date:%a %d %b} {at:%H:%M}, {place.technician}"


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
        raise PlanOutdated("The day has gone on since this was proposed. Have it computed again.")
    in_days = Visit.objects.filter(planned_on__range=(row.first_day, row.last_day))
    list(in_days.select_for_update().order_by("pk").values_list("pk", flat=True))
    before = _situation(row)
    if before.fingerprint != row.fingerprint:
        raise PlanOutdated("Visits or working days have changed since this was proposed. Have it computed again.")
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
        _move_deadlines(detail["season_year"], _due(row), by)
    elif row.upset == Replan.Upset.CANCELLED:
        cancel_visit(visit=Visit.objects.get(pk=detail["visit"]), reason=detail["reason"], by=by)
    else:
        return add_visit(
            site=Site.objects.get(pk=detail["site"]),
            opens_on=row.first_day,
            due_on=max(dt.date.fromisoformat(on) for _, on, keys in row.proposal["orders"] if NEW in keys),
            service_min=detail["service_min"],
            instructions=detail["instructions"],
            by=by,
        )
    return None


def _winterisations(season_year: int):
    return Visit.objects.filter(
        kind=VisitKind.WINTERISATION, season_year=season_year, state__in=[State.OPEN, State.PLANNED]
    )


def _move_deadlines(season_year: int, due_on: dt.date, by: User | None) -> None:
    window = SeasonWindow.objects.filter(season_year=season_year, kind=VisitKind.WINTERISATION).first()
    why = f"Frost earlier than planned: by {due_on:%d %b}."
    if window and window.due_on > due_on:
        reason = f"{why} {window.reason}".strip()[:200]
        save_window(
            season_year=season_year,
            kind=VisitKind.WINTERISATION,
            opens_on=min(window.opens_on, due_on),
            due_on=due_on,
            reason=reason,
            chance=window.chance,
            by=by,
        )
    # Promised visits and those with dates of their own do not follow the window, but the frost comes to them, too.
    rest = _winterisations(season_year).filter(due_on__gt=due_on)
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
    rows = {visit.pk: visit for visit in Visit.objects.filter(pk__in=pks)}
    touched: set[tuple[int, dt.date]] = set()
    for pk, visit in rows.items():
        was, place = (visit.technician_id, visit.planned_on), places.get(pk)
        if place != was or pk in moved:
            touched |= {day for day in (was, place) if day and day[1]}
        if place is None and pk in row.proposal["off"]:
            _take_off(visit)
        elif place is not None:
            visit.state, (visit.technician_id, visit.planned_on) = State.PLANNED, place
            _renew_promise(visit, row.proposal)
    changed = [visit for visit in rows.values() if visit.state != State.CANCELLED]
    Visit.objects.bulk_update(changed, [*PLAN_FIELDS, *PROMISE_FIELDS], batch_size=200)
    _store_routes(row.proposal, touched, new)


def _take_off(visit: Visit) -> None:
    visit.state, visit.technician_id, visit.planned_on = State.OPEN, None, None
    visit.position = visit.arrives_at = visit.leaves_at = None
    visit.promised, visit.promised_time, visit.promised_until = False, None, None


def _renew_promise(visit: Visit, proposal: Mapping[str, Any]) -> None:
    """A promise that did not hold is made anew for the new hours; one of the day only stays one of the day only."""
    if visit.pk in proposal["broken"] and visit.promised_time is not None:
        begins, until = told_hours(proposal["starts"][str(visit.pk)] // 60)
        visit.promised_time, visit.promised_until = time_at(begins * 60), time_at(until * 60)


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
            days.append((day, sorted(day.to_do, key=lambda v, place=place: place.get(v.pk, len(place)))))
    store_days(days)
    # A day that is under way goes on from now: its times are the proposal's, not those of a day that begins.
    timed = [visit for day, visits in days for visit in visits]
    for visit in timed:
        start = proposal["starts"].get(NEW if new and visit.pk == new.pk else str(visit.pk))
        if start is not None:
            visit.arrives_at, visit.leaves_at = time_at(start), time_at(start + visit.service_min * 60)
    Visit.objects.bulk_update(timed, ["arrives_at", "leaves_at"], batch_size=200)


def _today(now: dt.datetime) -> dt.date:
    return now.astimezone(zoneinfo.ZoneInfo(Firm.current().time_zone)).date()
