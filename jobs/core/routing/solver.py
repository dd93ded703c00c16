"""The route solver behind a plain interface: places, clients, vehicles in; orders per vehicle out."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from pyvrp import (
    Client,
    Depot,
    IteratedLocalSearchCallbacks,
    IteratedLocalSearchParams,
    Location,
    ProblemData,
    Route,
    Solution,
    SolveParams,
    VehicleType,
    solve,
)

from jobs.core.routing.clock import Task
from jobs.core.routing.travel import Int64

# Longer than any shift: an edge of this length can never be part of a feasible route.
FORBIDDEN_S = 200_000
# Above any saving in driving, so that nothing is left out to save a drive.
PRIZE_S = 100_000
# Iterations between two calls of `on_best`: what the caller does with a plan takes longer than an iteration.
REPORT_EVERY = 250
Orders = list[list[int]]
Profile = tuple[frozenset[int], frozenset[tuple[int, int]]]


@dataclass(frozen=True)
class Cut:
    """Lunch taken out of the clock at `at_s` for `length_s` seconds; the solver knows no breaks."""

    at_s: int = 0
    length_s: int = 0

    def squeeze(self, time_s: int) -> int:
        """The time on the clock without lunch."""
        return time_s - min(max(time_s - self.at_s, 0), self.length_s)


@dataclass(frozen=True)
class FleetClient:
    """Something to visit; `prize_s` 0 means it must be visited. `load` is for published benchmarks."""

    place: int
    task: Task
    prize_s: int = 0
    load: int = 0


@dataclass(frozen=True)
class FleetVehicle:
    """One technician's day: places, seconds from midnight, longest duration, clients it must not visit.

    `reluctant`: (client, seconds of driving that visiting it here is worth avoiding).
    """

    start: int
    end: int
    start_s: int
    end_s: int
    longest_s: int
    forbidden: frozenset[int] = frozenset()
    capacity: int = 1_000_000_000
    reluctant: frozenset[tuple[int, int]] = frozenset()

    @property
    def profile(self) -> Profile:
        return self.forbidden, self.reluctant


@dataclass(frozen=True)
class Fleet:
    """A routing problem; `seconds` is the travel among places; `cut` is applied to every time in it."""

    seconds: Int64
    clients: tuple[FleetClient, ...]
    vehicles: tuple[FleetVehicle, ...]
    cut: Cut = Cut()

    @property
    def profiles(self) -> tuple[Profile, ...]:
        """The different sets of forbidden and unwanted clients; each costs two matrices of memory."""
        return tuple(dict.fromkeys(v.profile for v in self.vehicles))

    @property
    def memory_bytes(self) -> int:
        """Size of the matrices the solver needs."""
        ends = {place for v in self.vehicles for place in (v.start, v.end)}
        return len(self.profiles) * 16 * (len(self.clients) + len(ends)) ** 2


def solve_fleet(
    fleet: Fleet,
    *,
    iterations: int,
    seed: int,
    stop: Callable[[], bool] | None = None,
    warm: Orders | None = None,
    on_best: Callable[[Orders], None] | None = None,
) -> Orders | None:
    """Client orders per vehicle with little driving, or None when nothing feasible was found.

    `on_best` gets the best orders so far now and then. The same seed gives the same answer unless `stop` ends
    the search before `iterations`.
    """
    data = _problem(fleet)
    count = len(fleet.vehicles)

    news: list[Solution] = []

    class Watch(IteratedLocalSearchCallbacks):
        def on_best(self, best: Solution) -> None:
            if best.is_feasible():
                news[:] = [best]

    done = 0

    def finished(best_cost: float) -> bool:
        nonlocal done
        done += 1
        if on_best and news and done % REPORT_EVERY == 0:
            on_best(_orders(news.pop(), count))
        return done > iterations or (stop is not None and stop())

    result = solve(
        data,
        finished,
        seed=seed,
        collect_stats=False,
        params=SolveParams(ils=IteratedLocalSearchParams(callbacks=Watch())),
        initial_solution=_solution(data, warm) if warm else None,
    )
    return _orders(result.best, count) if result.best.is_feasible() else None


def _problem(fleet: Fleet) -> ProblemData:
    """One location a client, so that clients at one address can be forbidden separately; then the depots."""
    ends = list(dict.fromkeys(place for v in fleet.vehicles for place in (v.start, v.end)))
    places = np.array([c.place for c in fleet.clients] + ends, dtype=np.intp)
    base = fleet.seconds[np.ix_(places, places)]
    count, squeeze = len(fleet.clients), fleet.cut.squeeze
    profiles = fleet.profiles
    clients = [
        Client(
            location=i,
            delivery=[c.load],
            service_duration=c.task.service_s,
            tw_early=squeeze(c.task.open_s),
            tw_late=_latest(c.task, fleet.cut),
            prize=c.prize_s,
            required=not c.prize_s,
        )
        for i, c in enumerate(fleet.clients)
    ]
    vehicles = [
        VehicleType(
            capacity=[v.capacity],
            start_depot=ends.index(v.start),
            end_depot=ends.index(v.end),
            tw_early=squeeze(v.start_s),
            tw_late=squeeze(v.end_s),
            shift_duration=v.longest_s,
            profile=profiles.index(v.profile),
        )
        for v in fleet.vehicles
    ]
    durations = [_without(base, forbidden) for forbidden, _ in profiles]
    distances = [_dearer(matrix, reluctant) for matrix, (_, reluctant) in zip(durations, profiles, strict=True)]
    return ProblemData(
        [Location(0, 0) for _ in places],
        clients,
        [Depot(location=count + i) for i in range(len(ends))],
        vehicles,
        distances,  # type: ignore[arg-type]  # its stubs know the shape as an int
        durations,  # type: ignore[arg-type]  # the same
    )


def _latest(task: Task, cut: Cut) -> int:
    """Latest start: the END of service must be in time, also when lunch is cut out before it."""
    closes = cut.squeeze(task.latest_s + task.service_s) - task.service_s
    return max(cut.squeeze(task.open_s), closes)


def _without(base: Int64, forbidden: frozenset[int]) -> Int64:
    matrix = base.copy()
    banned = sorted(forbidden)
    matrix[banned, :] = FORBIDDEN_S
    matrix[:, banned] = FORBIDDEN_S
    np.fill_diagonal(matrix, 0)
    return matrix


def _dearer(seconds: Int64, reluctant: frozenset[tuple[int, int]]) -> Int64:
    """What driving counts as: every way to an unwanted client is longer, though it takes no more time."""
    if not reluctant:
        return seconds
    counted = seconds.copy()
    for client, extra_s in sorted(reluctant):
        counted[:, client] += extra_s
    np.fill_diagonal(counted, 0)
    return counted


def _solution(data: ProblemData, orders: Sequence[Sequence[int]]) -> Solution:
    return Solution(data, [Route(data, list(order), v) for v, order in enumerate(orders) if order])


def _orders(solution: Solution, count: int) -> Orders:
    orders: Orders = [[] for _ in range(count)]
    for route in solution.routes():
        orders[route.vehicle_type()] = [activity.idx for activity in route if activity.is_client()]
    return orders
