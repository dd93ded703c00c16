"""The day board: every technician's stops of a day with the times the routing core gives them."""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from jobs.core.routing.day import DayRoute, PlacedStop, clock_text
from jobs.core.whole_minutes import shared_out, whole_minutes
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
    """One technician's day. The minutes of its drives, `driven_min` of them over, add up to `drive_min`."""

    technician: User
    date: dt.date
    is_past: bool
    away: str
    hours: str
    counts_from: str
    done: tuple[Visit, ...]
    lines: tuple[Line, ...]
    lunch_last: str
    driven_min: int
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

    @property
    def order(self) -> str:
        """The stops in their order, for the address of the map: another order is another picture."""
        return "-".join(str(visit.pk) for visit in (*self.done, *(line.visit for line in self.lines)))


@dataclass(frozen=True)
class DayBoard:
    """The day of `only` one technician, or of everybody; `technicians` are all who can be planned."""

    date: dt.date
    is_past: bool
    only: User | None
    cards: tuple[Card, ...]
    technicians: tuple[User, ...]
    waiting: tuple[Visit, ...]
    waiting_total: int


def day_board(*, date: dt.date, today: dt.date, only: int | None = None) -> DayBoard:
    """Everything the board shows, in a fixed number of queries."""
    technicians = planning_technicians()
    chosen = next((user for user in technicians if user.pk == only), None)
    waiting = waiting_visits(date)
    return DayBoard(
        date=date,
        is_past=date < today,
        only=chosen,
        cards=day_cards(date, today, [chosen] if chosen else technicians),
        technicians=tuple(technicians),
        waiting=tuple(waiting[:MOST_WAITING]),
        waiting_total=waiting.count(),
    )


def day_cards(date: dt.date, today: dt.date, technicians: Sequence[User]) -> tuple[Card, ...]:
    return tuple(card_of(day, today) for day in read_days(date, technicians))


def changed_cards(visit: Visit, today: dt.date, technicians: Sequence[User], changed: set[int]) -> tuple[Card, ...]:
    """The cards of those `changed` and of those at the same site that day: their warnings name each other."""
    at_site = Visit.objects.filter(site_id=visit.site_id, planned_on=visit.planned_on, technician__isnull=False)
    wanted = changed | set(at_site.values_list("technician_id", flat=True))
    return day_cards(visit.placed[1], today, [user for user in technicians if user.pk in wanted])


def waiting_visits(date: dt.date) -> QuerySet[Visit]:
    """Open visits that may be made that day or are late, the nearest deadline first."""
    rows = Visit.objects.filter(state=Visit.State.OPEN, opens_on__lte=date, site__archived_at=None)
    return rows.select_related("site").order_by("due_on", "pk")


def card_of(day: Day, today: dt.date) -> Card:
    """The technician's day in its present order, timed by the core."""
    route = day.in_order(day.to_do)
    driven_s, driven_m = day.driven
    driven_min, *drives_min, last_drive_min = shared_out(
        [driven_s, *(stop.drive_s for stop in route.stops), route.last_drive_s]
    )
    return Card(
        technician=day.technician,
        date=day.date,
        is_past=day.date < today,
        away=day.away,
        hours=f"{clock_text(day.full_shift.start_min * 60)}–{clock_text(day.full_shift.end_min * 60)}",
        counts_from=_counts_from(day, today),
        done=day.done,
        lines=tuple(_lines(day, route, drives_min)),
        lunch_last=_lunch(route, len(day.to_do)) if day.to_do else "",
        driven_min=driven_min,
        last_drive_min=last_drive_min,
        back=clock_text(route.finish_s),
        spare_min=max(0, day.full_shift.end_min - route.finish_s // 60),
        drive_min=whole_minutes(driven_s + route.drive_s),
        drive_km=driven_m / 1000 + route.drive_km,
        service_min=sum(visit.service_min for visit in (*day.done, *day.to_do)),
        travel_source=route.travel_source,
        warnings=tuple(day.warnings(route)) if day.to_do else (),
        stale=any(_stale(visit, stop) for visit, stop in zip(day.to_do, route.stops, strict=True)),
    )


def _counts_from(day: Day, today: dt.date) -> str:
    """The time from which today's open stops are timed, once the shift has begun."""
    begun = day.date == today and day.shift.start_min > day.full_shift.start_min
    return clock_text(day.shift.start_min * 60) if begun and day.to_do else ""


def _lines(day: Day, route: DayRoute, drives_min: Sequence[int]) -> Iterator[Line]:
    for n, (visit, stop, drive_min) in enumerate(zip(day.to_do, route.stops, drives_min, strict=True)):
        ate = route.lunch.end_s - route.lunch.start_s if route.lunch and _eats_at(route, n) else 0
        yield Line(
            visit=visit,
            number=len(day.done) + n + 1,
            arrives=clock_text(stop.arrival_s),
            starts=clock_text(stop.start_s),
            leaves=clock_text(stop.departure_s),
            drive_min=drive_min,
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


def _stale(visit: Visit, stop: PlacedStop) -> bool:
    if visit.arrives_at is None:
        return True
    stored_min = visit.arrives_at.hour * 60 + visit.arrives_at.minute
    return abs(stored_min - stop.start_s / 60) > SAME_MIN


def planned_on(first_day: dt.date, last_day: dt.date, technician: User | None = None) -> int:
    """How many visits stand on these days, of one technician or of all, and have not started."""
    rows = Visit.objects.filter(planned_on__range=(first_day, last_day), state=Visit.State.PLANNED)
    return rows.filter(technician=technician).count() if technician else rows.count()
