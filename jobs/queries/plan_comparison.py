"""Season plans side by side: those that wait for a decision, and what stands now."""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Count, F, Q, QuerySet, Sum

from jobs.models import DayRoute, PlanRun, Visit
from jobs.queries.planning import names_of, planning_technicians
from sites.core import writing
from sites.models import User

State = Visit.State
Place = tuple[int, dt.date]
MOST_PLANS = 4
NOW = 0  # stands for what is stored, where a plan has its number


@dataclass(frozen=True)
class PlanColumn:
    """One plan: `number` is its row, 0 for what stands now. Figures are None where nobody computed them."""

    number: int
    title: str
    run: PlanRun | None
    placed: int
    unplaced: int
    late: int
    moved: int | None
    against_wishes: int | None
    days_used: int
    drive_min: float
    drive_km: float
    loads: Mapping[str, float]


@dataclass(frozen=True)
class ElsewhereLine:
    """A visit that two plans put on different days or technicians; empty words: no day."""

    visit: Visit
    first: str
    second: str


@dataclass(frozen=True)
class UnplacedLine:
    visit: int
    site: str
    kind: str
    reason: str
    remedies: tuple[str, ...]


@dataclass(frozen=True)
class PlanComparison:
    """All columns answer the same question; `others` are plans that wait with another one."""

    year: int
    first_day: dt.date | None
    last_day: dt.date | None
    columns: tuple[PlanColumn, ...]
    technicians: tuple[str, ...]
    first: PlanColumn | None
    second: PlanColumn | None
    elsewhere: tuple[ElsewhereLine, ...]
    unplaced: tuple[UnplacedLine, ...]
    against_wishes: tuple[Visit, ...]
    others: tuple[PlanRun, ...]

    @property
    def load_rows(self) -> list[tuple[str, list[float]]]:
        """Hours of work of each technician in each plan."""
        return [(name, [column.loads.get(name, 0.0) for column in self.columns]) for name in self.technicians]


def compare_plans(*, first: int | None, second: int | None, today: dt.date) -> PlanComparison:
    """The plans that wait for a decision beside what stands; `first` and `second` are looked at visit by visit.

    Only plans that answer the same question stand side by side: those like `second`, or like the newest. Without a
    choice: what stands now against the newest.
    """
    waiting = list(PlanRun.objects.to_decide(today).defer("orders"))
    if not waiting:
        return PlanComparison(0, None, None, (), (), None, None, (), (), (), ())
    newest = next((run for run in waiting if run.pk == second), waiting[0])
    span = newest.first_day, newest.last_day
    alike = [run for run in waiting if _question(run) == _question(newest)]
    same = sorted({newest, *alike[: MOST_PLANS - 1]}, key=lambda run: -run.pk)
    names = names_of(planning_technicians())
    columns = (_now(newest, names), *(_proposed(run) for run in same))
    by_number = {column.number: column for column in columns}
    one = by_number.get(first if first is not None else NOW, columns[0])
    two = by_number.get(second if second is not None else newest.pk, by_number[newest.pk])
    return PlanComparison(
        newest.season_year,
        *span,
        columns,
        tuple(names.values()),
        one,
        two,
        tuple(_elsewhere(newest, one, two)),
        tuple(UnplacedLine(*_told(row)) for row in two.run.summary["unplaced"]) if two.run else (),
        tuple(_with_wishes(two.run.summary["against_wishes"])) if two.run else (),
        tuple(run for run in waiting if run not in same),
    )


def _with_wishes(pks: Sequence[int]) -> QuerySet[Visit]:
    """Visits with what their client would have liked."""
    terms = "site__visit_terms__preferred_technician"
    return Visit.objects.filter(pk__in=pks).select_related(terms).order_by("site__name", "pk")


def _question(run: PlanRun) -> tuple:
    """What the planner was asked to place: only answers to the same question can be compared."""
    return run.season_year, tuple(run.kinds), run.first_day, run.last_day, run.keep_planned, run.summary["visits"]


def _told(row: Mapping) -> tuple[int, str, str, str, tuple[str, ...]]:
    return row["visit"], row["site"], row["kind"], row["reason"], tuple(row["remedies"])


def _now(run: PlanRun, names: Mapping[int, str]) -> PlanColumn:
    """What is stored for the days of this plan, counted over the visits that it was asked to plan."""
    visits = Visit.objects.filter(pk__in=run.summary["visits"])
    in_days = Q(planned_on__range=(run.first_day, run.last_day))
    figures = visits.order_by().aggregate(
        all=Count("pk"),
        placed=Count("pk", filter=in_days & Q(state=State.PLANNED)),
        late=Count("pk", filter=in_days & Q(state=State.PLANNED, planned_on__gt=F("due_on"))),
    )
    routes = DayRoute.objects.filter(date__range=(run.first_day, run.last_day)).order_by()
    driven = routes.aggregate(minutes=Sum("drive_min"), km=Sum("drive_km"), days=Count("pk"))
    work = dict(routes.values_list("technician").annotate(Sum("drive_min")))
    served = Visit.objects.filter(in_days).exclude(state__in=[State.OPEN, State.CANCELLED]).order_by()
    for pk, minutes in served.values_list("technician").annotate(Sum("service_min")):
        work[pk] = work.get(pk, 0) + minutes
    return PlanColumn(
        number=NOW,
        title="As planned now",
        run=None,
        placed=figures["placed"],
        unplaced=figures["all"] - figures["placed"],
        late=figures["late"],
        moved=None,
        against_wishes=None,
        days_used=driven["days"],
        drive_min=driven["minutes"] or 0.0,
        drive_km=driven["km"] or 0.0,
        loads={name: work.get(pk, 0) for pk, name in names.items()},
    )


def _proposed(run: PlanRun) -> PlanColumn:
    told = run.summary
    return PlanColumn(
        number=run.pk,
        title=f"Plan {run.pk}",
        run=run,
        placed=told["newly_planned"] + told["moved"] + told["stayed"],
        unplaced=len(told["unplaced"]),
        late=told["late"],
        moved=told["moved"],
        against_wishes=len(told["against_wishes"]),
        days_used=told["days_used"],
        drive_min=told["drive_min"],
        drive_km=told["drive_km"],
        loads={load["technician"]: load["work_min"] for load in told["loads"]},
    )


def _elsewhere(run: PlanRun, first: PlanColumn, second: PlanColumn) -> Iterable[ElsewhereLine]:
    """Visits on different days or technicians, by the day of the second plan."""
    one, two = _places(run, first), _places(run, second)
    pks = [pk for pk in one.keys() | two.keys() if one.get(pk) != two.get(pk)]
    visits = Visit.objects.filter(pk__in=pks).select_related("site").order_by("pk")
    people = [place[0] for place in (*one.values(), *two.values())]
    names = names_of(User.objects.filter(pk__in=people))  # also of those who have left since
    last = dt.date.max
    for visit in sorted(visits, key=lambda v: (two[v.pk][1] if v.pk in two else last, v.pk)):
        yield ElsewhereLine(visit, _words(one.get(visit.pk), names), _words(two.get(visit.pk), names))


def _places(run: PlanRun, column: PlanColumn) -> dict[int, Place]:
    if column.run is not None:
        return {pk: (who, dt.date.fromisoformat(on)) for who, on, ids in column.run.orders for pk in ids}
    rows = Visit.objects.filter(planned_on__range=(run.first_day, run.last_day), technician__isnull=False)
    rows = rows.exclude(state__in=[State.OPEN, State.CANCELLED])
    return {visit.pk: visit.placed for visit in rows.only("technician_id", "planned_on")}


def _words(place: Place | None, names: Mapping[int, str]) -> str:
    if place is None:
        return ""
    return f"{writing.weekday_day(place[1])}, {names.get(place[0], 'somebody who has left')}"
