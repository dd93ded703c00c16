"""What a new plan after an upset comes to: the search, and the difference as it is kept for a decision."""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Q, QuerySet, Sum

from jobs.core.routing.replan import Appointment, Move, PlanDiff, appointments, replan
from jobs.core.routing.season import (
    PlannableVisit,
    SeasonPlan,
    SeasonSettings,
    TechnicianDay,
    Unplaced,
    points_needed,
)
from jobs.models import DayRoute, Replan, Visit, VisitKind
from jobs.outside.roads import travel_between
from jobs.queries.planning import minute_of, time_at
from jobs.queries.upsets import NEW, Situation, call_out_visit, situation
from sites.core import writing
from sites.models import Site

State = Visit.State
SMALL_MIN = 15
# When nobody can come by the time asked for, so much later is tried; common practice, no source.
LATER_BY_MIN = (30, 60, 120, 240)
# An upset is what the spare time of each day is kept for.
SETTINGS = SeasonSettings(spare_fraction=0.0)


@dataclass(frozen=True)
class Answer:
    """The situation after the upset, the plan near the old one and the difference.

    `refused` says why an urgent call can't be served as it was asked for; empty when it is.
    """

    after: Situation
    plan: SeasonPlan
    diff: PlanDiff
    refused: str = ""


def situation_of(row: Replan) -> Situation:
    also = None
    if row.upset == Replan.Upset.FROST:
        # Winterizations without a day want one before the new deadline, too.
        open_ones = winterisations_left(row.detail["season_year"]).filter(state=State.OPEN, opens_on__lte=due_of(row))
        also = Q(pk__in=open_ones.values("pk"))
    now = dt.datetime.fromisoformat(row.detail["now"])
    return situation(first_day=row.first_day, last_day=row.last_day, now=now, also=also)


def answer_to(row: Replan, now: Situation) -> Answer:
    if row.upset == Replan.Upset.AWAY:
        after = replace(now, days=tuple(d for d in now.days if not _is_away(row, now, d)))
    elif row.upset == Replan.Upset.FROST:
        after = replace(now, visits=tuple(_due_by(v, due_of(row), now.previous.get(v.key)) for v in now.visits))
    elif row.upset == Replan.Upset.CANCELLED:
        after = replace(now, visits=tuple(v for v in now.visits if v.key != str(row.detail["visit"])))
    else:
        return _with_call_out(row, now)
    return _solve(after)


def _solve(given: Situation) -> Answer:
    if not given.days:
        raise ValidationError("Nobody works on these days.")
    travel = travel_between(points_needed(given.visits, given.days))
    return Answer(given, *replan(given.previous, given.visits, given.days, travel, settings=SETTINGS, seed=1))


def _is_away(row: Replan, now: Situation, day: TechnicianDay) -> bool:
    first, last = (dt.date.fromisoformat(row.detail[name]) for name in ("first_day", "last_day"))
    return now.technicians[day.technician].pk == row.detail["technician"] and first <= day.date <= last


def due_of(row: Replan) -> dt.date:
    return dt.date.fromisoformat(row.detail["due_on"])


def _due_by(visit: PlannableVisit, due_on: dt.date, before: Appointment | None) -> PlannableVisit:
    if visit.kind != VisitKind.WINTERISATION or visit.window_due <= due_on:
        return visit
    # Near the new deadline is nearest to the day it had: nobody's water is turned off weeks before it must be.
    moves = before is None or before.date > due_on
    return replace(
        visit,
        window_opens=min(visit.window_opens, due_on),
        window_due=due_on,
        wanted_on=due_on if moves else visit.wanted_on,
    )


def _with_call_out(row: Replan, now: Situation) -> Answer:
    """As it was asked for, else as soon after that as can be. The page shows what it came to."""
    site, detail = Site.objects.get(pk=row.detail["site"]), row.detail
    refused: list[str] = []
    hopeless: set[dt.date] = set()
    for date, begin_by in _times_to_try(row, now):
        if date in hopeless:
            continue
        new = call_out_visit(site, detail["service_min"], date, begin_by)
        answer = _solve(replace(now, visits=(*now.visits, new)))
        if NEW in answer.plan.assignment:
            return replace(answer, refused=refused[0] if refused else "")
        for missing in answer.plan.unplaced:
            if missing.key == NEW:
                refused.append(_why_nobody(new, missing))
                hopeless |= {date} if missing.code in ("window", "skill") else set()
    raise ValidationError(f"No technician can come by {writing.weekday_day(row.last_day)}: {refused[-1]}.")


def _times_to_try(row: Replan, now: Situation) -> Iterator[tuple[dt.date, int | None]]:
    """(day, minute by which work begins): the wish, then later by and by, then any time of the following days."""
    if row.detail["begin_by"]:
        wish_min = minute_of(dt.time.fromisoformat(row.detail["begin_by"]))
        for later_min in (0, *LATER_BY_MIN):
            yield row.first_day, wish_min + later_min
    for date in sorted({row.first_day} | {day.date for day in now.days}):
        yield date, None


def _why_nobody(new: PlannableVisit, missing: Unplaced) -> str:
    """Why nobody can come to an urgent call at the time that was tried; overtime that would do is named."""
    skills = ", ".join(sorted(new.skills))
    overtime = "".join(f" ({r.text} would make room)" for r in missing.remedies if r.kind == "overtime")
    return {
        "window": "nobody is at work",
        "skill": f"nobody at work has the skill{'s' if len(new.skills) > 1 else ''} {skills}",
        "capacity": f"the day of everybody who could come is full{overtime}",
        "too long": f"nobody can drive there in time and still work {new.service_min} min",
    }.get(missing.code, missing.reason)


def proposal_of(row: Replan, answer: Answer) -> dict[str, Any]:
    """The plan and the difference as JSON: keys are visit ids, technicians' ids, ISO dates."""
    after, plan, diff = answer.after, answer.plan, answer.diff
    ids = {name: user.pk for name, user in after.technicians.items()}
    starts = {stop.key: stop.start_s for route in plan.routes.values() for stop in route.stops}
    orders = [
        [ids[who], on.isoformat(), [key if key == NEW else int(key) for key in route.keys]]
        for (who, on), route in sorted(plan.routes.items())
    ]
    return {
        "orders": orders,
        "starts": starts,
        "moves": _moves(row, answer),
        "off": [int(m.key) for m in diff.moves if m.after is None],
        "broken": [int(key) for key in diff.promises_broken],
        "tell_clients": [int(key) for key in diff.tell_clients],
        "tell_technicians": sorted(ids[who] for who in diff.tell_technicians if who in ids),
        "people": sorted(ids.values()),
        "drive_before_min": _stored_drive_min(row, after),
        "drive_after_min": round(plan.drive_min, 1),
        "travel_source": plan.travel_source,
        "warnings": list(plan.warnings),
        "refused": answer.refused,
    }


def _moves(row: Replan, answer: Answer) -> list[dict[str, Any]]:
    """A line for each visit that changes: first what has no place, then what is cancelled, then by the new day."""
    after, diff = answer.after, answer.diff
    why = {missing.key: _why_no_place(row, after, missing) for missing in answer.plan.unplaced}
    lines = [_move(after, move, why) for move in diff.moves]
    lines += [_line(after, a.key, after_words=_words(after, a)) for a in diff.added]
    lines += [_line(after, a.key, before_words=_words(after, a), gone=True) for a in diff.removed]
    lines += [_line(after, key, reason=reason) for key, reason in why.items() if key not in after.previous]
    places = appointments(answer.plan)

    def order(line: Mapping[str, Any]) -> tuple[Any, ...]:
        key = str(line["visit"])
        place = places.get(key) or after.previous.get(key)
        day = (place.date, place.start_min) if place else (row.first_day, 0.0)
        name = after.rows[key].site.name if key in after.rows else ""
        return (2 if line["after"] else int(line["gone"]), *day, name)

    return sorted(lines, key=order)


def _why_no_place(row: Replan, now: Situation, missing: Unplaced) -> str:
    """The core's reason, with the deadline where that stands in the way of the later days."""
    due = next(visit.window_due for visit in now.visits if visit.key == missing.key)
    return f"{missing.reason}; it is due by {writing.day_month(due)}" if due < row.last_day else missing.reason


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
    return f"{writing.weekday_day(place.date)} {at:%H:%M}, {place.technician}"


def winterisations_left(season_year: int) -> QuerySet[Visit]:
    """Those of the season that are still to be made."""
    return Visit.objects.filter(
        kind=VisitKind.WINTERISATION, season_year=season_year, state__in=[State.OPEN, State.PLANNED]
    )
