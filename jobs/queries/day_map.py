"""A small map of a day's route: places on plain ground, north up, with a scale bar."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from jobs.core.routing.travel import Point
from jobs.queries.days import Day
from jobs.queries.planning import point_of
from sites.core import writing
from sites.core.units import MILE_KM, System

WIDTH, HEIGHT, MARGIN = 640.0, 420.0, 46.0
DOT = 13.0  # radius of a numbered stop
EARTH_KM_PER_DEGREE = 111.195  # mean radius 6371 km x pi / 180
SMALLEST_KM = 0.5  # stops of one street must not be blown up to the whole sheet
BAR_SHARE = 0.3


@dataclass(frozen=True)
class Mark:
    """A place on the sheet, `at` where it really is and (x, y) where its sign stands."""

    label: str
    x: float
    y: float
    at_x: float
    at_y: float
    done: bool = False

    @property
    def moved(self) -> bool:
        return math.hypot(self.x - self.at_x, self.y - self.at_y) > 1


@dataclass(frozen=True)
class Leg:
    """A straight stretch of the route with the tip of its arrow at (x, y), turned by `degrees`."""

    x1: float
    y1: float
    x2: float
    y2: float
    x: float
    y: float
    degrees: float

    @property
    def has_arrow(self) -> bool:
        return math.hypot(self.x2 - self.x1, self.y2 - self.y1) > 4 * DOT


@dataclass(frozen=True)
class DayMap:
    width: float
    height: float
    start: Mark
    end: Mark | None
    marks: tuple[Mark, ...]
    legs: tuple[Leg, ...]
    bar_px: float
    bar_label: str
    title: str


def day_map(day: Day, system: str) -> DayMap:
    """The day's visits in their order, from start to end."""
    visits = [*day.done, *day.to_do]
    start, end = day.full_shift.start_point, day.full_shift.end_point
    points = [start, *(point_of(visit.site) for visit in visits), end]
    sheet = Sheet.around(points)
    places = [sheet.place(point) for point in points]
    done = [False, *(visit in day.done for visit in visits)]
    marks = [_mark(str(n), places[n], done[n]) for n in range(1, len(points) - 1)]
    first = _mark("S", places[0])
    spread = _spread([first, *marks])
    bar_km, label = scale_bar(sheet.km_per_px, system)
    return DayMap(
        WIDTH,
        HEIGHT,
        start=first,
        end=None if end == start else _mark("E", places[-1]),
        marks=tuple(spread[1:]),
        legs=tuple(_leg(a, b) for a, b in zip(places, places[1:], strict=False) if visits),
        bar_px=bar_km / sheet.km_per_px,
        bar_label=label,
        title=f"Route of {day.technician} on {writing.day(day.date)}: {len(visits)} stops",
    )


@dataclass(frozen=True)
class Sheet:
    """Equirectangular around the middle: true to scale over a day's drive."""

    middle: Point
    km_per_px: float

    @classmethod
    def around(cls, points: Sequence[Point]) -> "Sheet":
        latitudes, longitudes = [p.latitude for p in points], [p.longitude for p in points]
        middle = Point((min(latitudes) + max(latitudes)) / 2, (min(longitudes) + max(longitudes)) / 2)
        high = (max(latitudes) - min(latitudes)) * EARTH_KM_PER_DEGREE
        wide = (max(longitudes) - min(longitudes)) * EARTH_KM_PER_DEGREE * math.cos(math.radians(middle.latitude))
        fit = max(wide / (WIDTH - 2 * MARGIN), high / (HEIGHT - 2 * MARGIN))
        return cls(middle, max(fit, SMALLEST_KM / (WIDTH - 2 * MARGIN)))

    def place(self, point: Point) -> tuple[float, float]:
        east = (point.longitude - self.middle.longitude) * math.cos(math.radians(self.middle.latitude))
        north = point.latitude - self.middle.latitude
        x = WIDTH / 2 + east * EARTH_KM_PER_DEGREE / self.km_per_px
        return x, HEIGHT / 2 - north * EARTH_KM_PER_DEGREE / self.km_per_px


def _mark(label: str, place: tuple[float, float], done: bool = False) -> Mark:
    return Mark(label, *place, *place, done)


def _spread(marks: list[Mark]) -> list[Mark]:
    """Signs that would cover each other step aside in a small spiral; a thin line leads back to the place."""
    placed: list[Mark] = []
    for mark in marks:
        placed.append(next(tried for tried in _tries(mark) if _free(tried, placed)))
    return placed


def _tries(mark: Mark) -> Iterator[Mark]:
    yield mark
    for ring in range(1, 12):
        for turn in range(12):
            angle, far = math.radians(30 * turn + 15 * ring), ring * DOT
            x, y = mark.at_x + far * math.cos(angle), mark.at_y + far * math.sin(angle)
            if DOT < x < WIDTH - DOT and DOT < y < HEIGHT - DOT:
                yield replace(mark, x=x, y=y)
    yield mark  # a crowd beyond telling apart


def _free(mark: Mark, others: list[Mark]) -> bool:
    return all(math.hypot(mark.x - other.x, mark.y - other.y) >= 2 * DOT + 2 for other in others)


def _leg(a: tuple[float, float], b: tuple[float, float]) -> Leg:
    degrees = math.degrees(math.atan2(b[1] - a[1], b[0] - a[0]))
    return Leg(*a, *b, (a[0] + b[0]) / 2, (a[1] + b[1]) / 2, degrees)


def scale_bar(km_per_px: float, system: str) -> tuple[float, str]:
    """A round length of at most a third of the sheet, in km or miles."""
    unit_km, unit = (MILE_KM, "mi") if system == System.US else (1.0, "km")
    most = WIDTH * BAR_SHARE * km_per_px / unit_km
    power = 10.0 ** math.floor(math.log10(most))
    length = max(step * power for step in (1, 2, 5) if step * power <= most)
    return length * unit_km, f"{length:g} {unit}"
