"""The season board: windows, counts by kind, weeks by technician with their load, and what needs a person."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Count, F, Max, Min, Q, QuerySet, Sum

from jobs.models import DayRoute, PlanRun, SeasonWindow, Visit, VisitKind
from jobs.queries.planning import names_of, technician_days
from jobs.queries.windows import SEASONAL
from sites.core import writing
from sites.models import User

State = Visit.State
RISK_DAYS = 14
MOST_AT_RISK = 25
WEEK = dt.timedelta(days=7)


@dataclass(frozen=True)
class WindowRow:
    kind: str
    name: str
    window: SeasonWindow | None


@dataclass(frozen=True)
class KindCount:
    """How many visits of a kind stand where; `late` is not finished past its deadline or planned after it."""

    kind: str
    name: str
    open: int
    planned: int
    started: int
    done: int
    cancelled: int
    late: int


@dataclass(frozen=True)
class Load:
    """A technician's week: service and driving against working time, in minutes."""

    technician: str
    visits: int
    work_min: int
    working_min: int

    @property
    def percent(self) -> int:
        return round(100 * self.work_min / self.working_min) if self.working_min else 100 * bool(self.work_min)

    @property
    def over(self) -> bool:
        return self.work_min > self.working_min


@dataclass(frozen=True)
class Week:
    monday: dt.date
    days: tuple[tuple[dt.date, int], ...]  # with the number of visits
    loads: tuple[Load, ...]

    @property
    def is_empty(self) -> bool:
        return not any(load.work_min for load in self.loads)

    @property
    def number(self) -> int:
        return self.monday.isocalendar().week

    @property
    def sunday(self) -> dt.date:
        return self.monday + dt.timedelta(days=6)


@dataclass(frozen=True)
class AtRisk:
    visit: Visit
    why: str
    grave: bool


@dataclass(frozen=True)
class NotPlaced:
    """A visit the last plan left out and that still waits."""

    visit_id: int
    site: str
    kind: str
    reason: str
    remedies: tuple[str, ...]


@dataclass(frozen=True)
class SeasonBoard:
    year: int
    kind: str
    people: tuple[User, ...]
    technician: User | None
    today: dt.date
    windows: tuple[WindowRow, ...]
    counts: tuple[KindCount, ...]
    technicians: tuple[str, ...]
    weeks: tuple[Week, ...]
    empty_weeks: tuple[Week, ...]
    past_weeks: tuple[Week, ...]
    at_risk: tuple[AtRisk, ...]
    at_risk_total: int
    not_placed: tuple[NotPlaced, ...]
    run: PlanRun | None
    plans_waiting: int
    plan_kinds: tuple[str, ...]
    plan_from: dt.date
    plan_to: dt.date

    @property
    def has_weeks(self) -> bool:
        return bool(self.weeks or self.empty_weeks or self.past_weeks)


def season_board(
    *, year: int, kind: str, today: dt.date, people: Sequence[User], technician: int | None = None
) -> SeasonBoard:
    """Everything the board shows, in a fixed number of queries; of one of these people, or of all.

    What waits for a day belongs to nobody: it is shown with everybody only.
    """
    windows = {window.kind: window for window in SeasonWindow.objects.filter(season_year=year)}
    chosen = [window for window in windows.values() if kind in ("", window.kind)]
    technicians = [user for user in people if technician in (None, user.pk)]
    visits = visits_of_season(year, kind, technician)
    counts = _counts(visits, today)
    weeks = _weeks(_span(chosen, visits, today), technicians)
    monday = today - dt.timedelta(days=today.weekday())
    risky = _risky(visits, today)
    run = PlanRun.objects.select_related("asked_by").first()
    first, last = usual_days(today, chosen)
    return SeasonBoard(
        year=year,
        kind=kind,
        people=tuple(people),
        technician=technicians[0] if technician else None,
        today=today,
        windows=tuple(WindowRow(k, k.label, windows.get(k)) for k in SEASONAL if kind in ("", k)),
        counts=counts,
        technicians=tuple(names_of(technicians).values()),
        weeks=tuple(week for week in weeks if week.monday >= monday and not week.is_empty),
        empty_weeks=tuple(week for week in weeks if week.monday >= monday and week.is_empty),
        past_weeks=tuple(week for week in weeks if week.monday < monday),
        at_risk=tuple(_at_risk(visit, today) for visit in risky[:MOST_AT_RISK]),
        at_risk_total=risky.count(),
        not_placed=_not_placed(visits),
        run=run,
        plans_waiting=PlanRun.objects.to_decide(today).count(),
        plan_kinds=(kind,) if kind else tuple(count.kind for count in counts if count.open or count.planned),
        plan_from=first,
        plan_to=last,
    )


def visits_of_season(year: int, kind: str, technician: int | None) -> QuerySet[Visit]:
    """The season's visits; of one kind and one technician where these are given."""
    chosen = {"kind": kind, "technician": technician}
    return Visit.objects.filter(season_year=year, **{name: value for name, value in chosen.items() if value})


def default_year(today: dt.date) -> int:
    """The season with something to do now: this year's while a visit or a window of it is open, then the next one."""
    if Visit.objects.to_do().filter(season_year=today.year).exists():
        return today.year
    open_years = SeasonWindow.objects.filter(due_on__gte=today).order_by("season_year")
    return open_years.values_list("season_year", flat=True).first() or today.year


def _counts(visits: QuerySet[Visit], today: dt.date) -> tuple[KindCount, ...]:
    to_do = Q(state__in=[State.OPEN, State.PLANNED])
    late = to_do & (Q(due_on__lt=today) | Q(planned_on__gt=F("due_on")))
    rows = (
        visits.order_by()
        .values("kind")
        .annotate(
            open=Count("pk", filter=Q(state=State.OPEN)),
            planned=Count("pk", filter=Q(state=State.PLANNED)),
            started=Count("pk", filter=Q(state=State.STARTED)),
            done=Count("pk", filter=Q(state=State.FINISHED)),
            cancelled=Count("pk", filter=Q(state=State.CANCELLED)),
            late=Count("pk", filter=late),
        )
    )
    found = {row["kind"]: row for row in rows}
    return tuple(KindCount(name=kind.label, **found[kind]) for kind in VisitKind if kind in found)


def _span(windows: Iterable[SeasonWindow], visits: QuerySet[Visit], today: dt.date) -> tuple[dt.date, dt.date] | None:
    """From the first to the last day of the windows and of the planned visits."""
    planned = visits.exclude(state=State.CANCELLED).aggregate(first=Min("planned_on"), last=Max("planned_on"))
    dates = [date for date in planned.values() if date]
    dates += [date for window in windows for date in (window.opens_on, window.due_on)]
    return (min(dates), max(dates)) if dates else None


def _weeks(span: tuple[dt.date, dt.date] | None, technicians: Sequence[User]) -> list[Week]:
    if span is None:
        return []
    first = span[0] - dt.timedelta(days=span[0].weekday())
    mondays = [first + WEEK * n for n in range((span[1] - first).days // 7 + 1)]
    names, last = names_of(technicians), mondays[-1] + dt.timedelta(days=6)
    working: dict[tuple[dt.date, str], int] = defaultdict(int)
    days: dict[dt.date, set[dt.date]] = defaultdict(set)
    for day in technician_days(technicians, first, last):
        monday = day.date - dt.timedelta(days=day.date.weekday())
        working[monday, day.technician] += day.shift.working_min
        days[monday].add(day.date)
    work, count = _work(first, last, names)
    for monday, date in {(d - dt.timedelta(days=d.weekday()), d) for _, d in count.keys() | work.keys()}:
        days[monday].add(date)
    return [_week(monday, sorted(days[monday]), names, working, work, count) for monday in mondays]


Sums = dict[tuple[int, dt.date], float]


def _work(first: dt.date, last: dt.date, names: dict[int, str]) -> tuple[Sums, Sums]:
    """Minutes of service and driving, and visits, by technician and day. All kinds: they share the same hours."""
    work: Sums = defaultdict(float)
    count: Sums = defaultdict(float)
    rows = Visit.objects.filter(planned_on__range=(first, last), technician__in=names)
    rows = rows.exclude(state__in=[State.CANCELLED, State.OPEN]).order_by()
    for row in rows.values("technician", "planned_on").annotate(minutes=Sum("service_min"), visits=Count("pk")):
        assert row["technician"] and row["planned_on"]
        work[row["technician"], row["planned_on"]] += row["minutes"]
        count[row["technician"], row["planned_on"]] += row["visits"]
    routes = DayRoute.objects.filter(date__range=(first, last), technician__in=names).order_by()
    for technician, date, drive_min in routes.values_list("technician", "date", "drive_min"):
        work[technician, date] += drive_min
    return work, count


def _week(
    monday: dt.date,
    days: Sequence[dt.date],
    names: dict[int, str],
    working: dict[tuple[dt.date, str], int],
    work: Sums,
    count: Sums,
) -> Week:
    loads = tuple(
        Load(
            name,
            int(sum(count.get((pk, day), 0) for day in days)),
            round(sum(work.get((pk, day), 0) for day in days)),
            working.get((monday, name), 0),
        )
        for pk, name in names.items()
    )
    visits = [int(sum(count.get((pk, day), 0) for pk in names)) for day in days]
    return Week(monday, tuple(zip(days, visits, strict=True)), loads)


def _risky(visits: QuerySet[Visit], today: dt.date) -> QuerySet[Visit]:
    """Not planned and due within two weeks, planned after the deadline, or planned for a day that passed."""
    soon = Q(state=State.OPEN, due_on__lte=today + dt.timedelta(days=RISK_DAYS))
    planned = Q(state=State.PLANNED) & (Q(planned_on__gt=F("due_on")) | Q(planned_on__lt=today))
    return visits.filter(soon | planned).select_related("site").order_by("due_on", "pk")


def _at_risk(visit: Visit, today: dt.date) -> AtRisk:
    left = (visit.due_on - today).days
    if visit.state == State.PLANNED:
        _, on = visit.placed
        if on < today:
            return AtRisk(visit, f"planned for {writing.day_month(on)} and not started", grave=True)
        days = (on - visit.due_on).days
        return AtRisk(visit, f"planned {_days(days)} after its deadline", grave=True)
    if left < 0:
        return AtRisk(visit, f"not planned, {_days(-left)} past its deadline", grave=True)
    return AtRisk(visit, "not planned, due today" if left == 0 else f"not planned, due in {_days(left)}", left < 3)


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def _not_placed(visits: QuerySet[Visit]) -> tuple[NotPlaced, ...]:
    """What the last accepted plan could not place, as far as it still waits."""
    run = PlanRun.objects.filter(state=PlanRun.State.DONE).first()
    rows = {row["visit"]: row for row in run.summary.get("unplaced", [])} if run else {}
    waiting = visits.filter(pk__in=rows, state=State.OPEN).values_list("pk", flat=True)
    return tuple(
        NotPlaced(pk, rows[pk]["site"], rows[pk]["kind"], rows[pk]["reason"], tuple(rows[pk]["remedies"]))
        for pk in waiting
    )


def usual_days(today: dt.date, windows: Sequence[SeasonWindow]) -> tuple[dt.date, dt.date]:
    """The days a plan usually covers: from tomorrow or the opening to the last deadline still ahead."""
    tomorrow = today + dt.timedelta(days=1)
    ahead = [window for window in windows if window.due_on >= tomorrow]
    if not ahead:
        return tomorrow, tomorrow + dt.timedelta(days=28)
    first = max(tomorrow, min(window.opens_on for window in ahead))
    return first, max(first, max(window.due_on for window in ahead))
