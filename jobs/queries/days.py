"""One technician's day: what is under way, what is left to do, and the clock it is driven by."""

import datetime as dt
import zoneinfo
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from django.db.models import F, QuerySet
from django.utils import timezone

from jobs.core.routing.day import DayRoute, Shift
from jobs.core.routing.day_route import plan_day, schedule_in_order
from jobs.core.routing.travel import TravelMatrix
from jobs.models import Visit
from jobs.outside.roads import travel_between
from jobs.queries.doubts import date_doubts, lacking_skills
from jobs.queries.planning import closed_days, minute_of, point_of, shift_of, stop_of, why_away
from jobs.queries.skills import SkillNeeds
from sites.models import Firm, User

UNDER_WAY = (Visit.State.STARTED, Visit.State.FINISHED)


@dataclass(frozen=True)
class Day:
    """`done` is started or finished and stays where it is; `to_do` stands in its present order.

    `shift` is what is left of the working day after `done`; `travel` covers every point of the day.
    """

    technician: User
    date: dt.date
    done: tuple[Visit, ...]
    to_do: tuple[Visit, ...]
    full_shift: Shift
    shift: Shift
    travel: TravelMatrix
    away: str
    also_there: dict[int, str]
    lacking: dict[int, str]

    def in_order(self, order: Sequence[Visit]) -> DayRoute:
        """The times of what is left in this order."""
        return schedule_in_order([stop_of(visit) for visit in order], self.shift, self.travel)

    def best_order(self, seed: int) -> DayRoute:
        """The core's own best route; what it cannot place is in `unplaced`."""
        return plan_day([stop_of(visit) for visit in self.to_do], self.shift, self.travel, seed=seed)

    @property
    def driven(self) -> tuple[int, int]:
        """(seconds, metres) on the road up to the last visit of `done`."""
        at = self.travel.position
        places = [at[self.full_shift.start_point], *(at[point_of(visit.site)] for visit in self.done)]
        legs = list(pairwise(places))
        seconds = sum(int(self.travel.seconds[a, b]) for a, b in legs)
        return seconds, sum(int(self.travel.metres[a, b]) for a, b in legs)

    def warnings(self, route: DayRoute) -> list[str]:
        """Everything a person should look at before this day is driven."""
        visits = {str(visit.pk): visit for visit in self.to_do}
        texts = [self.away] if self.away and visits else []
        for visit in self.to_do:
            texts += [f"{named(visit)}: {words}" for words in date_doubts(visit, self.date)]
            if visit.site_id in self.also_there:
                texts.append(f"{named(visit)}: {self.also_there[visit.site_id]} is there on the same day")
            if visit.pk in self.lacking:
                texts.append(f"{named(visit)}: {self.lacking[visit.pk]}")
        for broken in route.broken:
            texts.append(f"{named(visits[broken.key])}: {broken.text}" if broken.key in visits else broken.text)
        return [*texts, *route.warnings]


def named(visit: Visit) -> str:
    """A site can have two visits on one day."""
    return f"{visit.site}, {visit.get_kind_display()}"


def visits_in(first_day: dt.date, last_day: dt.date) -> QuerySet[Visit]:
    """The visits of these days in their order; cancelled ones are gone."""
    rows = Visit.objects.filter(planned_on__range=(first_day, last_day), technician__isnull=False).exclude(
        state__in=[Visit.State.CANCELLED, Visit.State.OPEN]
    )
    return rows.select_related("site__client", "technician").order_by(
        "planned_on", F("position").asc(nulls_last=True), F("arrives_at").asc(nulls_last=True), "pk"
    )


def read_days(date: dt.date, technicians: Sequence[User], now: dt.datetime | None = None) -> list[Day]:
    """The day of each of these technicians (with profile, absences and skills fetched along), as things are `now`."""
    firm, now = Firm.current(), now or timezone.now()
    visits: dict[int, list[Visit]] = defaultdict(list)
    for visit in visits_in(date, date):
        visits[visit.placed[0]].append(visit)
    others = [visit for rows in visits.values() for visit in rows]
    closed, needs = closed_days(date, date), SkillNeeds.of(others)
    return [day_of(user, date, visits[user.pk], firm, now, closed, needs, others) for user in technicians]


def day_of(
    technician: User,
    date: dt.date,
    visits: Sequence[Visit],
    firm: Firm,
    now: dt.datetime,
    closed: Mapping[dt.date, str],
    needs: SkillNeeds,
    everybodys: Sequence[Visit] = (),
) -> Day:
    """Split the day's visits into what stands and what is left, with the clock of the rest.

    `everybodys` are all visits of the date: two people at one site, one of them with air, must know of each other.
    """
    others = [visit for visit in everybodys if visit.technician_id != technician.pk]
    done = sorted((v for v in visits if v.state in UNDER_WAY), key=lambda v: (v.started_at, v.pk))
    to_do = [v for v in visits if v.state not in UNDER_WAY]
    shift = shift_of(technician.technician_profile, firm)
    points = [shift.start_point, shift.end_point, *(point_of(visit.site) for visit in visits)]
    return Day(
        technician,
        date,
        tuple(done),
        tuple(to_do),
        shift,
        _rest(shift, done, date, now.astimezone(zoneinfo.ZoneInfo(firm.time_zone))),
        travel_between(points),
        why_away(technician, date, closed),
        {visit.site_id: str(visit.technician) for visit in others},
        {visit.pk: words for visit in to_do if (words := lacking_skills(visit, technician, needs))},
    )


def _rest(shift: Shift, done: Sequence[Visit], date: dt.date, now: dt.datetime) -> Shift:
    """What is left of the shift: from the end of the last visit under way, at that site, and today not before `now`.

    A shift that is over by now is left as it is: what was to be done in it cannot be timed any more. `now` is local.
    """
    rest = shift
    if done:
        free = max(_free_at(visit, date, now.tzinfo, shift) for visit in done)
        start = max(shift.start_min, free)
        # Overtime already: keep a shift that ends after it starts; the route then says what it breaks.
        where = point_of(done[-1].site)
        rest = replace(shift, start_min=start, end_min=max(shift.end_min, start + 1), start_point=where)
    if now.date() == date and minute_of(now.time()) < rest.end_min:
        rest = replace(rest, start_min=max(rest.start_min, minute_of(now.time())))
    return rest


def _free_at(visit: Visit, date: dt.date, zone: dt.tzinfo | None, shift: Shift) -> int:
    """Minute of the day at which this visit ended or can be expected to end."""
    assert visit.started_at
    ended = visit.finished_at or visit.started_at + dt.timedelta(minutes=visit.service_min)
    local = ended.astimezone(zone)
    if local.date() != date:  # worked on another day than planned: it takes nothing from this one
        return shift.start_min
    return minute_of(local.time()) + (1 if local.second else 0)
