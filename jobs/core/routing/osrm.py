"""Travel times from a road-routing server that speaks the OSRM HTTP API; falls back to geometry, visibly."""

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from jobs.core.routing.travel import GreatCircle, Int64, Path, Point, TravelMatrix

# Given a URL, answers (HTTP status, body). Raises OSError (which TimeoutError is) when nobody answers.
Fetch = Callable[[str], tuple[int, bytes]]
_SMALLEST_TABLE = 4


class _Unavailable(Exception):
    """The server can't give a usable answer at all; the message is for the person who reads the plan."""


class _TooBig(Exception):
    """The server refuses a table of this size."""


class _NoSegment(Exception):
    """The server found no road near the coordinate with this number in the request."""

    def __init__(self, number: int) -> None:
        super().__init__(number)
        self.number = number


@dataclass
class _Table:
    """Cells as they come in, NaN where the roads give none, and points that lie too far from any road."""

    seconds: np.ndarray
    metres: np.ndarray
    off_road: set[int]


@dataclass(frozen=True)
class Osrm:
    """Travel from a road server at `url`, for example http://127.0.0.1:5000, profile `profile`.

    `fetch` does the input and output. `max_table` is the server's limit of coordinates in one table (its own
    default is 100). A point farther than `max_snap_m` from any road counts as off the map. Cells without an
    answer are taken from `fallback`, marked as estimated and warned of. If the server fails in any other way
    the WHOLE matrix comes from `fallback`, so that one plan never compares two kinds of figures by accident.
    """

    url: str
    fetch: Fetch
    profile: str = "driving"
    max_table: int = 100
    max_snap_m: float = 1000.0
    fallback: GreatCircle = field(default_factory=GreatCircle)

    def matrix(self, points: Sequence[Point]) -> TravelMatrix:
        """Road travel among points, in tiles where the server wants them smaller."""
        estimate = self.fallback.matrix(points)
        if len(points) < 2:
            return estimate
        try:
            table = self._whole_table(points)
        except _Unavailable as reason:
            return replace(
                estimate,
                source=f"{estimate.source} (road server unavailable)",
                warnings=(f"Road server not used: {reason}. All times are estimated.",),
            )
        return _completed(table, estimate)

    def path(self, points: Sequence[Point]) -> Path:
        """The road line through the points; straight lines with a warning where there is none."""
        try:
            answer = self._ask("route", points, "overview=full&geometries=geojson")
            line, seconds, metres = _read_route(answer)
        except (_Unavailable, _TooBig, _NoSegment) as reason:
            text = f"no road near stop {reason.number + 1}" if isinstance(reason, _NoSegment) else str(reason)
            straight = self.fallback.path(points)
            return replace(straight, warnings=(f"Straight lines instead of roads: {text}.",))
        return Path(line, seconds, metres, "road server", estimated=False)

    def health(self, known: Point) -> str | None:
        """None when the server finds a road near a place known to be on its map, else what is wrong."""
        try:
            answer = self._ask("nearest", [known], "number=1")
            away = float(answer["waypoints"][0]["distance"])
        except (_Unavailable, _TooBig) as reason:
            return str(reason)
        except _NoSegment:
            return "no road near the known place"
        except (KeyError, IndexError, TypeError, ValueError):
            return "the answer has an unexpected shape"
        return None if away <= self.max_snap_m else f"the nearest road is {away / 1000:.0f} km away"

    def _whole_table(self, points: Sequence[Point]) -> _Table:
        """All tiles; smaller tiles when refused, without points that fail the request."""
        count = len(points)
        table = _Table(np.full((count, count), np.nan), np.full((count, count), np.nan), set())
        size = min(self.max_table, count)
        kept = list(range(count))
        while len(kept) > 1:
            try:
                for rows, columns in _tiles(kept, size):
                    self._fill(table, points, rows, columns)
                return table
            except _TooBig:
                if size <= _SMALLEST_TABLE:
                    raise _Unavailable("it refuses even the smallest table") from None
                size = max(_SMALLEST_TABLE, min(size, len(kept)) // 2)
            except _NoSegment as bad:  # its number was translated to ours by _fill
                table.off_road.add(bad.number)
                kept.remove(bad.number)
        return table

    def _fill(self, table: _Table, points: Sequence[Point], rows: list[int], columns: list[int]) -> None:
        sent = rows if rows == columns else rows + columns
        query = "annotations=duration,distance"
        if rows != columns:
            split = len(rows)
            query += "&sources=" + ";".join(map(str, range(split)))
            query += "&destinations=" + ";".join(map(str, range(split, len(sent))))
        try:
            answer = self._ask("table", [points[i] for i in sent], query)
        except _NoSegment as bad:
            if bad.number >= len(sent):
                raise _Unavailable("it names a coordinate that was not sent") from None
            raise _NoSegment(sent[bad.number]) from None
        try:
            shape = (len(rows), len(columns))
            table.seconds[np.ix_(rows, columns)] = _cells(answer["durations"], shape)
            table.metres[np.ix_(rows, columns)] = _cells(answer["distances"], shape)
            for ours, theirs in ((rows, answer["sources"]), (columns, answer["destinations"])):
                for i, waypoint in zip(ours, theirs, strict=True):
                    # A far-away point is snapped without a word: only this distance tells.
                    if float(waypoint["distance"]) > self.max_snap_m:
                        table.off_road.add(i)
        except (KeyError, TypeError, ValueError):
            raise _Unavailable("its answer has an unexpected shape") from None

    def _ask(self, service: str, points: Sequence[Point], query: str) -> dict[str, Any]:
        where = ";".join(f"{p.longitude:.6f},{p.latitude:.6f}" for p in points)
        try:
            status, body = self.fetch(f"{self.url.rstrip('/')}/{service}/v1/{self.profile}/{where}?{query}")
        except OSError as error:
            raise _Unavailable(f"no answer ({type(error).__name__})") from None
        try:
            answer = json.loads(body)
            code = answer["code"]
        except (ValueError, KeyError, TypeError):
            raise _Unavailable(f"its answer is not the expected JSON (HTTP {status})") from None
        if status == 200 and code == "Ok":
            return answer
        if code == "TooBig":
            raise _TooBig("the request is too big for it")
        message = str(answer.get("message", ""))
        if code == "NoSegment" and (number := re.search(r"(\d+)\s*$", message)):
            raise _NoSegment(int(number.group(1)))
        raise _Unavailable(f"HTTP {status}, {code} {message}".strip())


def _tiles(kept: list[int], size: int) -> list[tuple[list[int], list[int]]]:
    """Row and column blocks such that one request never names more than `size` coordinates."""
    if len(kept) <= size:
        return [(kept, kept)]
    step = max(1, size // 2)
    blocks = [kept[i : i + step] for i in range(0, len(kept), step)]
    return [(rows, columns) for rows in blocks for columns in blocks]


def _cells(given: Any, shape: tuple[int, int]) -> np.ndarray:
    """A table of numbers and nulls as floats with NaN; ValueError when the shape is not as asked."""
    cells = np.array([[np.nan if x is None else float(x) for x in row] for row in given], dtype=np.float64)
    if cells.shape != shape or np.isinf(cells).any() or (cells < 0).any():
        raise ValueError("unexpected table")
    return cells


def _completed(table: _Table, estimate: TravelMatrix) -> TravelMatrix:
    """Road figures with the holes filled from the estimate, marked and warned of."""
    holes = np.isnan(table.seconds) | np.isnan(table.metres)
    for i in table.off_road:
        holes[i, :] = holes[:, i] = True
    np.fill_diagonal(holes, False)

    def filled(road: np.ndarray, guess: Int64) -> Int64:
        whole = np.where(holes, guess, np.nan_to_num(np.ceil(road))).astype(np.int64)
        np.fill_diagonal(whole, 0)
        return whole

    warnings = []
    if table.off_road:
        places = ", ".join(
            f"{estimate.points[i].latitude}, {estimate.points[i].longitude}" for i in sorted(table.off_road)
        )
        warnings.append(f"Off the road map, travel estimated: {places}.")
    lost = int(holes.sum()) - _cells_of(table.off_road, len(estimate.points))
    if lost:
        warnings.append(f"{lost} connections have no road route and are estimated.")
    return TravelMatrix(
        estimate.points,
        filled(table.seconds, estimate.seconds),
        filled(table.metres, estimate.metres),
        holes,
        "road server",
        tuple(warnings),
    )


def _cells_of(off_road: set[int], count: int) -> int:
    """How many off-diagonal cells touch one of these points."""
    rest = count - len(off_road)
    return count * (count - 1) - rest * (rest - 1)


def _read_route(answer: dict[str, Any]) -> tuple[tuple[Point, ...], int, int]:
    try:
        route = answer["routes"][0]
        line = tuple(Point(lat, lon) for lon, lat in route["geometry"]["coordinates"])
        return line, int(np.ceil(float(route["duration"]))), int(np.ceil(float(route["distance"])))
    except (KeyError, IndexError, TypeError, ValueError):
        raise _Unavailable("its answer has an unexpected shape") from None
