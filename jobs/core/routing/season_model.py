"""The season in numbers: visits, days, what may go where, and the clock of every day."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from jobs.core.routing.clock import Bounds, Task, bounds_of, earliest_finish, task_of, timed
from jobs.core.routing.day import DayRoute, Stop
from jobs.core.routing.season_terms import PlannableVisit, SeasonSettings, TechnicianDay
from jobs.core.routing.travel import TravelMatrix


@dataclass(frozen=True)
class Board:
    """A candidate plan: visit numbers in driving order by day number, and the visits not placed."""

    routes: tuple[tuple[int, ...], ...]
    unplaced: frozenset[int]

    def with_route(self, day: int, route: Sequence[int]) -> "Board":
        """The board with this day's route replaced; visits leave or join the unplaced accordingly."""
        routes = list(self.routes)
        gone = set(routes[day]) - set(route)
        routes[day] = tuple(route)
        return Board(tuple(routes), (self.unplaced | gone) - set(route))


@dataclass(frozen=True, eq=False)
class SeasonModel:
    """Everything the planners ask, by number of visit and day; `allowed[visit, day]` says what suits."""

    visits: tuple[PlannableVisit, ...]
    days: tuple[TechnicianDay, ...]
    travel: TravelMatrix
    settings: SeasonSettings
    allowed: NDArray[np.bool_]
    _stops: dict[tuple[int, int], Stop] = field(default_factory=dict)
    _tasks: dict[tuple[int, int], Task] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        visits: Sequence[PlannableVisit],
        days: Sequence[TechnicianDay],
        travel: TravelMatrix,
        settings: SeasonSettings,
    ) -> "SeasonModel":
        """Numbers for visits and days; ValueError when a key or a technician's date is listed twice."""
        ordered = tuple(sorted(days, key=lambda d: (d.date, d.technician)))
        if len({v.key for v in visits}) != len(visits):
            raise ValueError("a visit is listed twice")
        if len({(d.technician, d.date) for d in ordered}) != len(ordered):
            raise ValueError("a technician's day is listed twice")
        allowed = np.array([[v.suits(d) for d in ordered] for v in visits], dtype=bool)
        return cls(tuple(visits), ordered, travel, settings, allowed.reshape(len(visits), len(ordered)))

    @cached_property
    def place(self) -> list[int]:
        """Row of the travel matrix of each visit."""
        return [self.travel.position[v.point] for v in self.visits]

    @cached_property
    def ends(self) -> list[tuple[int, int]]:
        """Rows of the travel matrix of each day's start and end."""
        at = self.travel.position
        return [(at[d.shift.start_point], at[d.shift.end_point]) for d in self.days]

    @cached_property
    def seconds(self) -> list[list[int]]:
        """Travel seconds as plain lists: much faster one by one than an array."""
        rows: list[list[int]] = self.travel.seconds.tolist()
        return rows

    @cached_property
    def bounds(self) -> list[Bounds]:
        return [bounds_of(d.shift) for d in self.days]

    @cached_property
    def weight(self) -> list[int]:
        """What a visit is worth when not all fit: a higher priority outweighs all lower ones; a promise is 1."""
        base = len(self.visits) + 1
        return [base**v.rank for v in self.visits]

    @cached_property
    def possible(self) -> NDArray[np.bool_]:
        """Like `allowed`, but only where the visit would also be in time if it were alone that day."""
        alone = self.allowed.copy()
        known: dict[tuple[object, ...], bool] = {}  # most days of a technician are alike
        for v, d in np.argwhere(self.allowed).tolist():
            alike = v, self.task(v, d), self.ends[d], self.bounds[d]
            if alike not in known:
                known[alike] = self.finish_s(d, (v,)) is not None
            alone[v, d] = known[alike]
        return alone

    @cached_property
    def reluctance_s(self) -> list[list[int]]:
        """Seconds of driving that [visit][day] is worth avoiding: see `SeasonSettings`."""
        wish_s, move_s, drift_s = self.settings.wish_s, self.settings.move_s, self.settings.drift_s
        drifts: list[list[int]] = (drift_s * self.drift).tolist()
        return [
            [
                wish_s * v.unmet_wishes(d) + move_s * (v.now not in (None, (d.technician, d.date))) + drift
                for d, drift in zip(self.days, row, strict=True)
            ]
            for v, row in zip(self.visits, drifts, strict=True)
        ]

    @cached_property
    def drift(self) -> NDArray[np.int64]:
        """Days that [visit, day] lies further from the date it is wanted on than does no harm."""
        dates = np.array([day.date.toordinal() for day in self.days], dtype=np.int64)
        far = np.zeros((len(self.visits), len(self.days)), dtype=np.int64)
        for v, visit in enumerate(self.visits):
            if visit.wanted_on is not None:
                apart = abs(dates - visit.wanted_on.toordinal())
                far[v] = np.maximum(0, apart - self.settings.drift_days)
        return far

    @cached_property
    def held(self) -> list[tuple[int, ...]]:
        """Visits bound to each day, in an order that works; those that can't all be in time are left out."""
        found: list[tuple[int, ...]] = []
        for d in range(len(self.days)):
            bound = [v for v in np.flatnonzero(self.allowed[:, d]).tolist() if self.visits[v].held]
            bound.sort(key=lambda v: (-self.weight[v], self.visits[v].fixed_time_min or 0, v))
            order: tuple[int, ...] = ()
            for v in bound:
                order = self.cheapest_insertion(v, d, order, cap_s=2**40) or order
            found.append(order)
        return found

    @cached_property
    def cap_s(self) -> list[int]:
        """Longest work (driving and service) of each day: the shift less its spare; held visits always fit."""
        share = 1 - self.settings.spare_fraction
        caps = [int(d.shift.working_min * 60 * share) for d in self.days]
        return [max(cap, self.work_s(d, self.held[d])) for d, cap in enumerate(caps)]

    @cached_property
    def held_span_s(self) -> list[int]:
        """From leaving to finishing without lunch, for the held visits of each day alone."""
        spans = []
        for d, held in enumerate(self.held):
            route = self.route(d, held)
            lunch_s = route.lunch.end_s - route.lunch.start_s if route.lunch else 0
            spans.append(route.finish_s - route.leave_s - lunch_s if held else 0)
        return spans

    def stop(self, v: int, d: int) -> Stop:
        """Visit `v` as a stop of day `d`."""
        if (v, d) not in self._stops:
            self._stops[v, d] = self.visits[v].stop_on(self.days[d].date)
        return self._stops[v, d]

    def task(self, v: int, d: int) -> Task:
        """Visit `v` on the clock of day `d`."""
        if (v, d) not in self._tasks:
            self._tasks[v, d] = task_of(self.stop(v, d))
        return self._tasks[v, d]

    def legs(self, d: int, order: Sequence[int]) -> list[int]:
        """Travel seconds along an order on day `d`, ends included."""
        start, end = self.ends[d]
        places = [start, *(self.place[v] for v in order), end]
        return [self.seconds[a][b] for a, b in pairwise(places)]

    def finish_s(self, d: int, order: Sequence[int], bounds: Bounds | None = None) -> int | None:
        """When day `d` can end with this order at the earliest, or None when it breaks a rule."""
        return earliest_finish([self.task(v, d) for v in order], self.legs(d, order), bounds or self.bounds[d])

    def work_s(self, d: int, order: Sequence[int]) -> int:
        """Driving and service of a day; a day without visits is not driven."""
        service = sum(self.visits[v].service_min for v in order) * 60
        return sum(self.legs(d, order)) + service if order else 0

    def fits(self, d: int, order: Sequence[int]) -> bool:
        """Whether the order keeps every rule of day `d` and the spare capacity."""
        return self.work_s(d, order) <= self.cap_s[d] and self.finish_s(d, order) is not None

    def drive_s(self, board: Board) -> int:
        return sum(sum(self.legs(d, r)) for d, r in enumerate(board.routes) if r)

    def cost(self, board: Board) -> tuple[int, int]:
        """Smaller is better: (weight not placed, driving, reluctance and excess load in seconds)."""
        missing = sum(self.weight[v] for v in board.unplaced)
        against = sum(self.reluctance_s[v][d] for d, route in enumerate(board.routes) for v in route)
        return missing, self.drive_s(board) + against + 3 * self.excess_s(board)

    @cached_property
    def time_s(self) -> dict[str, int]:
        """Working time of each technician."""
        time: dict[str, int] = {}
        for day in self.days:
            time[day.technician] = time.get(day.technician, 0) + day.shift.working_min * 60
        return time

    def _work_by_technician(self, board: Board) -> dict[str, int]:
        work = dict.fromkeys(self.time_s, 0)
        for d, day in enumerate(self.days):
            work[day.technician] += self.work_s(d, board.routes[d])
        return work

    def shares(self, board: Board) -> dict[str, float]:
        """Work over working time of each technician."""
        work = self._work_by_technician(board)
        return {who: work[who] / max(1, self.time_s[who]) for who in work}

    def excess_s(self, board: Board) -> int:
        """Work above a fair share, summed over technicians, in seconds."""
        work = self._work_by_technician(board)
        share = sum(work.values()) / max(1, sum(self.time_s.values())) * (1 + self.settings.fair_tolerance)
        return int(sum(max(0.0, work[who] - share * self.time_s[who]) for who in work))

    def route(self, d: int, order: Sequence[int]) -> DayRoute:
        """The timed route of day `d`."""
        return timed([self.stop(v, d) for v in order], self.days[d].shift, self.travel)

    def board_from(self, wanted: Mapping[str, tuple[str, date]]) -> Board:
        """A board near an earlier assignment: each visit on its day if it still fits, else unplaced.

        The order of the mapping is kept within a day when that works.
        """
        number = {(d.technician, d.date): i for i, d in enumerate(self.days)}
        visit = {v.key: i for i, v in enumerate(self.visits)}
        groups: list[list[int]] = [[] for _ in self.days]
        for key, day in wanted.items():
            if key in visit and day in number and self.allowed[visit[key], number[day]]:
                groups[number[day]].append(visit[key])
        board = Board(((),) * len(self.days), frozenset(range(len(self.visits))))
        for d, group in enumerate(groups):
            order: tuple[int, ...] = tuple(group) if self.fits(d, group) else ()
            if not order:
                for v in sorted(group, key=lambda v: (-self.weight[v], v)):
                    order = self.cheapest_insertion(v, d, order) or order
            board = board.with_route(d, order)
        return board

    def cheapest_insertion(
        self, v: int, d: int, order: Sequence[int], bounds: Bounds | None = None, cap_s: int | None = None
    ) -> tuple[int, ...] | None:
        """The order with `v` added where it costs least driving, or None when it fits nowhere."""
        start, end = self.ends[d]
        at, row = self.place[v], self.seconds
        places = [start, *(self.place[o] for o in order), end]
        extra = [(row[a][at] + row[at][b] - row[a][b], i) for i, (a, b) in enumerate(pairwise(places))]
        work = self.work_s(d, order) if order else row[start][end]
        service = self.visits[v].service_min * 60
        for more, i in sorted(extra):
            if work + more + service > (self.cap_s[d] if cap_s is None else cap_s):
                return None
            tried = (*order[:i], v, *order[i:])
            if self.finish_s(d, tried, bounds) is not None:
                return tried
        return None
