"""The words of a day: stop and shift in, timed route out. Times are local, counted from midnight."""

from dataclasses import dataclass, field, replace

from jobs.core.routing.travel import Point

DAY_MIN = 24 * 60


def clock_text(seconds: int) -> str:
    """Seconds from midnight as hh:mm, rounded down to the minute."""
    minutes = seconds // 60
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


@dataclass(frozen=True)
class Stop:
    """One visit of a day, in minutes from local midnight.

    Service may not start before `opens_min` and must have ENDED by `closes_min`. With `pinned_arrival_min`
    service starts at exactly that minute. Of stops that don't all fit, higher `priority` (0 to 3) wins.
    """

    key: str
    latitude: float
    longitude: float
    service_min: int
    opens_min: int = 0
    closes_min: int = DAY_MIN
    pinned_arrival_min: int | None = None
    priority: int = 0

    def __post_init__(self) -> None:
        if self.service_min < 0:
            raise ValueError(f"stop {self.key}: service time must not be negative")
        if not 0 <= self.priority <= 3:
            raise ValueError(f"stop {self.key}: priority must lie between 0 and 3")
        if self.opens_min > self.closes_min:
            raise ValueError(f"stop {self.key}: closes before it opens")

    @property
    def point(self) -> Point:
        return Point(self.latitude, self.longitude)


@dataclass(frozen=True)
class Shift:
    """A technician's working day in minutes from local midnight; `end_min` bounds the arrival at `end_point`.

    Lunch of `lunch_min` minutes lies inside `lunch_window` (earliest start, latest end), between two visits.
    It is due only when the day starts before and ends after the latest moment at which lunch could begin.
    """

    start_min: int
    end_min: int
    start_point: Point
    end_point: Point
    lunch_min: int = 0
    lunch_window: tuple[int, int] = (11 * 60, 14 * 60)

    def __post_init__(self) -> None:
        if self.start_min >= self.end_min:
            raise ValueError("a shift must end after it starts")
        opens, closes = self.lunch_window
        if self.lunch_min < 0 or (self.lunch_min and closes - opens < self.lunch_min):
            raise ValueError("lunch must fit into its window")

    @property
    def lunch_due_min(self) -> int:
        """Minutes of lunch in this shift: none when it starts after the latest lunch could begin."""
        return self.lunch_min if self.start_min < self.lunch_window[1] - self.lunch_min else 0

    @property
    def working_min(self) -> int:
        """Minutes of the shift without lunch."""
        return max(0, self.end_min - self.start_min - self.lunch_due_min)


@dataclass(frozen=True)
class PlacedStop:
    """A stop with its times in seconds from local midnight; `drive_s` and `drive_m` lead to it.

    `slack_s` is how much later service could start without breaking anything later in the day; negative
    means broken. `estimated` is true when the travel figure does not come from a road network.
    """

    key: str
    arrival_s: int
    start_s: int
    departure_s: int
    drive_s: int
    drive_m: int
    slack_s: int
    estimated: bool

    @property
    def wait_s(self) -> int:
        """Seconds between arrival and start of service, lunch on the spot included."""
        return self.start_s - self.arrival_s

    @property
    def arrival_min(self) -> float:
        return self.arrival_s / 60

    @property
    def start_min(self) -> float:
        return self.start_s / 60

    @property
    def departure_min(self) -> float:
        return self.departure_s / 60

    @property
    def slack_min(self) -> float:
        return self.slack_s / 60


@dataclass(frozen=True)
class Lunch:
    """Lunch in seconds from midnight, `after` so many visits, `on_arrival` at the next or before the drive."""

    start_s: int
    end_s: int
    after: int
    on_arrival: bool


@dataclass(frozen=True)
class Broken:
    """A rule the route breaks: `rule` is opening, pin, lunch or shift; `key` the stop, empty for the day."""

    rule: str
    key: str
    late_s: int
    text: str


@dataclass(frozen=True)
class UnplacedStop:
    """A stop that is not in the route, and why."""

    key: str
    reason: str


@dataclass(frozen=True)
class DayRoute:
    """A timed route; `method`: exact, search or given order; `proven_optimal` only where that was proved."""

    stops: tuple[PlacedStop, ...]
    leave_s: int
    finish_s: int
    lunch: Lunch | None
    last_drive_s: int
    last_drive_m: int
    unplaced: tuple[UnplacedStop, ...] = ()
    broken: tuple[Broken, ...] = ()
    method: str = "given order"
    proven_optimal: bool = False
    travel_source: str = ""
    warnings: tuple[str, ...] = field(default=())

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of the stops in driving order."""
        return tuple(stop.key for stop in self.stops)

    @property
    def drive_s(self) -> int:
        return sum(stop.drive_s for stop in self.stops) + self.last_drive_s

    @property
    def drive_min(self) -> float:
        return self.drive_s / 60

    @property
    def drive_km(self) -> float:
        return (sum(stop.drive_m for stop in self.stops) + self.last_drive_m) / 1000

    @property
    def service_s(self) -> int:
        return sum(stop.departure_s - stop.start_s for stop in self.stops)

    @property
    def work_s(self) -> int:
        """Driving and service, without waiting and lunch: what counts as load."""
        return self.drive_s + self.service_s

    @property
    def wait_s(self) -> int:
        """Idle seconds between leaving and finishing."""
        under_way = self.lunch is not None and self.lunch.start_s >= self.leave_s
        lunch = self.lunch.end_s - self.lunch.start_s if self.lunch and under_way else 0
        return self.finish_s - self.leave_s - self.work_s - lunch

    @property
    def feasible(self) -> bool:
        return not self.broken

    def told(self, **changes: object) -> "DayRoute":
        """The same route with other remarks (unplaced, method, proven_optimal, warnings)."""
        return replace(self, **changes)  # type: ignore[arg-type]  # which fields they are is told above
