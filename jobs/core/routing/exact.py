"""Proven best order of a small day: dynamic programming over subsets of stops."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

from jobs.core.routing.clock import Bounds, Task


class _Label(NamedTuple):
    """A way to have served a set of stops: seconds driven, time now, the way before, the stop just served."""

    drive: int
    time: int
    before: "_Label | None"
    stop: int


Bucket = list[_Label]
Cost = Callable[[int, int], int]


def driving_alone(drive_s: int, finish_s: int) -> int:
    return drive_s


def best_order(
    tasks: Sequence[Task],
    seconds: Sequence[Sequence[int]],
    day: Bounds,
    weights: Sequence[int],
    cost: Cost = driving_alone,
) -> list[int]:
    """Order of the stops served: greatest total weight, then least cost, then earliest finish; proven.

    `cost` of (seconds driven, finish) must not fall when either grows.

    `seconds` covers the stops in order, then the start point, then the end point. Stops that don't fit are
    left out. Labels (driving, time) per subset, last stop and "lunch eaten or not" are kept while no other
    label of the same state is as good in both; this is exact because both only ever grow. Cost: n^2 2^n.
    """
    count = len(tasks)
    start, end = count, count + 1
    states: list[dict[tuple[int, bool], Bucket]] = [{} for _ in range(1 << count)]
    root = _Label(0, day.start_s, None, start)
    states[0][(start, False)] = [root]
    best: tuple[tuple[int, int, int], _Label] | None = None
    total = [sum(w for i, w in enumerate(weights) if mask >> i & 1) for mask in range(1 << count)]
    for mask, state in enumerate(states):
        for (last, fed), bucket in state.items():
            for label in bucket:
                finish = _home(label.time, fed, seconds[last][end], day)
                if finish is not None:
                    key = (-total[mask], cost(label.drive + seconds[last][end], finish), finish)
                    if best is None or key < best[0]:
                        best = (key, label)
                for i in range(count):
                    if not mask >> i & 1:
                        _extend(states[mask | 1 << i], label, fed, i, tasks[i], seconds[last][i], day)
    order: list[int] = []
    label_or_none = best[1] if best else None
    while label_or_none is not None and label_or_none.before is not None:
        order.append(label_or_none.stop)
        label_or_none = label_or_none.before
    return order[::-1]


def _extend(
    state: dict[tuple[int, bool], Bucket],
    label: _Label,
    fed: bool,
    stop: int,
    task: Task,
    leg: int,
    day: Bounds,
) -> None:
    """Serve one more stop, with lunch on the way where it is still due and may begin."""
    arrival = label.time + leg
    if arrival <= task.latest_s:
        done = max(arrival, task.open_s) + task.service_s
        _keep(state.setdefault((stop, fed), []), _Label(label.drive + leg, done, label, stop))
    if fed or not day.lunch_s:
        return
    for at, rest in ((label.time, leg), (arrival, 0)):  # before the drive, on arrival
        if at <= day.lunch_latest_s:
            ready = max(at, day.lunch_open_s) + day.lunch_s + rest
            if ready <= task.latest_s:
                done = max(ready, task.open_s) + task.service_s
                _keep(state.setdefault((stop, True), []), _Label(label.drive + leg, done, label, stop))


def _home(time: int, fed: bool, leg: int, day: Bounds) -> int | None:
    """When this ends at the end point, or None when it can't: too late, or without the lunch that is due."""
    finish = time + leg
    if not fed and day.lunch_s and finish > day.lunch_latest_s:
        if time > day.lunch_latest_s:
            return None
        finish = max(time, day.lunch_open_s) + day.lunch_s + leg
    return finish if finish <= day.end_s else None


def _keep(bucket: Bucket, new: _Label) -> None:
    for old in bucket:
        if old.drive <= new.drive and old.time <= new.time:
            return
    bucket[:] = [old for old in bucket if old.drive < new.drive or old.time < new.time]
    bucket.append(new)
