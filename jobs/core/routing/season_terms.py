"""The words of a season: visits, technicians' days, how to plan, what could not be placed."""

from dataclasses import dataclass
from datetime import date

from jobs.core.routing.day import DAY_MIN, Shift, Stop
from jobs.core.routing.travel import Point

Hours = tuple[int, int]
DayKey = tuple[str, date]
ALWAYS_OPEN: tuple[Hours | None, ...] = ((0, DAY_MIN),) * 7


@dataclass(frozen=True)
class PlannableVisit:
    """A visit to plan: `service_min` at `point` on a day from `window_opens` to `window_due` inclusive.

    `hours` are (opens, closes) in minutes from local midnight, Monday first, None when closed; they bound the
    whole service. A technician needs all `skills`. `fixed_technician` and `fixed_date` hold the visit there,
    `fixed_time_min` starts it at exactly that minute (a promise; hours and window don't apply to a fixed
    date). Of visits that don't all fit, higher `priority` (0 to 3) wins. `liked_technician` and
    `liked_weekdays` (0 Monday; empty: any) are kept where that costs little driving, and so are `now`, the
    technician and date it has in the present plan, and `wanted_on`, within a few days. With
    `may_stay` it may stay with the technician and on the day of `now` although a skill is missing there.
    """

    key: str
    point: Point
    service_min: int
    window_opens: date
    window_due: date
    skills: frozenset[str] = frozenset()
    hours: tuple[Hours | None, ...] = ALWAYS_OPEN
    fixed_technician: str | None = None
    fixed_date: date | None = None
    fixed_time_min: int | None = None
    kind: str = ""
    priority: int = 0
    liked_technician: str | None = None
    liked_weekdays: frozenset[int] = frozenset()
    now: DayKey | None = None
    wanted_on: date | None = None
    may_stay: bool = False

    def __post_init__(self) -> None:
        if self.window_opens > self.window_due:
            raise ValueError(f"visit {self.key}: its window ends before it opens")
        if len(self.hours) != 7:
            raise ValueError(f"visit {self.key}: hours are needed for each of seven weekdays")
        if self.service_min < 0 or not 0 <= self.priority <= 3:
            raise ValueError(f"visit {self.key}: negative service time or priority outside 0 to 3")

    @property
    def held(self) -> bool:
        """Bound to one technician on one day."""
        return self.fixed_technician is not None and self.fixed_date is not None

    @property
    def rank(self) -> int:
        """Priority among visits that don't all fit; a promise ranks as 1 at least."""
        return max(self.priority, int(self.held or self.fixed_time_min is not None))

    def hours_on(self, on: date) -> Hours | None:
        """Opening hours that day; a promised time counts as opening the site."""
        hours = self.hours[on.weekday()]
        return (0, DAY_MIN) if hours is None and self.fixed_time_min is not None else hours

    def stop_on(self, on: date) -> Stop:
        """The visit as a stop of that day; ValueError when the site is closed then."""
        hours = self.hours_on(on)
        if hours is None:
            raise ValueError(f"visit {self.key}: the site is closed on {on}")
        lat, lon = self.point.latitude, self.point.longitude
        return Stop(self.key, lat, lon, self.service_min, *hours, self.fixed_time_min, self.priority)

    def unmet_wishes(self, day: "TechnicianDay") -> int:
        """How many of the client's wishes that day would not meet."""
        other_person = self.liked_technician not in (None, day.technician)
        other_weekday = bool(self.liked_weekdays) and day.date.weekday() not in self.liked_weekdays
        return int(other_person) + int(other_weekday)

    def suits(self, day: "TechnicianDay") -> bool:
        """Whether date, technician, skills and weekday allow this visit that day; not whether there is time."""
        in_window = self.window_opens <= day.date <= self.window_due
        return (
            (day.date == self.fixed_date if self.fixed_date else in_window)
            and self.fixed_technician in (None, day.technician)
            and (self.skills <= day.skills or self.may_stay and self.now == (day.technician, day.date))
            and self.hours_on(day.date) is not None
        )


@dataclass(frozen=True)
class TechnicianDay:
    """One technician at work on one date; an absent day is simply not listed."""

    technician: str
    date: date
    shift: Shift
    skills: frozenset[str] = frozenset()


@dataclass(frozen=True)
class SeasonSettings:
    """How to plan. Fractions are of a shift's working time; all figures are common practice, no source.

    `spare_fraction` of each shift is kept free for call-outs. A technician's share of the work may exceed the
    common share by `fair_tolerance`; above that every second counts as three seconds of driving. An unmet wish
    counts as `wish_s` of driving, taking a visit off its present day as `move_s`, each day further than
    `drift_days` from the date it is wanted on as `drift_s`. Effort:
    `rounds` searches (by default growing with the number of visits) over `part_days` related days with
    `part_iterations` each, then `whole_iterations` on everything if there are at most `whole_up_to` visits
    and the matrices fit `memory_mib`, else not at all; a day with wishes or moves of its own costs two matrices.
    The whole at once is off: it came to the same driving here, and to none while something has no place.
    """

    spare_fraction: float = 0.1
    fair_tolerance: float = 0.15
    wish_s: int = 900
    move_s: int = 600
    drift_days: int = 3
    drift_s: int = 120
    rounds: int | None = None
    part_days: int = 8
    part_iterations: int = 100
    whole_iterations: int = 0
    whole_up_to: int = 500
    memory_mib: int = 400

    def __post_init__(self) -> None:
        if not 0 <= self.spare_fraction < 1 or self.fair_tolerance < 0:
            raise ValueError("spare fraction must lie in 0..1, fair tolerance must not be negative")

    def rounds_for(self, visits: int) -> int:
        """Searches over parts in each stage of a season with so many visits."""
        return min(10 + visits, 1000) if self.rounds is None else self.rounds


@dataclass(frozen=True)
class Remedy:
    """Something that would free an unplaced visit: `kind` is overtime, spare, deadline, skill or day."""

    kind: str
    text: str
    technician: str = ""
    on: date | None = None
    minutes: int = 0


@dataclass(frozen=True)
class Unplaced:
    """A visit the plan does not hold: `code` for programs, `reason` for people, and what would free it."""

    key: str
    code: str
    reason: str
    remedies: tuple[Remedy, ...] = ()
