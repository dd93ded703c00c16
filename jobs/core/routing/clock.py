"""The clock of one day: given an order of stops, when does everything happen, lunch included."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from jobs.core.routing.day import Broken, DayRoute, Lunch, PlacedStop, Shift, Stop, clock_text
from jobs.core.routing.travel import TravelMatrix


@dataclass(frozen=True)
class Task:
    """A stop reduced to seconds: service may start from `open_s` to `latest_s` and takes `service_s`."""

    open_s: int
    latest_s: int
    service_s: int


@dataclass(frozen=True)
class Bounds:
    """A shift in seconds; lunch may start from `lunch_open_s` to `lunch_latest_s`; `lunch_s` 0 is none."""

    start_s: int
    end_s: int
    lunch_s: int
    lunch_open_s: int
    lunch_latest_s: int


@dataclass(frozen=True)
class Slot:
    """Lunch between visits number `after` - 1 and `after`: before the drive or on arrival."""

    after: int
    on_arrival: bool


def task_of(stop: Stop) -> Task:
    """The stop in seconds: the limit on the END of service becomes one on its start."""
    if stop.pinned_arrival_min is not None:
        return Task(stop.pinned_arrival_min * 60, stop.pinned_arrival_min * 60, stop.service_min * 60)
    return Task(stop.opens_min * 60, (stop.closes_min - stop.service_min) * 60, stop.service_min * 60)


def bounds_of(shift: Shift) -> Bounds:
    """The shift in seconds."""
    opens, closes = shift.lunch_window
    return Bounds(
        shift.start_min * 60,
        shift.end_min * 60,
        shift.lunch_due_min * 60,
        opens * 60,
        (closes - shift.lunch_min) * 60,
    )


def earliest_finish(tasks: Sequence[Task], legs: Sequence[int], day: Bounds) -> int | None:
    """When the route can end at the earliest, lunch placed as it must be, or None when it breaks a rule.

    `legs` has one more entry than `tasks`: from the start point, between stops, to the end point.
    """
    free: int | None = day.start_s  # nobody has eaten yet
    fed: int | None = None
    for task, leg in zip(tasks, legs[:-1], strict=True):
        fed = None if fed is None else fed + leg
        if free is not None and day.lunch_s:
            fed = _earlier(fed, _eaten(free, leg, day))
        free = None if free is None else free + leg
        free = _served(free, task)
        fed = _served(fed, task)
        if free is None and fed is None:
            return None
    home = None if fed is None else fed + legs[-1]
    if free is not None:
        if not day.lunch_s or free + legs[-1] <= day.lunch_latest_s:
            home = _earlier(home, free + legs[-1])
        elif free <= day.lunch_latest_s:
            home = _earlier(home, max(free, day.lunch_open_s) + day.lunch_s + legs[-1])
    return home if home is not None and home <= day.end_s else None


def _eaten(at: int, leg: int, day: Bounds) -> int | None:
    """Ready for service at the next stop with lunch eaten on this leg; eating on arrival is never later."""
    if at + leg <= day.lunch_latest_s:
        return max(at + leg, day.lunch_open_s) + day.lunch_s
    if at <= day.lunch_latest_s:
        return max(at, day.lunch_open_s) + day.lunch_s + leg
    return None


def _served(at: int | None, task: Task) -> int | None:
    return None if at is None or at > task.latest_s else max(at, task.open_s) + task.service_s


def _earlier(a: int | None, b: int | None) -> int | None:
    if a is None or b is None:
        return b if a is None else a
    return min(a, b)


def timed(stops: Sequence[Stop], shift: Shift, travel: TravelMatrix) -> DayRoute:
    """The route in this very order with the best place for lunch; rules it breaks are named in `broken`.

    Best means: fewest rules broken, least lateness, earliest finish, lunch nearest the middle of its window.
    """
    places = travel.between([shift.start_point, *(s.point for s in stops), shift.end_point])
    return min(
        (_Run(stops, shift, places, slot).route() for slot in _slots(len(stops), bounds_of(shift))),
        key=lambda route: _preference(route, shift),
    )


def _slots(count: int, day: Bounds) -> Iterator[Slot | None]:
    yield None
    if day.lunch_s:
        for after in range(count + 1):
            yield Slot(after, on_arrival=False)
            if after < count:
                yield Slot(after, on_arrival=True)


def _preference(route: DayRoute, shift: Shift) -> tuple[int, int, int, int]:
    middle_s = sum(shift.lunch_window) * 30
    off_middle = abs(route.lunch.start_s + route.lunch.end_s - 2 * middle_s) if route.lunch else 0
    return len(route.broken), sum(b.late_s for b in route.broken), route.finish_s, off_middle


class _Run:
    """One pass through the day with lunch in a given slot."""

    def __init__(self, stops: Sequence[Stop], shift: Shift, places: TravelMatrix, slot: Slot | None) -> None:
        self.stops, self.places, self.slot = stops, places, slot
        self.tasks = [task_of(stop) for stop in stops]
        self.day = bounds_of(shift)
        self.legs = [int(places.seconds[i, i + 1]) for i in range(len(stops) + 1)]
        self.lunch: Lunch | None = None

    def route(self) -> DayRoute:
        """Forward for the times, backward for the slack."""
        times, leave_s, finish_s = self._forward()
        latest = self._latest_starts()
        placed = tuple(
            PlacedStop(
                stop.key,
                arrival,
                start,
                start + task.service_s,
                self.legs[i],
                int(self.places.metres[i, i + 1]),
                latest[i] - start,
                bool(self.places.estimated[i, i + 1]),
            )
            for i, (stop, task, (arrival, start)) in enumerate(zip(self.stops, self.tasks, times, strict=True))
        )
        last = len(self.stops)
        return DayRoute(
            placed,
            leave_s,
            finish_s,
            self.lunch,
            self.legs[last],
            int(self.places.metres[last, last + 1]),
            broken=tuple(self._broken(times, finish_s)),
            travel_source=self.places.source,
            warnings=self.places.warnings,
        )

    def _forward(self) -> tuple[list[tuple[int, int]], int, int]:
        """(arrival, start) of every stop, leaving and finishing time."""
        now = self.day.start_s
        times: list[tuple[int, int]] = []
        for i, task in enumerate(self.tasks):
            now = self._maybe_lunch(now, Slot(i, on_arrival=False)) + self.legs[i]
            arrival = now
            start = max(self._maybe_lunch(now, Slot(i, on_arrival=True)), task.open_s)
            times.append((arrival, start))
            now = start + task.service_s
        now = self._maybe_lunch(now, Slot(len(self.tasks), on_arrival=False)) + self.legs[-1]
        if not times:
            return times, self.day.start_s, now
        # Nobody leaves early to wait at the first stop; lunch before the first drive is eaten before leaving.
        first = times[0][1]
        arrival = self.lunch.start_s if self.lunch and self.slot == Slot(0, on_arrival=True) else first
        times[0] = (arrival, first)
        return times, arrival - self.legs[0], now

    def _maybe_lunch(self, now: int, slot: Slot) -> int:
        if slot != self.slot:
            return now
        start = max(now, self.day.lunch_open_s)
        self.lunch = Lunch(start, start + self.day.lunch_s, slot.after, slot.on_arrival)
        return self.lunch.end_s

    def _latest_starts(self) -> list[int]:
        """Latest start of each service that still keeps every later limit, lunch staying in its slot."""
        day, count = self.day, len(self.tasks)
        must_arrive = day.end_s if self.slot or not day.lunch_s else min(day.end_s, day.lunch_latest_s)
        must_leave = self._leave_by(count, must_arrive)
        latest = [0] * count
        for i in reversed(range(count)):
            latest[i] = must_arrive = min(self.tasks[i].latest_s, must_leave - self.tasks[i].service_s)
            if self.slot == Slot(i, on_arrival=True):
                must_arrive = min(must_arrive - day.lunch_s, day.lunch_latest_s)
            must_leave = self._leave_by(i, must_arrive)
        return latest

    def _leave_by(self, leg: int, must_arrive: int) -> int:
        must_leave = must_arrive - self.legs[leg]
        if self.slot == Slot(leg, on_arrival=False):
            must_leave = min(must_leave - self.day.lunch_s, self.day.lunch_latest_s)
        return must_leave

    def _broken(self, times: list[tuple[int, int]], finish_s: int) -> Iterator[Broken]:
        for stop, task, (_, start) in zip(self.stops, self.tasks, times, strict=True):
            late = start - task.latest_s
            if late > 0 and stop.pinned_arrival_min is not None:
                text = f"promised for {clock_text(task.open_s)}, reached at {clock_text(start)}"
                yield Broken("pin", stop.key, late, text)
            elif late > 0:
                ends = clock_text(start + task.service_s)
                text = f"must be finished by {clock_text(stop.closes_min * 60)}, would end at {ends}"
                yield Broken("opening", stop.key, late, text)
        late = finish_s - self.day.end_s
        if late > 0:
            text = f"the shift ends at {clock_text(self.day.end_s)}, the route at {clock_text(finish_s)}"
            yield Broken("shift", "", late, text)
        eaten = self.lunch.start_s if self.lunch else finish_s
        if self.day.lunch_s and eaten > self.day.lunch_latest_s:
            latest = clock_text(self.day.lunch_latest_s)
            yield Broken("lunch", "", eaten - self.day.lunch_latest_s, f"lunch must begin by {latest}")


def legs_of(seconds: Sequence[Sequence[int]], order: Sequence[int], start: int, end: int) -> list[int]:
    """Travel seconds from `start` through the places of `order` to `end`, indices into `seconds`."""
    return [seconds[a][b] for a, b in pairwise([start, *order, end])]
