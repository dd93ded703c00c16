"""An independent check of finished routes; shares no code with the planners and trusts none of their sums."""

from collections.abc import Iterator, Sequence

from jobs.core.routing.day import DayRoute, Shift, Stop
from jobs.core.routing.travel import TravelMatrix


def day_faults(route: DayRoute, stops: Sequence[Stop], shift: Shift, travel: TravelMatrix) -> tuple[str, ...]:
    """Everything wrong with a route, in words; empty when it keeps every rule. Replays it stop by stop."""
    return tuple(_day_faults(route, {s.key: s for s in stops}, shift, travel))


def _day_faults(route: DayRoute, known: dict[str, Stop], shift: Shift, travel: TravelMatrix) -> Iterator[str]:
    keys = [p.key for p in route.stops] + [u.key for u in route.unplaced]
    if sorted(keys) != sorted(known):
        yield f"placed and unplaced {sorted(keys)} are not the stops asked for {sorted(known)}"
        return
    if route.leave_s < shift.start_min * 60:
        yield "leaves before the shift"
    now, place = route.leave_s, travel.position[shift.start_point]
    busy: list[tuple[int, int]] = []
    for i, placed in enumerate(route.stops):
        stop = known[placed.key]
        here = travel.position[stop.point]
        drive = int(travel.seconds[place, here])
        if placed.drive_s != drive:
            yield f"{stop.key}: drive of {placed.drive_s} s should be {drive} s"
        pause = _pause(route, i, on_arrival=False)
        if placed.arrival_s < now + pause + drive:
            yield f"{stop.key}: arrives earlier than one can drive"
        busy.append((placed.arrival_s - drive, placed.arrival_s))
        if placed.start_s < placed.arrival_s + _pause(route, i, on_arrival=True):
            yield f"{stop.key}: starts before arriving or during lunch"
        if placed.departure_s - placed.start_s != stop.service_min * 60:
            yield f"{stop.key}: wrong length of service"
        if stop.pinned_arrival_min is not None:
            if placed.start_s != stop.pinned_arrival_min * 60:
                yield f"{stop.key}: not at its promised time"
        elif not stop.opens_min * 60 <= placed.start_s <= placed.departure_s <= stop.closes_min * 60:
            yield f"{stop.key}: outside its opening time"
        busy.append((placed.start_s, placed.departure_s))
        now, place = placed.departure_s, here
    last = int(travel.seconds[place, travel.position[shift.end_point]])
    if route.last_drive_s != last:
        yield "wrong last drive"
    if route.finish_s < now + _pause(route, len(route.stops), on_arrival=False) + last:
        yield "home earlier than one can drive"
    busy.append((route.finish_s - last, route.finish_s))
    if route.finish_s > shift.end_min * 60:
        yield "ends after the shift"
    yield from _lunch_faults(route, shift, busy)


def _pause(route: DayRoute, after: int, *, on_arrival: bool) -> int:
    lunch = route.lunch
    here = lunch is not None and (lunch.after, lunch.on_arrival) == (after, on_arrival)
    return lunch.end_s - lunch.start_s if lunch is not None and here else 0


def _lunch_faults(route: DayRoute, shift: Shift, busy: list[tuple[int, int]]) -> Iterator[str]:
    opens, closes = (minute * 60 for minute in shift.lunch_window)
    latest = closes - shift.lunch_min * 60
    due = shift.lunch_min > 0 and shift.start_min * 60 < latest and route.finish_s > latest
    if route.lunch is None:
        if due:
            yield "no lunch"
        return
    start, end = route.lunch.start_s, route.lunch.end_s
    if end - start != shift.lunch_min * 60:
        yield "wrong length of lunch"
    if start < opens or end > closes:
        yield "lunch outside its window"
    if any(a < end and start < b for a, b in busy):
        yield "lunch during a drive or a visit"
