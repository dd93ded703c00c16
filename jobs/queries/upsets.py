"""What stands on the days that an upset touches, as the re-planning core wants it."""

import datetime as dt
import zoneinfo
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from django.db.models import Q

from jobs.core.routing.day import DAY_MIN
from jobs.core.routing.replan import Appointment
from jobs.core.routing.season import PlannableVisit, TechnicianDay
from jobs.models import Replan, Visit, VisitKind
from jobs.queries.days import read_days
from jobs.queries.planning import (
    FROST_RANK,
    URGENT_RANK,
    fingerprint,
    firm_today,
    hours_of,
    minute_of,
    names_of,
    planning_technicians,
    point_of,
    promised_hours,
    technician_days,
    time_at,
    wishes_of,
)
from jobs.queries.skills import SkillNeeds
from sites.core import writing
from sites.models import Firm, Site, User

State = Visit.State
WORKING_DAYS_WITHIN_DAYS = 28  # further ahead no working day is looked for; common practice, no source
NEW = "new"  # key of a visit that does not exist before the proposal is accepted


@dataclass(frozen=True)
class Situation:
    """Everything a new plan is computed from; visits that are started or done are not in it and do not move.

    `previous` are the appointments as they stand. `technicians` are found by the core's names.
    """

    previous: Mapping[str, Appointment]
    visits: tuple[PlannableVisit, ...]
    days: tuple[TechnicianDay, ...]
    rows: Mapping[str, Visit]
    technicians: Mapping[str, User]

    @property
    def fingerprint(self) -> str:
        """Equal only when nothing that counts has changed."""
        return fingerprint(sorted(self.previous.items()), self.visits, self.days)


def situation(*, first_day: dt.date, last_day: dt.date, now: dt.datetime, also: Q | None = None) -> Situation:
    """The planned visits of these days, and others that `also` names, against what is left of everybody's time."""
    people = planning_technicians()
    names = names_of(people)
    standing = Q(state=State.PLANNED, planned_on__range=(first_day, last_day), technician__in=names)
    rows = Visit.objects.filter(standing | also if also is not None else standing)
    visits = list(rows.select_related("site__client", "site__visit_terms", "technician").order_by("pk"))
    needs = SkillNeeds.of(visits)
    placed = [v for v in visits if v.state == State.PLANNED]
    return Situation(
        previous={str(v.pk): _appointment(v, names) for v in placed},
        visits=tuple(
            replace(
                _plannable(v, first_day, last_day),
                skills=needs.of_visit(v),
                # Somebody put it on a technician without that skill, knowingly: no reason to move it now.
                may_stay=True,
                **wishes_of(v.site, names),
            )
            for v in visits
        ),
        days=tuple(_days(people, first_day, last_day, now)),
        rows={str(v.pk): v for v in visits},
        technicians={names[user.pk]: user for user in people},
    )


def _appointment(visit: Visit, names: Mapping[int, str]) -> Appointment:
    start = visit.arrives_at or dt.time()
    start_min = start.hour * 60 + start.minute + start.second / 60
    technician, on = visit.placed
    return Appointment(str(visit.pk), names[technician], on, start_min, _promise(visit))


def _promise(visit: Visit) -> tuple[int, int] | None:
    """(from, to) in minutes within which work was promised to begin; the whole day when only that was told."""
    if not visit.promised:
        return None
    if visit.promised_time is None:
        return 0, DAY_MIN - 1
    return minute_of(visit.promised_time), minute_of(visit.promised_until or visit.promised_time)


def _plannable(visit: Visit, first_day: dt.date, last_day: dt.date) -> PlannableVisit:
    """The visit with its window, stretched to the day it stands on: an upset elsewhere is no reason to move it.

    One that is late already may go to any of these days.
    """
    opens, due = visit.opens_on, visit.due_on
    late = due < (visit.planned_on or first_day)
    hours = list(hours_of(visit.site))
    if on := visit.planned_on:
        opens, due = min(opens, on), max(due, on)
        told = promised_hours(visit)
        if told is None and visit.promised_time:
            told = minute_of(visit.promised_time), min(minute_of(visit.promised_time) + visit.service_min, DAY_MIN)
        now = hours[on.weekday()] or (told or (0, DAY_MIN))
        hours[on.weekday()] = (min(now[0], told[0]), max(now[1], told[1])) if told else now
    if late:
        # No deadline is left to keep: any of these days will do, soon after the one that was planned.
        due = last_day
    rank = FROST_RANK if visit.kind == VisitKind.WINTERISATION else 0
    return PlannableVisit(
        key=str(visit.pk),
        point=point_of(visit.site),
        service_min=visit.service_min,
        window_opens=min(opens, due),
        window_due=due,
        hours=tuple(hours),
        kind=visit.kind,
        priority=URGENT_RANK if visit.kind == VisitKind.REPAIR else rank,
        wanted_on=visit.planned_on if late else None,
    )


def last_working_day(after: dt.date, count: int) -> dt.date:
    """The last of so many days after that one on which somebody works."""
    until = after + dt.timedelta(days=WORKING_DAYS_WITHIN_DAYS)
    days = technician_days(planning_technicians(), after + dt.timedelta(days=1), until)
    dates = sorted({day.date for day in days})[:count]
    return dates[-1] if dates else after


def _days(people: Sequence[User], first_day: dt.date, last_day: dt.date, now: dt.datetime) -> list[TechnicianDay]:
    """Working days, today from this minute and from where the technician will be free."""
    local = now.astimezone(zoneinfo.ZoneInfo(Firm.current().time_zone))
    found = technician_days(people, first_day, last_day)
    if not first_day <= local.date() <= last_day:
        return found
    names = names_of(people)
    left = {names[day.technician.pk]: day.shift for day in read_days(local.date(), people, now)}
    days = []
    for day in found:
        if day.date != local.date():
            days.append(day)
            continue
        shift = left[day.technician]
        start = max(shift.start_min, minute_of(local.time()))
        if start < shift.end_min:
            days.append(replace(day, shift=replace(shift, start_min=start)))
    return days


def call_out_visit(site: Site, service_min: int, day: dt.date, begin_by_min: int | None) -> PlannableVisit:
    """A visit that does not exist yet, for that day only, to be begun by a minute of it where one is given.

    Somebody waits there, so that the site's usual hours do not count.
    """
    closes = DAY_MIN if begin_by_min is None else min(begin_by_min + service_min, DAY_MIN)
    hours = tuple((0, closes) for _ in range(7))
    return PlannableVisit(
        key=NEW,
        point=point_of(site),
        service_min=service_min,
        window_opens=day,
        window_due=day,
        skills=SkillNeeds([site.pk]).at(site.pk, VisitKind.REPAIR),
        hours=hours,
        kind=VisitKind.REPAIR,
        priority=URGENT_RANK,
    )


@dataclass(frozen=True)
class MoveLine:
    """One visit of the difference, as the page shows it. `before` and `after` are words; empty: no place."""

    visit: Visit | None
    site: Site
    kind: str
    before: str
    after: str
    minutes: int | None
    promised: bool
    promise_kept: bool
    gone: bool
    reason: str = ""

    @property
    def earlier(self) -> int:
        return -(self.minutes or 0)


@dataclass(frozen=True)
class Wish:
    """When somebody was to come to an urgent call, and whether that can be."""

    kept: bool
    text: str


@dataclass(frozen=True)
class Difference:
    """A stored proposal, readable: what moves, who must be told, and what it costs.

    `waiting` is the site of an urgent call, whose client waits for word when somebody comes: `comes`.
    """

    moves: tuple[MoveLine, ...]
    small: int
    tell_clients: tuple[Visit, ...]
    tell_technicians: tuple[User, ...]
    drive_before_min: float
    drive_after_min: float
    unplaced: int
    travel_source: str
    warnings: tuple[str, ...]
    waiting: Site | None
    comes: str
    wish: Wish | None

    @property
    def clients(self) -> int:
        """How many calls are to be made to clients."""
        return len(self.tell_clients) + (self.waiting is not None)


def difference_of(replan: Replan) -> Difference:
    """The proposal with the rows it names."""
    told = replan.proposal
    pks = [line["visit"] for line in told["moves"] if line["visit"] != NEW]
    visits = {v.pk: v for v in Visit.objects.filter(pk__in=pks).select_related("site__client", "technician")}
    people = {user.pk: user for user in User.objects.filter(pk__in=told["people"])}
    new_site = Site.objects.filter(pk=replan.detail.get("site")).select_related("client").first()
    comes = next((line["after"] for line in told["moves"] if line["visit"] == NEW), "")
    lines = [_line(line, visits, new_site) for line in told["moves"]]
    # A few minutes earlier or later on the same day and with the same technician interest nobody but the planner.
    shown = [line for line, raw in zip(lines, told["moves"], strict=True) if not raw["small"]]
    return Difference(
        moves=tuple(shown),
        small=len(lines) - len(shown),
        tell_clients=tuple(visits[pk] for pk in told["tell_clients"] if pk in visits),
        tell_technicians=tuple(people[pk] for pk in told["tell_technicians"] if pk in people),
        drive_before_min=told["drive_before_min"],
        drive_after_min=told["drive_after_min"],
        unplaced=sum(line["after"] == "" and not line["gone"] for line in told["moves"]),
        travel_source=told["travel_source"],
        warnings=tuple(told["warnings"]),
        waiting=new_site,
        comes=comes,
        wish=_wish(replan, comes),
    )


def _wish(replan: Replan, comes: str) -> Wish | None:
    told = replan.proposal
    if replan.upset != Replan.Upset.CALL_OUT or "refused" not in told:
        return None
    day = "today" if replan.first_day == firm_today() else f"on {writing.weekday_day(replan.first_day)}"
    begin_by = replan.detail["begin_by"]
    by = f"by {dt.time.fromisoformat(begin_by):%H:%M} " if begin_by else ""
    if told["refused"]:
        return Wish(False, f"Nobody can be there {by}{day}: {told['refused']}. The first place found: {comes}.")
    return Wish(True, f"Begin {by}{day}: kept, {time_at(told['starts'][NEW]):%H:%M}")


def _line(line: dict, visits: Mapping[int, Visit], new_site: Site | None) -> MoveLine:
    visit = visits.get(line["visit"])
    site = visit.site if visit else new_site
    assert site is not None
    return MoveLine(
        visit=visit,
        site=site,
        kind=visit.get_kind_display() if visit else VisitKind.REPAIR.label,
        before=line["before"],
        after=line["after"],
        minutes=line["minutes"],
        promised=line["promised"],
        promise_kept=line["promise_kept"],
        gone=line["gone"],
        reason=line["reason"],
    )
