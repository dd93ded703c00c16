"""Fills technicians' days: which stops go together, in which order, and when.

Past days are filled stop by stop, nearest next. Coming days are ordered by the same core that plans real days.
"""

import datetime as dt
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from config.demo.people import works_on_pumps
from config.demo.places import YARD
from config.demo.seasons import Round, Stop
from jobs.core.routing import day as core
from jobs.core.routing.day_route import plan_day
from jobs.core.routing.travel import GreatCircle, Point
from jobs.models import TechnicianProfile, VisitKind

TRAVEL = GreatCircle()
LOOK_AHEAD = 8  # stops of the queue among which the nearest is taken
LUNCH_FROM_MIN = 12 * 60


@dataclass(frozen=True)
class Job:
    """One visit that is to be made."""

    stop: Stop
    year: int
    kind: str
    sequence: int
    opens_on: dt.date
    due_on: dt.date
    instructions: str = ""

    @property
    def service_min(self) -> int:
        return self.stop.service_min(self.kind)

    @property
    def point(self) -> Point:
        return Point(self.stop.latitude, self.stop.longitude)

    @property
    def key(self) -> str:
        return f"{self.stop.index}/{self.kind}/{self.sequence}"


@dataclass(frozen=True)
class Placed:
    """A job on a technician's day; times in minutes from local midnight."""

    job: Job
    technician_id: int
    date: dt.date
    position: int
    arrives_min: int
    leaves_min: int


@dataclass(frozen=True)
class Slot:
    """One technician's working day."""

    technician_id: int
    date: dt.date
    shift: core.Shift
    for_pumps: bool

    def suits(self, job: "Job") -> bool:
        """Whether the site is open that day and this technician may work there."""
        skilled = self.for_pumps or not job.stop.has_pump or job.kind == VisitKind.MID_SEASON
        return skilled and self.date.weekday() in job.stop.open_weekdays


def jobs_of(one: Round) -> list[Job]:
    return [Job(stop, one.year, one.kind, one.sequence, one.opens_on, one.due_on) for stop in one.stops]


def shift_of(profile: TechnicianProfile) -> core.Shift:
    yard = Point(*YARD)
    start = yard
    if profile.start_latitude is not None and profile.start_longitude is not None:
        start = Point(profile.start_latitude, profile.start_longitude)
    return core.Shift(
        _minute(profile.day_starts_at), _minute(profile.day_ends_at), start, start, lunch_min=profile.lunch_min
    )


def working_slots(shifts: dict[int, core.Shift], first: dt.date, last: dt.date) -> list[Slot]:
    """Monday to Friday of every technician, day by day."""
    days = (first + dt.timedelta(days=n) for n in range((last - first).days + 1))
    return [slot for day in days if day.weekday() < 5 for slot in slots_on(shifts, day)]


def slots_on(shifts: dict[int, core.Shift], day: dt.date) -> list[Slot]:
    """The day of every technician, in the order in which they joined."""
    return [Slot(pk, day, shift, works_on_pumps(n)) for n, (pk, shift) in enumerate(shifts.items())]


def spread(jobs: list[Job], slots: list[Slot]) -> Iterator[Placed]:
    """Put all jobs on some of the slots, evenly over the whole time; what does not fit is left out."""
    if not slots:
        return
    minutes = sum(job.service_min + 15 for job in jobs)
    needed = min(len(slots), minutes // 360 + 1)
    chosen = [slots[n * len(slots) // needed] for n in range(needed)]
    spare = [slot for slot in slots if slot not in set(chosen)]
    queue = list(jobs)
    for slot in [*chosen, *spare]:
        if not queue:
            return
        yield from fill_day(queue, slot)


def fill_day(queue: list[Job], slot: Slot, most: int = 8) -> list[Placed]:
    """Take jobs from the queue until the day is full, the nearest of the next few each time."""
    placed: list[Placed] = []
    here, now, eaten = slot.shift.start_point, slot.shift.start_min, False
    while len(placed) < most:
        near = [job for job in queue if slot.suits(job)][:LOOK_AHEAD]
        if not near:
            break
        seconds = TRAVEL.matrix([here, *(Point(job.stop.latitude, job.stop.longitude) for job in near)]).seconds[
            0, 1:
        ]
        if now >= LUNCH_FROM_MIN and not eaten:
            now, eaten = now + slot.shift.lunch_min, True
        fitting = [(int(s), job) for s, job in zip(seconds, near, strict=True) if _fits(now, int(s), job, slot)]
        if not fitting:
            break
        drive_s, job = min(fitting, key=lambda pair: (pair[0], pair[1].stop.index))
        arrives = max(now + -(-drive_s // 60), _minute(job.stop.opens_at))
        now = arrives + job.service_min
        placed.append(Placed(job, slot.technician_id, slot.date, len(placed) + 1, arrives, now))
        here = job.point
        queue.remove(job)
    return placed


def order_day(jobs: Iterable[Job], slot: Slot) -> tuple[core.DayRoute, list[Placed]]:
    """The best order of these jobs on this day; jobs that do not fit are left out of the answer."""
    by_key = {job.key: job for job in jobs}
    stops = [
        core.Stop(
            key,
            job.stop.latitude,
            job.stop.longitude,
            job.service_min,
            _minute(job.stop.opens_at),
            _minute(job.stop.closes_at),
        )
        for key, job in by_key.items()
    ]
    points = [slot.shift.start_point, slot.shift.end_point, *(stop.point for stop in stops)]
    route = plan_day(stops, slot.shift, TRAVEL.matrix(list(dict.fromkeys(points))))
    placed = [
        Placed(
            by_key[stop.key],
            slot.technician_id,
            slot.date,
            n,
            round(stop.start_s / 60),
            round(stop.departure_s / 60),
        )
        for n, stop in enumerate(route.stops, start=1)
    ]
    return route, placed


def repair_job(stop: Stop, year: int, found_on: dt.date, words: str, today: dt.date) -> Job:
    due = max(found_on + dt.timedelta(days=14), today + dt.timedelta(days=5))
    return Job(stop, year, VisitKind.REPAIR, 1, found_on, due, words)


def _fits(now: int, drive_s: int, job: Job, slot: Slot) -> bool:
    arrives = max(now + -(-drive_s // 60), _minute(job.stop.opens_at))
    leaves = arrives + job.service_min
    # The way home is taken as long as the way there: near enough for a day that is already past.
    return leaves <= _minute(job.stop.closes_at) and leaves + drive_s // 60 <= slot.shift.end_min


def _minute(clock: dt.time) -> int:
    return clock.hour * 60 + clock.minute
