"""A new plan after an upset that keeps what clients were promised, and what it changes for whom."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations

import numpy as np

from jobs.core.routing.greedy import insert_missing
from jobs.core.routing.improve import Search, fill_gaps, improve_parts
from jobs.core.routing.season import DEFAULT_SETTINGS, DayKey, SeasonPlan, Watch
from jobs.core.routing.season_model import Board, SeasonModel
from jobs.core.routing.season_terms import PlannableVisit, SeasonSettings, TechnicianDay
from jobs.core.routing.travel import TravelMatrix

_ROUNDS = 10
_POLISHING_ROUNDS = 5
_MOVE_S = 3600  # driving that taking a visit off its day must save after an upset; common practice, no source
_MOST_EJECTED = 2


@dataclass(frozen=True)
class Appointment:
    """Where a visit stands in a plan; `promise` (from, to) in minutes bounds its START if a client was told so."""

    key: str
    technician: str
    date: date
    start_min: float
    promise: tuple[int, int] | None = None

    def keeps(self, earlier: "Appointment") -> bool:
        """Whether this one honours what was promised with the earlier one; the technician may be another."""
        if earlier.promise is None:
            return True
        opens, closes = earlier.promise
        return self.date == earlier.date and opens <= self.start_min <= closes


@dataclass(frozen=True)
class Move:
    """One changed visit; `after` None means it has no place now. `minutes` is the shift on an unchanged date."""

    key: str
    before: Appointment
    after: Appointment | None
    promise_kept: bool

    @property
    def minutes(self) -> float | None:
        if self.after is None or self.after.date != self.before.date:
            return None
        return self.after.start_min - self.before.start_min


@dataclass(frozen=True)
class PlanDiff:
    """What a new plan changes, to be shown before it is accepted.

    `moves` are visits with another technician, date or start (by a minute or more); `added` were in no plan
    before, `removed` are no longer to be done. `tell_clients` are keys of visits whose promise does not hold
    (moved, removed), `tell_technicians` those whose list or order of stops changes.
    """

    moves: tuple[Move, ...]
    added: tuple[Appointment, ...]
    removed: tuple[Appointment, ...]
    tell_clients: tuple[str, ...]
    tell_technicians: tuple[str, ...]

    @property
    def promises_broken(self) -> tuple[str, ...]:
        return tuple(move.key for move in self.moves if not move.promise_kept)


def replan(
    previous: Mapping[str, Appointment],
    visits: Sequence[PlannableVisit],
    technician_days: Sequence[TechnicianDay],
    travel: TravelMatrix,
    *,
    settings: SeasonSettings = DEFAULT_SETTINGS,
    seed: int = 0,
    stop: Callable[[], bool] | None = None,
) -> tuple[SeasonPlan, PlanDiff]:
    """A plan near the previous one for the visits and days as they are now, and the difference.

    A promise is given up only when it can't hold, one step at a time: same technician and hours; another
    technician at the same hours; another hour that day; anything in the window. (A promise outside
    the window or opening hours as they are now can't hold either.) Visits without a promise stay
    on their day while there is room. A visit of priority 2 or more that finds no room takes spare time, then
    pushes out up to two visits without promise. What had to move is then driven to as well as can be; what had
    not stays on its day unless that saves an hour of driving. Leave out what is done or under way: let the shift
    begin when and where the technician will be free. ValueError as for `plan_season`.
    """
    settings = replace(settings, rounds=_ROUNDS, move_s=_MOVE_S)
    visits = [replace(v, now=(a.technician, a.date)) if (a := previous.get(v.key)) else v for v in visits]
    order = sorted(previous.values(), key=lambda a: (a.date, a.technician, a.start_min))
    wanted = {a.key: (a.technician, a.date) for a in order}
    steps = {v.key: 0 for v in visits if _promise(previous, v.key)}
    while True:
        bound = [_bound(v, previous.get(v.key), steps.get(v.key, 3)) for v in visits]
        model = SeasonModel.of(bound, technician_days, travel, settings)
        board = _with_urgent(model, insert_missing(model, model.board_from(wanted)))
        homeless = {model.visits[v].key for v in board.unplaced}
        yielding = [key for key in homeless if steps.get(key, 3) < 3]
        if not yielding:
            break
        for key in yielding:
            steps[key] += 1
    watch = Watch(model, seed, 0, None)
    search = Search(model, seed, settings, stop or (lambda: False), watch.report)
    board = fill_gaps(search, board)
    board = improve_parts(replace(search, settings=replace(settings, rounds=_POLISHING_ROUNDS)), board)
    plan = watch.plan(board, final=True)
    return plan, difference(previous, plan, {v.key for v in visits})


def _promise(previous: Mapping[str, Appointment], key: str) -> bool:
    return key in previous and previous[key].promise is not None


def _bound(visit: PlannableVisit, before: Appointment | None, step: int) -> PlannableVisit:
    """The visit with as much of its promise as this step still keeps (0 all, 3 nothing)."""
    if before is None or before.promise is None or step >= 3 or visit.held:
        return visit
    if visit.fixed_date is None and not visit.window_opens <= before.date <= visit.window_due:
        return visit  # the deadline moved past the promise: to be shown and told, not hidden
    fixed = replace(visit, fixed_date=before.date, priority=max(visit.priority, 1))
    hours = visit.hours[before.date.weekday()]
    if step < 2 and hours is not None:
        opens = max(hours[0], before.promise[0])
        closes = min(hours[1], before.promise[1] + visit.service_min)
        week = list(visit.hours)
        week[before.date.weekday()] = (opens, closes) if opens <= closes else None
        fixed = replace(fixed, hours=tuple(week))
    if step == 0:
        fixed = replace(fixed, fixed_technician=before.technician)
    return fixed


def _with_urgent(model: SeasonModel, board: Board) -> Board:
    """Urgent visits without room push out as few visits without promise as possible; those look for a new place."""
    urgent = [v for v in board.unplaced if model.visits[v].priority >= 2]
    for v in sorted(urgent, key=lambda v: (-model.weight[v], v)):
        options = list(_ejections(model, board, v))
        if options:
            _, _, board = min(options, key=lambda o: o[:2])
    return insert_missing(model, board) if urgent else board


def _ejections(model: SeasonModel, board: Board, v: int) -> Iterator[tuple[int, int, Board]]:
    """(how many go, cost, board) for each day that takes the visit in when some leave it; spare time counts."""
    for d in np.flatnonzero(model.possible[v]).tolist():
        route = board.routes[d]
        movable = [o for o in route if model.visits[o].rank == 0]
        for count in range(_MOST_EJECTED + 1):
            for out in combinations(movable, count):
                rest = tuple(o for o in route if o not in out)
                order = model.cheapest_insertion(v, d, rest, cap_s=2**40)
                if order is not None:
                    yield count, sum(model.legs(d, order)), board.with_route(d, order)


def appointments(plan: SeasonPlan) -> dict[str, Appointment]:
    """The appointments of a plan, without promises."""
    return {
        stop.key: Appointment(stop.key, technician, on, stop.start_min)
        for (technician, on), route in plan.routes.items()
        for stop in route.stops
    }


def difference(previous: Mapping[str, Appointment], plan: SeasonPlan, wanted: set[str]) -> PlanDiff:
    """What a plan changes against earlier appointments; `wanted` are the keys still to be done."""
    now = appointments(plan)
    moves = tuple(
        Move(key, before, after, before.promise is None if after is None else after.keeps(before))
        for key, before in previous.items()
        if key in wanted and _changed(before, after := now.get(key))
    )
    removed = tuple(before for key, before in previous.items() if key not in wanted)
    broken = [m.key for m in moves if not m.promise_kept] + [a.key for a in removed if a.promise]
    return PlanDiff(
        moves,
        tuple(now[key] for key in now if key not in previous),
        removed,
        tuple(broken),
        tuple(sorted(_technicians(previous, now))),
    )


def _changed(before: Appointment, after: Appointment | None) -> bool:
    return (
        after is None
        or (after.technician, after.date) != (before.technician, before.date)
        or abs(after.start_min - before.start_min) >= 1
    )


def _technicians(previous: Mapping[str, Appointment], now: Mapping[str, Appointment]) -> set[str]:
    """Those with a day whose stops or their order differ."""

    def lists(some: Mapping[str, Appointment]) -> dict[DayKey, list[str]]:
        days: dict[DayKey, list[str]] = {}
        for a in sorted(some.values(), key=lambda a: (a.start_min, a.key)):
            days.setdefault((a.technician, a.date), []).append(a.key)
        return days

    before, after = lists(previous), lists(now)
    return {who for who, on in before.keys() | after.keys() if before.get((who, on)) != after.get((who, on))}
