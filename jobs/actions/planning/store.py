"""A computed season plan in the database: kept as a proposal, then written, visits and routes in one go."""

import datetime as dt
import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict

from django.db.models import Sum
from django.utils import timezone

from jobs.actions.planning.day import PLACE_FIELDS, store_days
from jobs.actions.planning.errors import PlanOutdated
from jobs.actions.planning.queue import queue_planners
from jobs.actions.planning.summary import Load, PlanSummary, UnplacedVisit
from jobs.core.routing.season import SeasonPlan
from jobs.core.routing.season_terms import Unplaced
from jobs.models import DayRoute, PlanRun, Visit
from jobs.queries.days import Day, day_of, visits_in
from jobs.queries.planning import SeasonInput, closed_days, names_of, planning_technicians
from jobs.queries.remedies import RemedyWords
from jobs.queries.skills import SkillNeeds
from sites.core import writing
from sites.models import Firm, User

State = Visit.State
DayKey = tuple[int, dt.date]


def propose_plan(
    *, run: PlanRun, plan: SeasonPlan, given: SeasonInput, reread: Callable[[], SeasonInput], started: float
) -> PlanSummary:
    """Keep the plan for a decision, inside the caller's transaction. PlanOutdated if the data changed since."""
    lock_visits(given)
    now = reread()
    if now != given:
        raise PlanOutdated(f"{_changed(given, now)} while the plan was computed. Nothing was stored; plan again.")
    ids = {name: user.pk for user, name in _named(planning_technicians())}
    run.orders = [
        [ids[who], on.isoformat(), [int(key) for key in route.keys]]
        for (who, on), route in sorted(plan.routes.items())
    ]
    run.fingerprint = given.fingerprint
    summary = _summary(run, plan, given, time.monotonic() - started)
    run.summary, run.state = asdict(summary), PlanRun.State.PROPOSED
    run.save(update_fields=["orders", "fingerprint", "summary", "state"])
    return summary


def write_plan(*, run: PlanRun, given: SeasonInput) -> None:
    """Make a proposed plan the plan: visits, days and routes, inside the caller's transaction."""
    visits = {row.pk: row for row in Visit.objects.select_related("site").filter(pk__in=given.movable)}
    people = {user.pk: user for user in planning_technicians()}
    keys = {(pk, dt.date.fromisoformat(on)): tuple(ids) for pk, on, ids in run.orders}
    places = {visit: (people[pk], on) for (pk, on), ids in keys.items() for visit in ids}
    before = {pk: _place(visit) for pk, visit in visits.items()}
    for pk, visit in visits.items():
        _put(visit, places.get(pk))
    Visit.objects.bulk_update(visits.values(), ["state", "technician", "planned_on", *PLACE_FIELDS], batch_size=200)
    after = {pk: _place(visit) for pk, visit in visits.items()}
    touched = {place for pk in visits if before[pk] != after[pk] for place in (before[pk], after[pk]) if place}
    # A day that gains and loses nothing keeps its order: somebody may have chosen it by hand.
    store_days(list(_ordered(run, touched | _without_route(run, set(keys)), keys)))
    # The figures of what is driven now, not of what was computed for days that kept an order of their own.
    run.summary["drive_min"], run.summary["drive_km"] = _drive(run), _drive(run, "drive_km")


def lock_visits(given: SeasonInput) -> None:
    """Hold every visit of the plan as it is until this transaction ends; other planners wait."""
    queue_planners()
    list(Visit.objects.select_for_update().filter(pk__in=[int(v.key) for v in given.visits]).order_by("pk"))


def _named(technicians: list[User]) -> Iterable[tuple[User, str]]:
    names = names_of(technicians)
    return [(user, names[user.pk]) for user in technicians]


def _changed(given: SeasonInput, now: SeasonInput) -> str:
    if given.days != now.days:
        return "The technicians' working days changed"
    was, is_now = {v.key: v for v in given.visits}, {v.key: v for v in now.visits}
    count = sum(was.get(key) != is_now.get(key) for key in was.keys() | is_now.keys())
    return "One visit changed" if count == 1 else f"{count} visits changed"


def _place(visit: Visit) -> DayKey | None:
    if visit.state != State.PLANNED or visit.technician_id is None or visit.planned_on is None:
        return None
    return visit.technician_id, visit.planned_on


def _put(visit: Visit, place: tuple[User, dt.date] | None) -> None:
    if place is None:
        visit.state, visit.technician, visit.planned_on = State.OPEN, None, None
        visit.position = visit.arrives_at = visit.leaves_at = None
    else:
        visit.state, (visit.technician, visit.planned_on) = State.PLANNED, place


def _ordered(
    run: PlanRun, touched: set[DayKey], keys: Mapping[DayKey, tuple[int, ...]]
) -> Iterable[tuple[Day, list[Visit]]]:
    """Each touched day of the plan with its visits in the plan's order; what the plan could not hold goes last."""
    firm, people = Firm.current(), {user.pk: user for user in planning_technicians()}
    closed = closed_days(run.first_day, run.last_day)
    rows: dict[DayKey, list[Visit]] = defaultdict(list)
    for visit in visits_in(run.first_day, run.last_day):
        rows[visit.placed].append(visit)
    needs = SkillNeeds.of(visit for visits in rows.values() for visit in visits)
    for pk, date in sorted(touched):
        if pk not in people or not run.first_day <= date <= run.last_day:
            continue
        everybodys = [visit for (_, on), visits in rows.items() if on == date for visit in visits]
        day = day_of(people[pk], date, rows[pk, date], firm, timezone.now(), closed, needs, everybodys)
        place = {key: n for n, key in enumerate(keys.get((pk, date), ()))}
        yield day, sorted(day.to_do, key=lambda visit: place.get(visit.pk, len(place)))


def _without_route(run: PlanRun, days: set[DayKey]) -> set[DayKey]:
    routes = DayRoute.objects.filter(date__range=(run.first_day, run.last_day))
    return days - set(routes.values_list("technician_id", "date"))


def _drive(run: PlanRun, column: str = "drive_min") -> float:
    routes = DayRoute.objects.filter(date__range=(run.first_day, run.last_day))
    return routes.aggregate(total=Sum(column))["total"] or 0.0


def _summary(run: PlanRun, plan: SeasonPlan, given: SeasonInput, seconds: float) -> PlanSummary:
    visits = {row.pk: row for row in Visit.objects.select_related("site").filter(pk__in=given.movable)}
    before = {int(key): place for key, place in given.now}
    standing = {pk for pk, visit in visits.items() if visit.state == State.PLANNED}
    after = {int(key): place for key, place in plan.assignment.items() if int(key) in visits}
    missing = [row for row in plan.unplaced if int(row.key) in visits]
    words = RemedyWords(visits[int(row.key)] for row in missing)
    return PlanSummary(
        run=run.pk,
        visits=tuple(sorted(visits)),
        asked=len(visits),
        newly_planned=sum(pk not in standing for pk in after),
        moved=sum(pk in standing and before.get(pk) != place for pk, place in after.items()),
        stayed=sum(before.get(pk) == place for pk, place in after.items()),
        released=len(standing - after.keys()),
        late=sum(on > visits[pk].due_on for pk, (_, on) in after.items()),
        held=len(given.visits) - len(visits),
        days_used=len(plan.routes),
        drive_min=plan.drive_min,
        drive_km=plan.drive_km,
        drive_min_before=_drive(run),
        drive_min_first=plan.history[0][2] if plan.history else plan.drive_min,
        began_with="the stored days, each with its best route" if given.start_from else "nearest visit first",
        against_wishes=tuple(int(key) for key in plan.against_wishes),
        unplaced=tuple(_missing(visits[int(row.key)], row, words) for row in missing),
        loads=tuple(Load(x.technician, x.visits, x.days_used, x.work_min, x.working_min) for x in plan.loads),
        travel_source=plan.travel_source,
        warnings=(*plan.warnings, *_not_held(plan, given)),
        seed=run.seed,
        stopped_early=plan.stopped_early,
        seconds=seconds,
    )


def _missing(visit: Visit, row: Unplaced, words: RemedyWords) -> UnplacedVisit:
    remedies = tuple(words.of(visit, remedy) for remedy in row.remedies)
    kind, due = visit.get_kind_display(), visit.due_on.isoformat()
    return UnplacedVisit(visit.pk, str(visit.site), kind, due, row.reason, remedies)


def _not_held(plan: SeasonPlan, given: SeasonInput) -> Iterable[str]:
    """Visits that stay on their day although the day cannot hold them."""
    held = {visit.key: visit for visit in given.visits if visit.held}
    reasons = {int(row.key): row.reason for row in plan.unplaced if row.key in held}
    for visit in Visit.objects.filter(pk__in=reasons).select_related("site", "technician"):
        _, on = visit.placed
        where = f"{visit.site} on {writing.day_month(on)} with {visit.technician}"
        yield f"{where} is fixed and stays, although {reasons[visit.pk]}."
