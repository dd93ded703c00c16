"""What the technician's pages show: the day's stops, a visit's valves and figures, what is missing at the end."""

import datetime as dt
import re
from collections import defaultdict
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, F, IntegerField, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from jobs.core.checklists import AIR_CONNECTED, AIR_RELEASED
from jobs.models import (
    ChecklistAnswer,
    ChecklistItem,
    DayRoute,
    Fault,
    ValveMeasurement,
    Visit,
    VisitKind,
)
from jobs.queries.checklists import checklist_rows
from jobs.queries.diagnosis import ValveCheck, valve_check
from jobs.queries.places import named
from scheduling.models import AppliedSchedule, SeasonSchedule
from scheduling.queries.to_set import schedule_to_set_at
from sites.models import Controller, Firm, User, Valve
from sites.queries.site_state import standing_of

# On a repair only the valve in question is measured.
MEASURED_KINDS = (VisitKind.STARTUP, VisitKind.MID_SEASON, VisitKind.WINTERISATION)


@dataclass(frozen=True)
class Stop:
    """One visit on the day's page; the counts tell what is left."""

    visit: Visit
    steps_total: int
    steps_done: int
    valves_total: int
    valves_measured: int
    open_faults: int

    @property
    def measures_valves(self) -> bool:
        return self.visit.kind in MEASURED_KINDS and self.valves_total > 0

    @property
    def geo_uri(self) -> str:
        return geo_uri(self.visit)

    @property
    def tel_uri(self) -> str:
        return tel_uri(self.visit)


@dataclass(frozen=True)
class Today:
    """A technician's day: the stop to do next, those after it, those done, and visits left open before."""

    date: dt.date
    next_stop: Stop | None
    later: list[Stop]
    done: list[Stop]
    left_open: list[Stop]
    route: DayRoute | None


def geo_uri(visit: Visit) -> str:
    """RFC 5870: the phone opens it in whatever map it has."""
    return f"geo:{visit.site.latitude:.6f},{visit.site.longitude:.6f}"


def tel_uri(visit: Visit) -> str:
    """RFC 3966, or nothing if the client's phone holds no number."""
    number = re.sub(r"[^\d+]", "", visit.site.client.phone)
    return f"tel:{number}" if re.fullmatch(r"\+?\d{3,}", number) else ""


def _count(rows: QuerySet, group: str) -> Coalesce:
    """Count `rows` grouped by `group`, as a subquery, so that several counts do not multiply each other."""
    counted = rows.order_by().values(group).annotate(n=Count("pk", distinct=True)).values("n")
    return Coalesce(Subquery(counted, output_field=IntegerField()), 0)


def _with_counts(visits: QuerySet) -> QuerySet:
    return visits.select_related("site__client").annotate(
        steps_in_use=_count(ChecklistItem.objects.filter(template_id=OuterRef("checklist_id")), "template_id"),
        steps_to_come=_count(
            ChecklistItem.objects.filter(template__current=True, template__kind=OuterRef("kind")), "template_id"
        ),
        steps_done=_count(ChecklistAnswer.objects.filter(visit_id=OuterRef("pk"), done=True), "visit_id"),
        valves_total=_count(Valve.objects.filter(controller__site_id=OuterRef("site_id")), "controller__site_id"),
        valves_measured=_count(Valve.objects.filter(measurements__visit_id=OuterRef("pk")), "controller__site_id"),
        open_faults=_count(Fault.objects.open().filter(site_id=OuterRef("site_id")), "site_id"),
    )


def _stop(visit: Any) -> Stop:
    """From a visit of `_with_counts`."""
    return Stop(
        visit=visit,
        steps_total=visit.steps_in_use if visit.checklist_id else visit.steps_to_come,
        steps_done=visit.steps_done,
        valves_total=visit.valves_total,
        valves_measured=visit.valves_measured,
        open_faults=visit.open_faults,
    )


def today_stops(technician: User, date: dt.date) -> Today:
    """The technician's visits of `date` in route order; a visit under way comes first, finished ones last."""
    own = Visit.objects.visible_to(technician).filter(technician=technician)
    of_day = Q(planned_on=date)
    left_open = Q(state=Visit.State.STARTED, planned_on__lt=date)
    visits = _with_counts(own.filter(of_day | left_open)).order_by(
        F("position").asc(nulls_last=True), F("arrives_at").asc(nulls_last=True), "pk"
    )
    stops = [_stop(visit) for visit in visits]
    day = [stop for stop in stops if stop.visit.planned_on == date]
    to_do = [stop for stop in day if stop.visit.is_open]
    to_do.sort(key=lambda stop: stop.visit.state != Visit.State.STARTED)  # stable: route order otherwise
    return Today(
        date=date,
        next_stop=to_do[0] if to_do else None,
        later=to_do[1:],
        done=[stop for stop in day if not stop.visit.is_open],
        left_open=[stop for stop in stops if stop.visit.planned_on != date],
        route=DayRoute.objects.filter(technician=technician, date=date).first(),
    )


def site_valves(visit: Visit) -> QuerySet:
    """The valves of the visit's site in the order in which they are walked: by controller and terminal."""
    return (
        Valve.objects.filter(controller__site_id=visit.site_id)
        .select_related("controller")
        .prefetch_related("zones")
        .order_by("controller_id", F("terminal").asc(nulls_last=True), "pk")
    )


def valve_checks(visit: Visit) -> list[ValveCheck]:
    """Each valve of the site with its latest figures of this visit and what they mean."""
    history: dict[int, list[ValveMeasurement]] = defaultdict(list)
    measured = ValveMeasurement.objects.filter(valve__controller__site_id=visit.site_id)
    for row in measured.select_related("measured_by").order_by("-measured_at", "-pk"):
        history[row.valve_id].append(row)
    units = Firm.current().units
    valves = list(site_valves(visit))
    on: dict[tuple[int, int], list[Valve]] = defaultdict(list)
    for valve in valves:
        if valve.terminal is not None:
            on[valve.controller_id, valve.terminal].append(valve)

    def twins(valve: Valve) -> list[Valve]:
        return [other for other in on.get((valve.controller_id, valve.terminal or 0), ()) if other != valve]

    return [valve_check(valve, history[valve.pk], visit, units, twins(valve)) for valve in valves]


def valve_after(checks: list[ValveCheck], valve: Valve) -> Valve | None:
    """The next valve to go to: the first one not yet measured after `valve`, going round once."""
    places = [check.valve.pk for check in checks]
    here = places.index(valve.pk)
    for check in checks[here + 1 :] + checks[:here]:
        if check.measurement is None:
            return check.valve
    return None


def missing_at_finish(visit: Visit) -> list[str]:
    """What a finish would leave out, in words: steps not done, then valves not measured."""
    steps = [f"step “{row.item.text}”" for row in checklist_rows(visit) if not row.done]
    if visit.kind not in MEASURED_KINDS:
        return steps
    unmeasured = site_valves(visit).exclude(pk__in=ValveMeasurement.objects.filter(visit=visit).values("valve_id"))
    return steps + [f"{named('valve', valve)} not measured" for valve in unmeasured]


def air_still_connected(visit: Visit) -> bool:
    """Air was connected on this visit and nobody has said that it was bled off again."""
    done = {row.item.key for row in checklist_rows(visit) if row.done}
    return AIR_CONNECTED in done and AIR_RELEASED not in done


@dataclass(frozen=True)
class ScheduleToSet:
    """The published schedule of the site and the hand-set controllers it must be typed into."""

    schedule: SeasonSchedule
    waiting: list[Controller]
    already_set: list[Controller]


def schedule_for(visit: Visit) -> SeasonSchedule | None:
    """What is to be set at this visit; nothing where the system is emptied or stays off."""
    if visit.kind == VisitKind.WINTERISATION:
        return None
    stays_off = visit.kind != VisitKind.STARTUP and not standing_of(visit.site).is_on
    return None if stays_off else schedule_to_set_at(visit.site_id)


def schedule_to_set(visit: Visit) -> ScheduleToSet | None:
    """None where nothing is to be set at the visit, or no controller is set by hand."""
    schedule = schedule_for(visit)
    controllers = list(Controller.objects.filter(site_id=visit.site_id, set_by_hand=True))
    if schedule is None or not controllers:
        return None
    applied = set(AppliedSchedule.objects.filter(schedule=schedule).values_list("controller_id", flat=True))
    return ScheduleToSet(
        schedule=schedule,
        waiting=[controller for controller in controllers if controller.pk not in applied],
        already_set=[controller for controller in controllers if controller.pk in applied],
    )
