"""The day board: every technician's stops of a day with the times the routing core gives them."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass

from jobs.core.routing.day import DayRoute, clock_text
from jobs.models import Visit
from jobs.queries.days import Day, read_days
from jobs.queries.planning import planning_technicians
from sites.models import User

MOST_WAITING = 30
# Stored times are shown to clients; a difference this small is rounding.
SAME_MIN = 2


@dataclass(frozen=True)
class Line:
    """A stop as the board shows it: times as hh:mm, figures in minutes and km. `lunch` is eaten before it."""

    visit: Visit
    number: int
    arrives: str
    starts: str
    leaves: str
    drive_min: int
    drive_km: float
    wait_min: int
    slack_min: int
    lunch: str
    is_first: bool
    is_last: bool
    broken: tuple[str, ...]


@dataclass(frozen=True)
class Card:
    """One technician's day."""

    technician: User
    away: str
    hours: str
    done: tuple[Visit, ...]
    lines: tuple[Line, ...]
    lunch_last: str
    last_drive_min: int
    back: str
    spare_min: int
    drive_min: int
    drive_km: float
    service_min: int
    travel_source: str
    warnings: tuple[str, ...]
    stale: bool

    @property
    def visits(self) -> int:
        return len(self.done) + len(self.lines)


@dataclass(frozen=True)
class DayBoard:
    date: dt.date
    is_past: bool
    cards: tuple[Card, ...]
    technicians: tuple[User, ...]
    waiting: tuple[Visit, ...]
    waiting_total: int


def day_board(*, date: dt.date, today: dt.date) -> DayBoard:
    """Everything the board shows, in a fixed number of queries."""
    technicians = planning_technicians()
    waiting = waiting_visits(date)
    return DayBoard(
        date=date,
        is_past=date < today,
        cards=tuple(card_of(day) for day in read_days(date, technicians)),
        technicians=tuple(technicians),
        waiting=tuple(waiting[:MOST_WAITING]),
        waiting_total=waiting.count(),
    )


def waiting_visits(date: dt.date):
    """Open visits that may be made that day or are late, the nearest deadline first."""
    rows = Visit.objects.filter(state=Visit.State.OPEN, opens_on__lte=date, site__archived_at=None)
    return rows.select_related("site").order_by("due_on", "pk")


def card_of(day: Day) -> Card:
    """The technician's day in its present order, timed by the core."""
    route = day.in_order(day.to_do)
    driven_s, driven_m = day.driven
    return Card(
        technician=day.technician,
        away=day.away,
        hours=f"{clock_text(day.full_shift.start_min * 60)}–{clock_text(day.full_shift.end_min * 60)}",
        done=day.done,
        lines=tuple(_lines(day, route)),
        lunch_last=_lunch(route, len(day.to_do)) if day.to_do else "",
        last_drive_min=_minutes(route.last_drive_s),
        back=clock_text(route.finish_s),
        spare_min=max(0, day.full_shift.end_min - route.finish_s // 60),
        drive_min=_minutes(driven_s + route.drive_s),
        drive_km=driven_m / 1000 + route.drive_km,
        service_min=sum(visit.service_min for visit in (*day.done, *day.to_do)),
        travel_source=route.travel_source,
        warnings=tuple(day.warnings(route)) if day.to_do else (),
        stale=any(_stale(visit, stop) for visit, stop in zip(day.to_do, route.stops, strict=True)),
    )


def _lines(day: Day, route: DayRoute) -> Iterator[Line]:
    for n, (visit, stop) in enumerate(zip(day.to_do, route.stops, strict=True)):
        ate = route.lunch.end_s - route.lunch.start_s if route.lunch and _eats_at(route, n) else 0
        yield Line(
            visit=visit,
            number=len(day.done) + n + 1,
            arrives=clock_text(stop.arrival_s),
            starts=clock_text(stop.start_s),
            leaves=clock_text(stop.departure_s),
            drive_min=_minutes(stop.drive_s),
            drive_km=stop.drive_m / 1000,
            wait_min=max(0, stop.wait_s - ate) // 60,
            slack_min=stop.slack_s // 60,
            lunch=_lunch(route, n),
            is_first=n == 0,
            is_last=n == len(day.to_do) - 1,
            broken=tuple(broken.text for broken in route.broken if broken.key == str(visit.pk)),
        )


def _eats_at(route: DayRoute, number: int) -> bool:
    return route.lunch is not None and route.lunch.after == number and route.lunch.on_arrival


def _lunch(route: DayRoute, before: int) -> str:
    if route.lunch is None or route.lunch.after != before:
        return ""
    return f"{clock_text(route.lunch.start_s)}–{clock_text(route.lunch.end_s)}"


def _stale(visit: Visit, stop) -> bool:
    if visit.arrives_at is None:
        return True
    stored_min = visit.arrives_at.hour * 60 + visit.arrives_at.minute
    return abs(stored_min - stop.start_s / 60) > SAME_MIN


def _minutes(seconds: int) -> int:
    return round(seconds / 60)


def visits_on(technician: User, first_day: dt.date, last_day: dt.date) -> int:
    """How many visits stand on these days of this technician and have not started."""
    rows = Visit.objects.filter(technician=technician, planned_on__range=(first_day, last_day))
    return rows.filter(state=Visit.State.PLANNED).count()
