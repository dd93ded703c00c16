"""A first plan in a second: nearest visit next with urgent ones favoured, then insertion of what is left."""

from collections.abc import Iterator

import numpy as np

from jobs.core.routing.season_model import Board, SeasonModel

# Seconds of driving a visit may cost more for each day nearer to its deadline. Which one suits depends on how
# tight the season is, so all are tried.
URGENCIES_S = (30, 120, 600)
_LOOK_AHEAD_DAYS = 20
_TRIES = 12
_RANK_S = 1_000_000  # above any drive and deadline


def greedy_plan(model: SeasonModel) -> Board:
    """The best of a few nearest-neighbour plans; held visits are placed on their days first."""
    boards = [_nearest_neighbour(model, urgency) for urgency in URGENCIES_S]
    return min(boards, key=model.cost)


def _nearest_neighbour(model: SeasonModel, urgency_s: int) -> Board:
    board = Board(((),) * len(model.days), frozenset(range(len(model.visits))))
    held = {v for visits in model.held for v in visits}
    left = np.ones(len(model.visits), dtype=bool)
    left[sorted(held)] = False
    work = dict.fromkeys((day.technician for day in model.days), 0)
    for d in _in_turn(model, work):
        order = _filled_day(model, d, left, urgency_s)
        left[list(order)] = False
        work[model.days[d].technician] += model.work_s(d, order)
        board = board.with_route(d, order)
    return board


def _in_turn(model: SeasonModel, work: dict[str, int]) -> Iterator[int]:
    """Days by date; on one date the technician with the least work so far chooses first."""
    dates: dict[object, list[int]] = {}
    for d, day in enumerate(model.days):
        dates.setdefault(day.date, []).append(d)
    for same_date in dates.values():
        waiting = list(same_date)
        while waiting:
            d = min(waiting, key=lambda d: (work[model.days[d].technician], d))
            waiting.remove(d)
            yield d


def _filled_day(model: SeasonModel, d: int, left: np.ndarray, urgency_s: int) -> tuple[int, ...]:
    """Append the nearest visit that leaves room for the held ones, until none fits; then the held ones."""
    order: tuple[int, ...] = ()
    ahead = model.held[d]
    # A visit that is wanted later must not fill up an early day, nor the other way round.
    free = left & model.allowed[:, d] & (model.drift[:, d] == 0)
    place = np.array(model.place, dtype=np.intp)
    today = model.days[d].date
    days_left = np.array([(v.window_due - today).days for v in model.visits])
    ranks = np.array([v.rank for v in model.visits])
    urgent = urgency_s * np.minimum(days_left, _LOOK_AHEAD_DAYS) - _RANK_S * ranks
    reluctant = np.array([row[d] for row in model.reluctance_s])
    now_place = model.ends[d][0]
    while True:
        choice = np.flatnonzero(free)
        scores = model.travel.seconds[now_place, place[choice]] + urgent[choice] + reluctant[choice]
        ranked = choice[np.argsort(scores, kind="stable")[:_TRIES]].tolist()
        chosen = next((v for v in ranked if model.fits(d, (*order, v, *ahead))), None)
        if ahead and (chosen is None or _nearer(model, now_place, ahead[0], chosen)):
            order, ahead = (*order, ahead[0]), ahead[1:]
        elif chosen is None:
            return order
        else:
            order = (*order, chosen)
            free[chosen] = False
        now_place = model.place[order[-1]]


def _nearer(model: SeasonModel, here: int, held: int, other: int) -> bool:
    """Whether a held visit without a promised hour lies nearer than the other choice."""
    row = model.seconds[here]
    return model.visits[held].fixed_time_min is None and row[model.place[held]] <= row[model.place[other]]


def insert_missing(model: SeasonModel, board: Board) -> Board:
    """Put unplaced visits where they cost least driving, urgent ones first."""
    rest = sorted(board.unplaced, key=lambda v: (-model.weight[v], model.visits[v].window_due, v))
    for v in rest:
        options = []
        for d in np.flatnonzero(model.allowed[v]).tolist():
            order = model.cheapest_insertion(v, d, board.routes[d])
            if order is not None:
                more = sum(model.legs(d, order)) - sum(model.legs(d, board.routes[d]) if board.routes[d] else [])
                options.append((more + model.reluctance_s[v][d], d, order))
        if options:
            _, d, order = min(options)
            board = board.with_route(d, order)
    return board
