"""Writes visits: those of the past, finished, and those of the coming days, planned by technician and route."""

import datetime as dt
import random
from collections.abc import Iterable
from zoneinfo import ZoneInfo

from config.demo.days import (
    Job,
    Placed,
    Slot,
    fill_day,
    jobs_of,
    order_day,
    repair_job,
    slots_on,
    spread,
    working_slots,
)
from config.demo.dice import dealt_uuid, dice
from config.demo.places import TIME_ZONE
from config.demo.seasons import Round, Stop
from config.demo.stories import NOTES
from jobs.core.routing.day import DayRoute as CoreRoute
from jobs.core.routing.day import Shift
from jobs.models import ChecklistTemplate, DayRoute, Fault, Visit, VisitKind

ZONE = ZoneInfo(TIME_ZONE)
DAYS_AHEAD = 6  # so many days after today are planned
LATE_DAYS = 30  # so long after a window some sites are still waiting
STOPS_WANTED = 4  # with fewer on a coming day, repairs are added
State = Visit.State


def at_minute(day: dt.date, minute: float) -> dt.datetime:
    """Local wall clock of the firm, in minutes from midnight."""
    return dt.datetime.combine(day, dt.time(), tzinfo=ZONE) + dt.timedelta(minutes=minute)


def split_round(one: Round, today: dt.date, technicians: int) -> tuple[list[Job], list[Job]]:
    """Jobs already done and jobs still to do, as far as the season has come."""
    jobs = jobs_of(one)
    if today <= one.opens_on:
        return [], jobs
    if today > one.due_on + dt.timedelta(days=LATE_DAYS):
        return jobs, []
    if today > one.due_on:
        late = len(jobs) // 8
        return jobs[: len(jobs) - late], jobs[len(jobs) - late :]
    passed = (today - one.opens_on) / (one.due_on - one.opens_on)
    kept = min(len(jobs) // 3, 2 * technicians * STOPS_WANTED)  # today and tomorrow must have work
    done = min(round(passed * len(jobs)), len(jobs) - kept)
    return jobs[:done], jobs[done:]


def make_past_visits(seed: int, rounds: Iterable[Round], shifts: dict[int, Shift], today: dt.date) -> list[Job]:
    """Finished visits of all rounds; returns the jobs that are still to do."""
    templates = {row.kind: row for row in ChecklistTemplate.objects.filter(current=True)}
    taken: set[tuple[int, dt.date]] = set()
    waiting: list[Job] = []
    for one in rounds:
        done, left = split_round(one, today, len(shifts))
        last = min(one.due_on, today - dt.timedelta(days=1))
        slots = [s for s in working_slots(shifts, one.opens_on, last) if (s.technician_id, s.date) not in taken]
        placed = list(spread(done, slots))
        taken |= {(p.technician_id, p.date) for p in placed}
        visits = [_finished(p, dice(seed, "visit", p.date, p.job.key, p.position), templates) for p in placed]
        Visit.objects.bulk_create(visits, batch_size=500)
        made = {p.job.key for p in placed}
        waiting += [job for job in done if job.key not in made] + left
    return waiting


def _finished(placed: Placed, rng: random.Random, templates: dict[str, ChecklistTemplate]) -> Visit:
    started = placed.arrives_min + rng.randint(-6, 12)
    visit = _visit(placed.job, rng)
    visit.state = State.FINISHED
    _plan(visit, placed)
    visit.checklist = templates.get(placed.job.kind)
    visit.started_at = at_minute(placed.date, started)
    visit.finished_at = at_minute(placed.date, started + round(placed.job.service_min * rng.uniform(0.75, 1.25)))
    visit.technician_notes = rng.choice(NOTES)
    visit.signed_by = placed.job.stop.contact if rng.random() < 0.55 else ""
    return visit


def _visit(job: Job, rng: random.Random) -> Visit:
    return Visit(
        uuid=dealt_uuid(rng),
        site_id=job.stop.site_id,
        kind=job.kind,
        season_year=job.year,
        sequence=job.sequence,
        opens_on=job.opens_on,
        due_on=job.due_on,
        service_min=job.service_min,
        instructions=job.instructions,
    )


def _plan(visit: Visit, placed: Placed) -> None:
    visit.technician_id, visit.planned_on, visit.position = placed.technician_id, placed.date, placed.position
    visit.arrives_at, visit.leaves_at = _clock(placed.arrives_min), _clock(placed.leaves_min)


def _clock(minute: int) -> dt.time:
    return dt.time(minute // 60, minute % 60)


def open_repairs(stops: list[Stop], today: dt.date) -> list[Job]:
    """One repair job for each site with open faults, the oldest first.

    Backflow assemblies wait for a licensed tester.
    """
    by_site = {stop.site_id: stop for stop in stops}
    found: dict[int, list[Fault]] = {}
    for fault in Fault.objects.open().exclude(kind=Fault.Kind.BACKFLOW).order_by("found_at", "pk"):
        found.setdefault(fault.site_id, []).append(fault)
    return [
        repair_job(
            by_site[site_id],
            today.year,
            faults[0].found_at.date(),
            "\n".join(f"{fault.get_kind_display()}: {fault.description}" for fault in faults),
            today,
        )
        for site_id, faults in found.items()
    ]


def plan_days(
    *, seed: int, waiting: list[Job], repairs: list[Job], shifts: dict[int, Shift], rota: list[int], today: dt.date
) -> None:
    """Assign and route today and the next days, and leave the other visits to be planned.

    Seasonal visits come first; repairs fill today and tomorrow where they would be thin.
    """
    due = [job for job in waiting if job.opens_on <= today]
    later = [job for job in waiting if job.opens_on > today]
    stay_open = len(due) // 5
    each = max(1, min(STOPS_WANTED + 1, -(-6 * len(due) // (20 * len(shifts)))))
    visits: list[Visit] = []
    for offset in range(DAYS_AHEAD + 1):
        date = today + dt.timedelta(days=offset)
        for slot in slots_on(shifts, date) if date.weekday() in rota else ():
            most = min(each, max(0, len(due) - stay_open))
            chosen = [placed.job for placed in fill_day(due, slot, most)]
            if offset < 2:
                chosen += _repairs_for(repairs, slot, STOPS_WANTED - len(chosen), chosen)
            placed = _route_day(chosen, slot)
            visits += [_planned(seed, one) for one in placed]
            fitted = {one.job.key for one in placed}
            due[:0] = [job for job in chosen if job.key not in fitted and job.kind != VisitKind.REPAIR]
            repairs[:0] = [job for job in chosen if job.key not in fitted and job.kind == VisitKind.REPAIR]
    # Half of the repairs that found no day are visits to be planned, the others only faults in the list.
    for job in [*due, *later, *repairs[::2]]:
        visits.append(_visit(job, dice(seed, "open visit", job.year, job.key, job.sequence)))
    Visit.objects.bulk_create(visits, batch_size=500)


def _route_day(chosen: list[Job], slot: Slot) -> list[Placed]:
    if not chosen:
        return []
    route, placed = order_day(chosen, slot)
    if placed:
        _save_route(slot, route)
    return placed


def _repairs_for(repairs: list[Job], slot: Slot, wanted: int, chosen: list[Job]) -> list[Job]:
    if wanted <= 0:
        return []
    sites = {job.stop.site_id for job in chosen}
    queue = [job for job in repairs if job.stop.site_id not in sites]
    taken = [placed.job for placed in fill_day(queue, slot, most=min(wanted, 3))]
    for job in taken:
        repairs.remove(job)
    return taken


def _planned(seed: int, placed: Placed) -> Visit:
    rng = dice(seed, "planned", placed.date, placed.job.key, placed.position)
    visit = _visit(placed.job, rng)
    visit.state = State.PLANNED
    visit.promised = rng.random() < 0.3
    _plan(visit, placed)
    return visit


def _save_route(slot: Slot, route: CoreRoute) -> None:
    DayRoute.objects.create(
        technician_id=slot.technician_id,
        date=slot.date,
        drive_min=round(route.drive_min, 1),
        drive_km=round(route.drive_km, 1),
        travel_source=route.travel_source,
        lunch_at=_clock(route.lunch.start_s // 60) if route.lunch else None,
        back_at=_clock(route.finish_s // 60),
        warnings=[broken.text for broken in route.broken],
    )


def repair_visit(
    stop: Stop,
    found: Visit,
    day: dt.date,
    start_min: int,
    rng: random.Random,
    template: ChecklistTemplate,
    words: str,
) -> Visit:
    """A finished repair visit some days after the fault was found, by the technician who found it."""
    assert found.planned_on and found.technician_id
    job = Job(stop, found.season_year, VisitKind.REPAIR, 1, found.planned_on, day + dt.timedelta(days=7), words)
    placed = Placed(job, found.technician_id, day, 20, start_min, start_min + job.service_min)
    return _finished(placed, rng, {VisitKind.REPAIR: template})
