"""Technicians, days and visits as the routing core wants them.

Clock times are local: opening hours, working hours and arrivals are all read in the one zone the day is worked in.
"""

import datetime as dt
import hashlib
import json
import zoneinfo
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, is_dataclass, replace
from typing import Any

from django.db.models import Q
from django.utils import timezone

from jobs.core.appointments import told_hours, usual_hours, within_usual
from jobs.core.routing.day import DAY_MIN, Shift, Stop
from jobs.core.routing.season import DayKey, PlannableVisit, TechnicianDay
from jobs.core.routing.travel import Point
from jobs.models import ClosedDays, PlanRun, TechnicianProfile, Visit, VisitKind, VisitTerms
from jobs.queries.skills import SkillNeeds, skills_of
from sites.models import Firm, Role, Site, User
from sites.models.places import WEEKDAYS

State = Visit.State
LATE_GRACE_DAYS = 14  # a visit past its deadline is to be made within so many days; common practice, no source
LONGEST_LUNCH_MIN = 120  # the core's lunch window holds three hours
FROST_RANK, URGENT_RANK, HELD_RANK = 1, 2, 3


def firm_today() -> dt.date:
    """Today where the firm is, also in commands and tasks, which run on UTC."""
    return firm_now().date()


def firm_now() -> dt.datetime:
    """This moment on the clock where the firm is."""
    return timezone.localtime(timezone=zoneinfo.ZoneInfo(Firm.current().time_zone))


def planning_technicians() -> list[User]:
    """Technicians with working hours, absences and skills fetched along, in a stable order."""
    people = User.objects.filter(role=Role.TECHNICIAN, is_active=True, technician_profile__isnull=False)
    rows = people.select_related("technician_profile").prefetch_related("absences", "technician_profile__skills")
    return list(rows.order_by("first_name", "last_name", "username"))


def names_of(technicians: Sequence[User]) -> dict[int, str]:
    """A name for each id that a person recognises and no two share."""
    count = Counter(str(user) for user in technicians)
    return {u.pk: str(u) if count[str(u)] == 1 else f"{u} ({u.username})" for u in technicians}


def minute_of(clock: dt.time) -> int:
    return clock.hour * 60 + clock.minute


def time_at(seconds: int) -> dt.time:
    """Seconds from midnight as a clock time; a day that runs over midnight is shown as ending with it."""
    minutes, second = divmod(min(max(seconds, 0), 86399), 60)
    return dt.time(minutes // 60, minutes % 60, second)


def shift_of(profile: TechnicianProfile, firm: Firm) -> Shift:
    """The working day, from home or yard and back."""
    start = Point(firm.yard_latitude, firm.yard_longitude)
    if profile.start_latitude is not None and profile.start_longitude is not None:
        start = Point(profile.start_latitude, profile.start_longitude)
    begins, ends = minute_of(profile.day_starts_at), minute_of(profile.day_ends_at)
    return Shift(begins, ends, start, start, lunch_min=min(profile.lunch_min, LONGEST_LUNCH_MIN))


def closed_days(first_day: dt.date, last_day: dt.date) -> dict[dt.date, str]:
    """The days on which the whole firm is closed, with the reason."""
    rows = ClosedDays.objects.filter(starts_on__lte=last_day, ends_on__gte=first_day)
    days = [first_day + dt.timedelta(days=n) for n in range((last_day - first_day).days + 1)]
    return {day: row.reason for row in rows for day in days if row.starts_on <= day <= row.ends_on}


def why_away(technician: User, date: dt.date, closed: Mapping[dt.date, str]) -> str:
    """Why this technician does not work that day, or nothing. Wants absences fetched along."""
    if date in closed:
        return f"The firm is closed: {closed[date]}"
    for absence in technician.absences.all():
        if absence.starts_on <= date <= absence.ends_on:
            return f"{technician} is away: {absence.reason}" if absence.reason else f"{technician} is away"
    if date.weekday() not in technician.technician_profile.working_weekdays:
        return f"{technician} does not work on {WEEKDAYS[date.weekday()]}s"
    return ""


def technician_days(technicians: Sequence[User], first_day: dt.date, last_day: dt.date) -> list[TechnicianDay]:
    """Every day on which somebody works, by date."""
    firm, names = Firm.current(), names_of(technicians)
    shifts = {user.pk: shift_of(user.technician_profile, firm) for user in technicians}
    skills = {user.pk: skills_of(user) for user in technicians}
    closed = closed_days(first_day, last_day)
    days = [first_day + dt.timedelta(days=n) for n in range((last_day - first_day).days + 1)]
    return [
        TechnicianDay(names[user.pk], day, shifts[user.pk], skills[user.pk])
        for day in days
        for user in technicians
        if not why_away(user, day, closed)
    ]


def point_of(site: Site) -> Point:
    return Point(site.latitude, site.longitude)


def hours_of(site: Site) -> tuple[tuple[int, int] | None, ...]:
    """(opens, closes) in minutes for Monday to Sunday, None when closed."""
    hours = minute_of(site.opens_at), minute_of(site.closes_at)
    return tuple(hours if weekday in site.open_weekdays else None for weekday in range(7))


def promised_minute(visit: Visit) -> int | None:
    """The exact minute at which the client was told that work begins."""
    return None if visit.promised_time is None or visit.promised_until else minute_of(visit.promised_time)


def promised_hours(visit: Visit) -> tuple[int, int] | None:
    """(opens, closes) in minutes when the client was told hours: work begins within them, at an open site."""
    if visit.promised_time is None or visit.promised_until is None:
        return None
    told = minute_of(visit.promised_time), min(minute_of(visit.promised_until) + visit.service_min, DAY_MIN)
    usual = open_hours(visit)
    return within_usual(told, usual, visit.service_min) if usual else told


def hours_to_promise(visit: Visit, start_min: int) -> tuple[int, int]:
    """(from, to) in minutes to tell the client of a planned visit that is to begin at this minute."""
    opens, closes = usual_hours(open_hours(visit), work_hours(visit.technician))
    return told_hours(start_min, service_min=visit.service_min, opens_min=opens, closes_min=closes)


def open_hours(visit: Visit) -> tuple[int, int] | None:
    """(opens, closes) in minutes of the site on the visit's day; None when closed, or without a day."""
    return hours_of(visit.site)[visit.planned_on.weekday()] if visit.planned_on else None


def work_hours(technician: User | None) -> tuple[int, int] | None:
    """(from, to) in minutes of a technician's working day; None without hours."""
    profile: TechnicianProfile | None = getattr(technician, "technician_profile", None)
    return (minute_of(profile.day_starts_at), minute_of(profile.day_ends_at)) if profile else None


def stop_of(visit: Visit) -> Stop:
    """The visit as a stop of the day it is planned on. A closed weekday is ignored here and told as a warning."""
    opens, closes = promised_hours(visit) or open_hours(visit) or (0, DAY_MIN)
    pin = promised_minute(visit)
    rank = HELD_RANK if visit.promised else URGENT_RANK if visit.kind == VisitKind.REPAIR else 0
    where = point_of(visit.site)
    return Stop(str(visit.pk), where.latitude, where.longitude, visit.service_min, opens, closes, pin, rank)


def fingerprint(*facts: Any) -> str:
    """The same for the same facts, in any process: what a proposal rests on when it is accepted later."""

    def plain(fact: Any) -> Any:
        if is_dataclass(fact) and not isinstance(fact, type):
            return asdict(fact)
        # A set has no order of its own; another process would write it in another one.
        return sorted(fact) if isinstance(fact, frozenset) else str(fact)

    return hashlib.sha256(json.dumps(facts, default=plain).encode()).hexdigest()


@dataclass(frozen=True)
class SeasonInput:
    """All a season plan is computed from. Equal inputs mean that nothing changed in between."""

    visits: tuple[PlannableVisit, ...]
    days: tuple[TechnicianDay, ...]
    now: tuple[tuple[str, DayKey], ...]  # visit -> (technician, date) as stored

    @property
    def fingerprint(self) -> str:
        """Equal only when nothing that counts has changed."""
        return fingerprint(self.visits, self.days, self.now)

    @property
    def start_from(self) -> dict[str, DayKey] | None:
        """The stored plan where most visits have a day already, so that a new plan moves few of them."""
        placed = {key for key, _ in self.now}
        movable = [visit.key for visit in self.visits if not visit.held]
        return dict(self.now) if 2 * sum(key in placed for key in movable) > len(movable) else None

    @property
    def movable(self) -> frozenset[int]:
        """Ids of the visits that the plan may move."""
        return frozenset(int(visit.key) for visit in self.visits if not visit.held)


def season_input(run: PlanRun, *, today: dt.date, technicians: Sequence[User]) -> SeasonInput:
    """What there is to plan, and what stands already.

    To plan: visits of these kinds that are open, planned without a promise within the days, or were planned for
    a day that has passed without being started; with `keep_planned` not the second group. Everything else on those
    days is held where it is.
    """
    names, first_day, last_day = names_of(technicians), run.first_day, run.last_day
    in_range = Q(planned_on__range=(first_day, last_day))
    missed = Q(planned_on__lt=today)
    may_move = missed if run.keep_planned else missed | in_range
    to_plan = Q(season_year=run.season_year, kind__in=run.kinds, promised=False, site__archived_at=None) & (
        Q(state=State.OPEN) | Q(state=State.PLANNED) & may_move
    )
    standing = in_range & Q(technician__in=names) & ~Q(state=State.CANCELLED) & ~Q(state=State.OPEN)
    rows = Visit.objects.select_related("site").order_by("pk")
    movable = list(rows.filter(to_plan).select_related("site__visit_terms"))
    needs = SkillNeeds.of(movable)
    held = list(rows.filter(standing).exclude(pk__in=[visit.pk for visit in movable]))
    placed = [v for v in (*movable, *held) if v.planned_on and first_day <= v.planned_on <= last_day]
    now = {}
    for visit in placed:
        if visit.technician_id in names:
            technician, on = visit.placed
            now[str(visit.pk)] = names[technician], on
    plannable = [_movable(visit, first_day, last_day) for visit in movable]
    return SeasonInput(
        (
            *(
                replace(row, skills=needs.of_visit(visit), now=now.get(row.key), **wishes_of(visit.site, names))
                for row, visit in zip(plannable, movable, strict=True)
            ),
            *(_held(visit, names) for visit in held),
        ),
        tuple(technician_days(technicians, first_day, last_day)),
        tuple(now.items()),
    )


def wishes_of(site: Site, names: Mapping[int, str]) -> dict[str, Any]:
    """What the client prefers, in the core's words. Wants the site's terms fetched along."""
    terms: VisitTerms | None = getattr(site, "visit_terms", None)
    if terms is None:
        return {}
    return {
        "liked_technician": names.get(terms.preferred_technician_id or 0),
        "liked_weekdays": frozenset(terms.preferred_weekdays),
    }


def _movable(visit: Visit, first_day: dt.date, last_day: dt.date) -> PlannableVisit:
    late = visit.due_on < first_day
    due = min(first_day + dt.timedelta(days=LATE_GRACE_DAYS), last_day) if late else visit.due_on
    rank = FROST_RANK if visit.kind == VisitKind.WINTERISATION else 0
    return PlannableVisit(
        key=str(visit.pk),
        point=point_of(visit.site),
        service_min=visit.service_min,
        window_opens=visit.opens_on,
        window_due=due,
        hours=hours_of(visit.site),
        kind=visit.kind,
        priority=URGENT_RANK if late or visit.kind == VisitKind.REPAIR else rank,
    )


def _held(visit: Visit, names: dict[int, str]) -> PlannableVisit:
    (technician, on), hours = visit.placed, list(hours_of(visit.site))
    hours[on.weekday()] = promised_hours(visit) or hours[on.weekday()] or (0, DAY_MIN)
    return PlannableVisit(
        key=str(visit.pk),
        point=point_of(visit.site),
        service_min=visit.service_min,
        window_opens=on,
        window_due=on,
        hours=tuple(hours),
        fixed_technician=names[technician],
        fixed_date=on,
        fixed_time_min=promised_minute(visit),
        kind=visit.kind,
        priority=HELD_RANK,
    )
