"""One day of one technician: its order, its times, and the row that keeps them."""

import datetime as dt
from collections.abc import Iterable, Sequence

from django.core.exceptions import ValidationError
from django.db import transaction

from jobs.actions.planning.queue import queue_planners
from jobs.core.routing.day import DayRoute as CoreRoute
from jobs.models import DayRoute, Visit
from jobs.outside.roads import has_road_server
from jobs.queries.days import Day, read_days
from jobs.queries.planning import firm_today, planning_technicians, time_at
from sites.actions.audit import record
from sites.core import writing
from sites.models import User

DAY_CHANGED = "The day has changed since you opened it. Nothing was stored; look at it again."
PLACE_FIELDS = ["position", "arrives_at", "leaves_at"]
ROUTE_FIELDS = [
    "computed_at", "drive_min", "drive_km", "travel_source", "lunch_at", "back_at", "warnings"
]  # fmt: skip


def plan_day(*, date: dt.date, technician: User | None = None, seed: int = 1, by: User | None) -> list[DayRoute]:
    """Put the day's visits into the best order and store their times; of one technician or of all.

    Started and finished visits stay where they are; visits that don't fit go last, and the warnings say what they
    break. ValidationError for a past day or a technician without working hours.
    """
    refuse_past(date)
    people = planning_technicians()
    if technician is not None:
        people = [user for user in people if user.pk == technician.pk]
        if not people:
            raise ValidationError(f"{technician} has no working hours. Set them on the team page.")
    if has_road_server():
        read_days(date, people)  # it answers before anybody waits for us; the answers are kept and read below
    with transaction.atomic():
        lock_days({(user.pk, date) for user in people})
        routes = store_days([_best(day, seed) for day in read_days(date, people) if day.done or day.to_do])
        for row in routes:
            record(by=by, verb="day planned", subject=row, date=date.isoformat(), drive_min=round(row.drive_min, 1))
    return routes


def _best(day: Day, seed: int) -> tuple[Day, list[Visit]]:
    route = day.best_order(seed)
    place = {key: n for n, key in enumerate([*route.keys, *(stop.key for stop in route.unplaced)])}
    return day, sorted(day.to_do, key=lambda visit: place[str(visit.pk)])


@transaction.atomic
def set_order(*, technician: User, date: dt.date, visit_ids: Sequence[int], by: User | None) -> DayRoute | None:
    """Store an order chosen by hand with its times. What it breaks is told in the route's warnings, not refused.

    `visit_ids` are all visits of the day that have not started. ValidationError if they are not.
    """
    refuse_past(date)
    lock_days({(technician.pk, date)})
    day = one_day(technician, date)
    visits = {visit.pk: visit for visit in day.to_do}
    if sorted(visit_ids) != sorted(visits):
        raise ValidationError(DAY_CHANGED)
    routes = store_days([(day, [visits[pk] for pk in visit_ids])])
    for row in routes:
        record(by=by, verb="day order set", subject=row, date=date.isoformat(), visits=list(visit_ids))
    return routes[0] if routes else None


@transaction.atomic
def move(*, visit: Visit, steps: int, by: User | None) -> DayRoute | None:
    """Move a visit by so many places within its day, earlier when negative; stops at the ends."""
    if visit.technician is None or visit.planned_on is None:
        raise ValidationError("This visit is not planned.")
    ids = [row.pk for row in one_day(visit.technician, visit.planned_on).to_do]
    if visit.pk not in ids:
        raise ValidationError("This visit has started and stays where it is.")
    here = ids.index(visit.pk)
    ids.insert(min(max(here + steps, 0), len(ids) - 1), ids.pop(here))
    return set_order(technician=visit.technician, date=visit.planned_on, visit_ids=ids, by=by)


def refuse_past(date: dt.date) -> None:
    if date < firm_today():
        raise ValidationError(f"{writing.day(date)} is past; its routes stay as they were.")


def lock_days(days: Iterable[tuple[int, dt.date]]) -> None:
    """Make other planners, and technicians who start a visit of these days, wait until this transaction ends."""
    queue_planners()
    for technician_id, date in sorted(days):
        rows = Visit.objects.select_for_update().filter(technician_id=technician_id, planned_on=date)
        list(rows.order_by("pk").values_list("pk", flat=True))


def one_day(technician: User, date: dt.date) -> Day:
    for user in planning_technicians():
        if user.pk == technician.pk:
            return read_days(date, [user])[0]
    raise ValidationError(f"{technician} has no working hours. Set them on the team page.")


def reroute(days: Iterable[tuple[User, dt.date]]) -> None:
    """Compute the times of these days again in the order they have; past days stay as they were."""
    wanted = {(user.pk, date): user for user, date in days if date >= firm_today()}
    people = {user.pk: user for user in planning_technicians()}
    rows = [read_days(date, [people[pk]])[0] for pk, date in sorted(wanted) if pk in people]
    store_days([(day, day.to_do) for day in rows])


def store_days(days: Sequence[tuple[Day, Sequence[Visit]]]) -> list[DayRoute]:
    """Write positions and times of the visits and one route a day; a day without visits keeps no route."""
    if not days:
        return []
    for day, order in days:
        if not day.done and not order:
            DayRoute.objects.filter(technician=day.technician, date=day.date).delete()
    driven = [(day, order, day.in_order(order)) for day, order in days if day.done or order]
    visits = [visit for day, order, route in driven for visit in _placed(day, order, route)]
    Visit.objects.bulk_update(visits, PLACE_FIELDS, batch_size=200)
    return DayRoute.objects.bulk_create(
        [_row(day, route) for day, _, route in driven],
        update_conflicts=True,
        unique_fields=["technician", "date"],
        update_fields=ROUTE_FIELDS,
    )


def _placed(day: Day, order: Sequence[Visit], route: CoreRoute) -> Iterable[Visit]:
    for number, visit in enumerate(day.done, start=1):
        visit.position = number
        yield visit
    for number, (visit, stop) in enumerate(zip(order, route.stops, strict=True), start=len(day.done) + 1):
        # What a client is told is when work begins, not when the van waits at a closed gate.
        visit.position, visit.arrives_at, visit.leaves_at = number, time_at(stop.start_s), time_at(stop.departure_s)
        yield visit


def _row(day: Day, route: CoreRoute) -> DayRoute:
    driven_s, driven_m = day.driven
    return DayRoute(
        technician=day.technician,
        date=day.date,
        drive_min=(driven_s + route.drive_s) / 60,
        drive_km=driven_m / 1000 + route.drive_km,
        travel_source=route.travel_source,
        lunch_at=time_at(route.lunch.start_s) if route.lunch else None,
        back_at=time_at(route.finish_s),
        warnings=day.warnings(route),
    )
