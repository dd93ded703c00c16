"""An independent check of finished routes; shares no code with the planners and trusts none of their sums."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date

from jobs.core.routing.day import DayRoute, Shift, Stop
from jobs.core.routing.season_terms import PlannableVisit, TechnicianDay
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
    if after == 0 and not on_arrival:
        return 0  # eaten before leaving
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
    if start < opens or end > closes or start < shift.start_min * 60:
        yield "lunch outside its window"
    if route.stops and route.lunch.after == 0 and not route.lunch.on_arrival and end > route.leave_s:
        yield "leaves during lunch"
    if any(a < end and start < b for a, b in busy):
        yield "lunch during a drive or a visit"


def season_faults(
    routes: Mapping[tuple[str, date], DayRoute],
    visits: Sequence[PlannableVisit],
    technician_days: Sequence[TechnicianDay],
    travel: TravelMatrix,
) -> tuple[str, ...]:
    """Everything wrong with a season's routes, in words: who, when, skills, hours, twice, and each day's clock."""
    known = {v.key: v for v in visits}
    days = {(d.technician, d.date): d for d in technician_days}
    seen: set[str] = set()
    faults: list[str] = []
    for (who, on), route in routes.items():
        day = days.get((who, on))
        if day is None:
            faults.append(f"{who} does not work on {on}")
            continue
        stops = []
        for key in route.keys:
            if key in seen or key not in known:
                faults.append(f"{key}: visited twice or unknown")
                continue
            seen.add(key)
            faults += [f"{key}: {text}" for text in _visit_faults(known[key], day)]
            stops.append(_as_stop(known[key], on))
        faults += [f"{who} {on}: {text}" for text in day_faults(route, stops, day.shift, travel)]
    return tuple(faults)


def _visit_faults(visit: PlannableVisit, day: TechnicianDay) -> Iterator[str]:
    if visit.fixed_date is None and not visit.window_opens <= day.date <= visit.window_due:
        yield f"{day.date} is outside its window"
    if visit.fixed_date is not None and visit.fixed_date != day.date:
        yield f"moved off its date to {day.date}"
    if visit.fixed_technician is not None and visit.fixed_technician != day.technician:
        yield f"moved off its technician to {day.technician}"
    stays = visit.may_stay and visit.now == (day.technician, day.date)
    if not visit.skills <= day.skills and not stays:
        yield f"{day.technician} lacks a skill"
    if visit.hours[day.date.weekday()] is None and visit.fixed_time_min is None:
        yield f"closed on {day.date}"


def _as_stop(visit: PlannableVisit, on: date) -> Stop:
    opens, closes = visit.hours[on.weekday()] or (0, 24 * 60)
    where, pin = visit.point, visit.fixed_time_min
    return Stop(visit.key, where.latitude, where.longitude, visit.service_min, opens, closes, pin)
