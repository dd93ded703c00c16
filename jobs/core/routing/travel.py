"""Travel times and distances between points, from geometry alone."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

EARTH_RADIUS_M = 6_371_008.8  # IUGG mean radius R1
Int64 = NDArray[np.int64]


@dataclass(frozen=True, order=True)
class Point:
    """A place in WGS 84 degrees; latitude -90..90, longitude -180..180, kept to six decimals (0.1 m)."""

    latitude: float
    longitude: float

    def __post_init__(self) -> None:
        if not (-90 <= self.latitude <= 90 and -180 <= self.longitude <= 180):
            raise ValueError(f"not a place on Earth: latitude {self.latitude}, longitude {self.longitude}")
        object.__setattr__(self, "latitude", round(float(self.latitude), 6))
        object.__setattr__(self, "longitude", round(float(self.longitude), 6))


@dataclass(frozen=True, eq=False)
class TravelMatrix:
    """Travel from every point to every other one.

    `seconds` and `metres` are int64, n x n, complete, with a zero diagonal, and not necessarily symmetric.
    `estimated[i, j]` is true where the figure comes from geometry and not from a road network.
    `source` and `warnings` are meant to be shown beside, and stored with, any plan made from the matrix.
    """

    points: tuple[Point, ...]
    seconds: Int64
    metres: Int64
    estimated: NDArray[np.bool_]
    source: str
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        shape = (len(self.points), len(self.points))
        for name in ("seconds", "metres", "estimated"):
            if getattr(self, name).shape != shape:
                raise ValueError(f"travel matrix: {name} must be {shape[0]} x {shape[1]}")
        if (self.seconds < 0).any() or (self.metres < 0).any():
            raise ValueError("travel matrix: times and distances must not be negative")

    @cached_property
    def position(self) -> dict[Point, int]:
        """Row and column of each point."""
        return {point: i for i, point in enumerate(self.points)}

    def between(self, points: Sequence[Point]) -> "TravelMatrix":
        """The matrix for these points, in this order, repeats allowed; KeyError names a missing one."""
        try:
            at = np.array([self.position[point] for point in points], dtype=np.intp)
        except KeyError as error:
            raise KeyError(f"no travel times for {error.args[0]}") from None
        cells = np.ix_(at, at)
        return TravelMatrix(
            tuple(points),
            self.seconds[cells],
            self.metres[cells],
            self.estimated[cells],
            self.source,
            self.warnings,
        )


@dataclass(frozen=True)
class Path:
    """The way through points in order: `line` is what to draw on a map, totals in seconds and metres."""

    line: tuple[Point, ...]
    seconds: int
    metres: int
    source: str
    estimated: bool
    warnings: tuple[str, ...] = ()


class TravelProvider(Protocol):
    """Anything that can tell travel times."""

    def matrix(self, points: Sequence[Point]) -> TravelMatrix: ...

    def path(self, points: Sequence[Point]) -> Path: ...


def haversine_m(from_lat: NDArray, from_lon: NDArray, to_lat: NDArray, to_lon: NDArray) -> NDArray:
    """Great-circle distance in metres between places in degrees (haversine formula, mean Earth radius)."""
    phi_1, lam_1, phi_2, lam_2 = (np.radians(a) for a in (from_lat, from_lon, to_lat, to_lon))
    h = np.sin((phi_2 - phi_1) / 2) ** 2
    h = h + np.cos(phi_1) * np.cos(phi_2) * np.sin((lam_2 - lam_1) / 2) ** 2
    return 2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.clip(h, 0.0, 1.0)))


def distance_m(start: Point, end: Point) -> float:
    """Great-circle distance in metres between two points."""
    a, b = start, end
    return float(haversine_m(*(np.array(x) for x in (a.latitude, a.longitude, b.latitude, b.longitude))))


@dataclass(frozen=True)
class SpeedBand:
    """Speed in km/h over the part of a trip that lies below `up_to_km`; None means without limit."""

    up_to_km: float | None
    speed_km_h: float


# Common practice, no source: town streets first, then main roads, then open country. A trip pays each band's
# speed for the kilometres inside the band, so that a longer trip never takes less time than a shorter one.
DEFAULT_SPEEDS = (SpeedBand(3.0, 25.0), SpeedBand(12.0, 45.0), SpeedBand(None, 65.0))


@dataclass(frozen=True)
class GreatCircle:
    """Travel estimated as great circle x circuity at banded speeds.

    Circuity (road / straight line): about 1.2 for random urban pairs (NEWELL_1980), 1.21-1.23 near stations
    (O'Sullivan and Morrall 1996), 1.12 to 2.10 by country (BALLOU_2002: France 1.65, Europe 1.46), 1.343 in
    Europe (Mennicken, Lemoy, Caruso 2024). Default 1.3: common practice.
    """

    circuity: float = 1.3
    speeds: tuple[SpeedBand, ...] = DEFAULT_SPEEDS
    source: str = "great circle"

    def __post_init__(self) -> None:
        if not 1.0 <= self.circuity <= 3.0:
            raise ValueError("circuity must lie between 1.0 and 3.0")
        limits = [band.up_to_km for band in self.speeds]
        if not limits or limits[-1] is not None or None in limits[:-1]:
            raise ValueError("the last speed band, and only the last, must be without limit")
        if [x for x in limits if x] != sorted({x for x in limits if x}) or any(
            band.speed_km_h <= 0 for band in self.speeds
        ):
            raise ValueError("speed bands need rising limits and positive speeds")

    def matrix(self, points: Sequence[Point]) -> TravelMatrix:
        """Estimated travel among points; every cell off the diagonal is marked as estimated."""
        lat = np.array([p.latitude for p in points], dtype=np.float64)
        lon = np.array([p.longitude for p in points], dtype=np.float64)
        road = self.circuity * haversine_m(lat[:, None], lon[:, None], lat[None, :], lon[None, :])
        metres = np.rint(road).astype(np.int64)
        # Rounded up: keeps "never shorter by a detour" true to the second, and errs to the safe side.
        seconds = np.ceil(self._seconds(road) - 1e-6).astype(np.int64)
        estimated = ~np.eye(len(points), dtype=bool)
        return TravelMatrix(tuple(points), seconds, metres, estimated, self.source)

    def path(self, points: Sequence[Point]) -> Path:
        """Straight lines through the points with estimated totals."""
        legs = self.matrix(points)
        at = np.arange(len(points) - 1)
        return Path(
            tuple(points),
            int(legs.seconds[at, at + 1].sum()),
            int(legs.metres[at, at + 1].sum()),
            self.source,
            estimated=True,
        )

    def _seconds(self, road_m: NDArray[np.float64]) -> NDArray[np.float64]:
        seconds = np.zeros_like(road_m)
        below_m = 0.0
        for band in self.speeds:
            limit_m = np.inf if band.up_to_km is None else band.up_to_km * 1000
            seconds += np.clip(road_m - below_m, 0.0, limit_m - below_m) / (band.speed_km_h / 3.6)
            below_m = limit_m
        return seconds
