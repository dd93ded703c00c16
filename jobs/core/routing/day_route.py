"""The order of one technician's day: proven for small days, searched for large ones, checked for both."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

from jobs.core.routing.clock import Bounds, Task, bounds_of, earliest_finish, legs_of, task_of, timed
from jobs.core.routing.day import DayRoute, Shift, Stop, UnplacedStop, clock_text
from jobs.core.routing.exact import best_order
from jobs.core.routing.solver import PRIZE_S, Cut, Fleet, FleetClient, FleetVehicle, solve_fleet
from jobs.core.routing.travel import TravelMatrix

EXACT_UP_TO = 10
SEARCH_ITERATIONS = 1500
LATER_HOME_PER_DRIVEN = 4  # so many seconds later home weigh like one on the road; common practice, no source


def day_cost(drive_s: int, finish_s: int) -> int:
    """What a day costs, in seconds of driving: nobody shall wait for an hour to save a minute on the road."""
    return drive_s + finish_s // LATER_HOME_PER_DRIVEN


class _Day(NamedTuple):
    """A day in solver terms; places: the stops in order, then start, then end."""

    tasks: list[Task]
    seconds: list[list[int]]
    bounds: Bounds
    weights: list[int]
    travel: TravelMatrix

    def finish(self, order: Sequence[int]) -> int | None:
        start = len(self.tasks)
        legs = legs_of(self.seconds, order, start, start + 1)
        return earliest_finish([self.tasks[i] for i in order], legs, self.bounds)

    def drive(self, order: Sequence[int]) -> int:
        start = len(self.tasks)
        return sum(legs_of(self.seconds, order, start, start + 1))

    def value(self, order: Sequence[int]) -> tuple[int, int, int] | None:
        """Smaller is better: more weight served, then less cost, then earlier home; None when broken."""
        finish = self.finish(order)
        if finish is None:
            return None
        return -sum(self.weights[i] for i in order), day_cost(self.drive(order), finish), finish


def plan_day(
    stops: Sequence[Stop],
    shift: Shift,
    travel: TravelMatrix,
    *,
    exact_up_to: int = EXACT_UP_TO,
    iterations: int = SEARCH_ITERATIONS,
    seed: int = 0,
    stop: Callable[[], bool] | None = None,
) -> DayRoute:
    """The best route through these stops: all served if possible, little driving, early home (`day_cost`).

    Up to `exact_up_to` stops (sensible to 12) the order is proven optimal; above, it is searched with a fixed
    number of iterations and `seed`, so that the same input gives the same route. Stops that don't fit are in
    `unplaced` with the reason; pinned and high-priority stops are the last to be left out. `travel` must
    cover all points. ValueError on a repeated key.
    """
    if len({s.key for s in stops}) != len(stops):
        raise ValueError("a stop is listed twice")
    day = _day(stops, shift, travel)
    exact = len(stops) <= exact_up_to
    if exact:
        order = best_order(day.tasks, day.seconds, day.bounds, day.weights, day_cost)
    else:
        order = _searched(day, iterations, seed, stop)
    served = set(order)
    route = timed([stops[i] for i in order], shift, travel)
    return route.told(
        unplaced=tuple(
            UnplacedStop(s.key, _reason(s, shift, travel)) for i, s in enumerate(stops) if i not in served
        ),
        method="exact" if exact else "search",
        proven_optimal=exact,
    )


def schedule_in_order(stops: Sequence[Stop], shift: Shift, travel: TravelMatrix) -> DayRoute:
    """The times of a day in an order chosen by hand; every rule it breaks is named in `broken`."""
    return timed(stops, shift, travel)


def _day(stops: Sequence[Stop], shift: Shift, travel: TravelMatrix) -> _Day:
    places = travel.between([*(s.point for s in stops), shift.start_point, shift.end_point])
    base = len(stops) + 1
    # One stop of a higher priority outweighs any number of lower ones; a promise counts as at least 1.
    weights = [base ** max(s.priority, int(s.pinned_arrival_min is not None)) for s in stops]
    return _Day([task_of(s) for s in stops], places.seconds.tolist(), bounds_of(shift), weights, places)


def _searched(day: _Day, iterations: int, seed: int, stop: Callable[[], bool] | None) -> list[int]:
    """The best order found over several places at which lunch is cut out of the clock, then polished."""
    best: list[int] = []
    best_value = day.value(best)
    for cut in _cuts(day.bounds):
        order = _with_missing(day, _solved(day, cut, iterations, seed, stop))
        value = day.value(order)
        if value is not None and (best_value is None or value < best_value):
            best, best_value = order, value
    return _polished(day, best)


def _cuts(bounds: Bounds) -> list[Cut]:
    if not bounds.lunch_s:
        return [Cut()]
    times = (bounds.lunch_open_s + bounds.lunch_latest_s) // 2, bounds.lunch_open_s, bounds.lunch_latest_s
    return [Cut(at, bounds.lunch_s) for at in dict.fromkeys(times)]


def _solved(day: _Day, cut: Cut, iterations: int, seed: int, stop: Callable[[], bool] | None) -> list[int]:
    """An order from the solver, on the clock without lunch; may be wrong by lunch, so the caller checks."""
    count, bounds = len(day.tasks), day.bounds
    # Priorities rise tenfold each here: the solver's integers would not hold the exact weights.
    levels = sorted(set(day.weights))
    clients = tuple(
        FleetClient(i, task, PRIZE_S * 10 ** levels.index(day.weights[i])) for i, task in enumerate(day.tasks)
    )
    longest = bounds.end_s - bounds.start_s
    vehicle = FleetVehicle(count, count + 1, bounds.start_s, bounds.end_s, longest)
    fleet = Fleet(day.travel.seconds, clients, (vehicle,), cut)
    orders = solve_fleet(fleet, iterations=iterations, seed=seed, stop=stop)
    return orders[0] if orders else []


def _with_missing(day: _Day, order: list[int]) -> list[int]:
    """The order made feasible by leaving out what breaks it, then filled up where something still fits."""
    while order and day.finish(order) is None:
        shorter = [(day.weights[i], order[:at] + order[at + 1 :]) for at, i in enumerate(order)]
        fitting = [x for x in shorter if day.finish(x[1]) is not None]
        order = min(fitting or shorter, key=lambda x: x[0])[1]
    missing = sorted(set(range(len(day.tasks))) - set(order), key=lambda i: -day.weights[i])
    for i in missing:
        tries = [order[:at] + [i] + order[at:] for at in range(len(order) + 1)]
        order = min((t for t in tries if day.finish(t) is not None), key=day.drive, default=order)
    return order


def _polished(day: _Day, order: list[int]) -> list[int]:
    """Move one stop or turn a stretch round while that helps, on the true clock with lunch."""
    value = day.value(order)
    while True:
        candidates = [(v, o) for o in _neighbours(order) if (v := day.value(o)) is not None]
        if not candidates or value is None:
            return order
        best_value, best = min(candidates)
        if best_value >= value:
            return order
        value, order = best_value, best


def _neighbours(order: list[int]) -> list[list[int]]:
    count = len(order)
    moved = [
        rest[:to] + [order[at]] + rest[to:]
        for at in range(count)
        for rest in [order[:at] + order[at + 1 :]]
        for to in range(count)
        if to != at
    ]
    turned = [order[:a] + order[a:b][::-1] + order[b:] for a in range(count) for b in range(a + 2, count + 1)]
    return moved + turned


def _reason(stop: Stop, shift: Shift, travel: TravelMatrix) -> str:
    """Why this stop is not in the route, from what happens if it were the only one."""
    pinned = stop.pinned_arrival_min
    if pinned is None and stop.closes_min - stop.opens_min < stop.service_min:
        return f"{stop.service_min} min of service don't fit between opening and closing time"
    alone = timed([stop], shift, travel)
    if alone.feasible:
        return "no room beside the other stops"
    worst = max(alone.broken, key=lambda b: b.late_s)
    if worst.rule in ("opening", "pin"):
        return f"even alone it can't be served in time: {worst.text}"
    return f"even alone it does not fit into the shift ({clock_text(shift.end_min * 60)}): {worst.text}"
