"""Better season plans: a few related days at a time, or everything at once, never accepting a worse one."""

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from jobs.core.routing.clock import Task
from jobs.core.routing.exact import best_order
from jobs.core.routing.greedy import insert_missing
from jobs.core.routing.season_model import Board, SeasonModel
from jobs.core.routing.season_terms import SeasonSettings
from jobs.core.routing.solver import PRIZE_S, Cut, Fleet, FleetClient, FleetVehicle, solve_fleet

_EXACT_UP_TO = 7
_MOST_WAITING = 25


@dataclass(frozen=True)
class Search:
    """What every stage needs: the model, the seed, when to stop, whom to tell."""

    model: SeasonModel
    seed: int
    settings: SeasonSettings
    stop: Callable[[], bool]
    report: Callable[..., None]

    @property
    def rounds(self) -> int:
        """Searches in each stage; the whole season at once counts as one stage."""
        return self.settings.rounds_for(len(self.model.visits))


def fill_gaps(search: Search, board: Board) -> Board:
    """Make room for unplaced visits by searching around the days they could go to."""
    rng = random.Random(search.seed)
    for _ in range(search.rounds):
        hopeful = _hopeful(search, board)
        if search.stop() or not hopeful:
            break
        board = _make_room(search, board, rng, hopeful)
        search.report("making room", board, steps=1)
    return board


def improve_parts(search: Search, board: Board) -> Board:
    """Search over groups of related technician-days, each day as the centre of a group in turn.

    Turn about with making room, as long as something has no place: less driving makes room, too.
    """
    rng = random.Random(search.seed + 1)
    turn: list[int] = []
    for _ in range(search.rounds):
        hopeful = _hopeful(search, board)
        if hopeful and not search.stop():
            board = _make_room(search, board, rng, hopeful)
            search.report("making room", board)
        if search.stop():
            break
        used = [d for d, route in enumerate(board.routes) if route]
        turn = [d for d in turn if d in used] or rng.sample(used, len(used))
        if not turn:
            break
        board = _try_part(search, board, _related(search, board, turn.pop()), rng.randrange(2**31))
        search.report("improving days together", board, steps=1)
    return board


def _hopeful(search: Search, board: Board) -> list[int]:
    """Unplaced visits that suit some day."""
    return [v for v in sorted(board.unplaced) if search.model.possible[v].any()]


def _make_room(search: Search, board: Board, rng: random.Random, hopeful: list[int]) -> Board:
    wanted = rng.choice(hopeful)
    first = rng.choice(np.flatnonzero(search.model.possible[wanted]).tolist())
    return _try_part(search, board, _related(search, board, first, wanted), rng.randrange(2**31))


def share_out(search: Search, board: Board) -> Board:
    """Hand single visits from technicians with too much work to others while that lowers the cost."""
    model = search.model
    for _ in range(search.rounds):
        if search.stop() or not model.excess_s(board):
            break
        found = min(_handovers(model, board), key=model.cost, default=board)
        if model.cost(found) >= model.cost(board):
            break
        board = found
        search.report("sharing out the work", board)
    return board


def _handovers(model: SeasonModel, board: Board) -> Iterator[Board]:
    """For each visit of the busiest technician the cheapest place on somebody else's days."""
    busiest = max(range(len(model.days)), key=lambda d: model.shares(board)[model.days[d].technician])
    who = model.days[busiest].technician
    for d, route in enumerate(board.routes):
        for v in route if model.days[d].technician == who else ():
            options = []
            for to in np.flatnonzero(model.possible[v]).tolist():
                order = model.cheapest_insertion(v, to, board.routes[to])
                if model.days[to].technician != who and order is not None:
                    more = model.work_s(to, order) - model.work_s(to, board.routes[to])
                    options.append((more + model.reluctance_s[v][to], to, order))
            rest = tuple(o for o in route if o != v)
            if options and model.fits(d, rest):
                _, to, order = min(options)
                yield board.with_route(d, rest).with_route(to, order)


def improve_whole(search: Search, board: Board) -> Board:
    """All that is placed in one model of the whole season, from the current plan, if it is small enough.

    What has no place is left out of it: with optional visits the search is much weaker.
    """
    model, settings = search.model, search.settings
    if not settings.whole_iterations or len(model.visits) > settings.whole_up_to:
        return board
    part = _Part(model, board, list(range(len(model.days))), waiting=False)
    if not part.visits or search.stop() or part.fleet.memory_bytes > settings.memory_mib * 2**20:
        return board
    best = board

    def better(orders: list[list[int]]) -> None:
        nonlocal best
        best = _accepted(model, best, part.board(orders))
        search.report("improving the whole season", best)

    orders = solve_fleet(
        part.fleet,
        iterations=settings.whole_iterations,
        seed=search.seed,
        stop=search.stop,
        warm=part.warm,
        on_best=better,
    )
    if orders is not None:
        best = _accepted(model, best, part.board(orders))
    search.report("improving the whole season", best)
    return best


def _try_part(search: Search, board: Board, days: list[int], seed: int) -> Board:
    part = _Part(search.model, board, days)
    if not part.visits:
        return board
    orders = solve_fleet(
        part.fleet,
        iterations=search.settings.part_iterations,
        seed=seed,
        stop=search.stop,
        warm=part.warm,
    )
    return board if orders is None else _accepted(search.model, board, part.board(orders))


def _accepted(model: SeasonModel, old: Board, new: Board) -> Board:
    """The new board made fit for the true clock, if it is not worse and keeps every held visit; else the old."""
    routes = list(new.routes)
    unplaced = set(new.unplaced)
    for d, order in enumerate(routes):
        if order != old.routes[d]:
            routes[d] = _on_true_clock(model, d, order)
            unplaced |= set(order) - set(routes[d])
    rebuilt = Board(tuple(routes), frozenset(unplaced))
    if rebuilt.unplaced - old.unplaced:
        rebuilt = insert_missing(model, rebuilt)
    lost = any(model.visits[v].held for v in rebuilt.unplaced - old.unplaced)
    return old if lost or model.cost(rebuilt) > model.cost(old) else rebuilt


def _on_true_clock(model: SeasonModel, d: int, order: Sequence[int]) -> tuple[int, ...]:
    """The day in its proven best order when small; otherwise as it is, without what lunch leaves no room for."""
    kept = tuple(order)
    if 1 < len(kept) <= _EXACT_UP_TO:
        places = [*(model.place[v] for v in kept), *model.ends[d]]
        seconds = [[model.seconds[a][b] for b in places] for a in places]
        tasks = [model.task(v, d) for v in kept]
        weights = [model.weight[v] for v in kept]
        kept = tuple(kept[i] for i in best_order(tasks, seconds, model.bounds[d], weights))
    while kept and not model.fits(d, kept):
        shorter = [(model.weight[v], kept[:i] + kept[i + 1 :]) for i, v in enumerate(kept)]
        fitting = [x for x in shorter if model.fits(d, x[1])]
        kept = min(fitting or shorter)[1]
    return kept


def _related(search: Search, board: Board, first: int, wanted: int | None = None) -> list[int]:
    """`first` and the days most like it: routes and dates near each other, able to swap visits, wished for."""
    model, against = search.model, search.model.reluctance_s
    here = _middle(model, board, first) if wanted is None else model.place[wanted]
    score: list[tuple[float, int]] = []
    for d in range(len(model.days)):
        if d != first:
            apart = abs((model.days[d].date - model.days[first].date).days)
            near = model.seconds[here][_middle(model, board, d)]
            bonus = 0 if wanted is None or model.allowed[wanted, d] else 3600
            empty = 900 if not board.routes[d] else 0
            liked = -3600 if any(against[v][d] < against[v][first] for v in board.routes[first]) else 0
            score.append((near + 60 * apart + bonus + empty + liked, d))
    return [first, *(d for _, d in sorted(score)[: search.settings.part_days - 1])]


def _middle(model: SeasonModel, board: Board, d: int) -> int:
    """The place on the route of day `d` with the least travel to its others; the start of an empty day."""
    places = [model.place[v] for v in board.routes[d]]
    if not places:
        return model.ends[d][0]
    return min(places, key=lambda a: sum(model.seconds[a][b] for b in places))


class _Part:
    """Some days of the season as a routing problem, and the way back from its answer to a board."""

    def __init__(self, model: SeasonModel, board: Board, days: list[int], *, waiting: bool = True) -> None:
        self.model, self.old, self.days = model, board, days
        placed = [v for d in days for v in board.routes[d]]
        hopeful = [v for v in sorted(board.unplaced) if waiting and model.possible[v, days].any()]
        # An over-full season must not put hundreds of hopeless candidates into every small search.
        hopeful = sorted(hopeful, key=lambda v: (-model.weight[v], model.visits[v].window_due, v))[:_MOST_WAITING]
        self.visits = placed + hopeful
        highest = max((model.visits[v].rank for v in hopeful), default=0)
        now = {v: d for d in days for v in board.routes[d]}
        tasks = [self._task(v, now.get(v)) for v in self.visits]
        clients = tuple(
            FleetClient(model.place[v], task, self._prize(v, highest))
            for v, task in zip(self.visits, tasks, strict=True)
        )
        vehicles = tuple(self._vehicle(d, tasks) for d in days)
        self.fleet = Fleet(model.travel.seconds, clients, vehicles, self._cut())
        number = {v: i for i, v in enumerate(self.visits)}
        self.warm = [[number[v] for v in board.routes[d]] for d in days]

    def board(self, orders: list[list[int]]) -> Board:
        """The answer as a board; days outside the part stay."""
        routes = list(self.old.routes)
        for d, order in zip(self.days, orders, strict=True):
            routes[d] = tuple(self.visits[i] for i in order)
        placed = {v for route in routes for v in route}
        return Board(tuple(routes), frozenset(range(len(self.model.visits))) - placed)

    def _task(self, v: int, now: int | None) -> Task:
        """One window a visit is all the solver knows: that of its present day, else the commonest one."""
        if now is not None:
            return self.model.task(v, now)
        tasks = [self.model.task(v, d) for d in self.days if self.model.possible[v, d]]
        return max(tasks, key=tasks.count)

    def _vehicle(self, d: int, tasks: list[Task]) -> FleetVehicle:
        """Forbidden are visits that don't suit the day, or whose chosen window is not inside that day's hours."""
        model, bounds = self.model, self.model.bounds[d]
        forbidden = set()
        for i, (v, task) in enumerate(zip(self.visits, tasks, strict=True)):
            if not model.allowed[v, d]:
                forbidden.add(i)
                continue
            there = model.task(v, d)
            if task.open_s < there.open_s or task.latest_s > there.latest_s:
                forbidden.add(i)
        # The solver counts waiting as duration, we don't count it as work: promises may lie far apart.
        longest = max(model.cap_s[d], model.held_span_s[d])
        start, end = model.ends[d]
        reluctant = frozenset((i, s) for i, v in enumerate(self.visits) if (s := model.reluctance_s[v][d]))
        return FleetVehicle(
            start, end, bounds.start_s, bounds.end_s, longest, frozenset(forbidden), reluctant=reluctant
        )

    def _prize(self, v: int, highest: int) -> int:
        """What is placed must stay, unless something of a higher rank waits for room."""
        rank = self.model.visits[v].rank
        return PRIZE_S * 10**rank if v in self.old.unplaced or rank < highest else 0

    def _cut(self) -> Cut:
        """The commonest lunch of these days, at the middle of its span."""
        lunches = [
            (b.lunch_open_s + b.lunch_latest_s, b.lunch_s)
            for b in (self.model.bounds[d] for d in self.days)
            if b.lunch_s
        ]
        if not lunches:
            return Cut()
        twice_at, length = max(sorted(set(lunches)), key=lunches.count)
        return Cut(twice_at // 2, length)
