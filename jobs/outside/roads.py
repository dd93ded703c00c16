"""Where travel times come from: the road server named in the settings, what it answered before, or geometry.

A place of its own beside the queries: it talks to another machine and keeps what that answered.
"""

import http.client
from collections.abc import Iterable, Sequence
from urllib.parse import urlsplit

import numpy as np
from django.conf import settings
from django.core.cache import cache

from jobs.core.routing.osrm import Osrm
from jobs.core.routing.travel import GreatCircle, Path, Point, TravelMatrix, TravelProvider
from jobs.models.travel import DECIMALS, TravelLeg

LARGEST_ANSWER = 64 * 1024 * 1024
# One table row in the database a leg: beyond this many places the server answers faster than the database.
MOST_KEPT = 500
CHUNK = 400
DOWN = "road-server-down"
DOWN_S = 60  # a server that does not answer is left alone for so long, so that no page waits for it again


def has_road_server() -> bool:
    """Whether travel may be asked from another machine, so that nobody else should be kept waiting."""
    return bool(settings.OSRM_URL)


def travel_provider() -> TravelProvider:
    """The road server of the settings, else great circle."""
    if not has_road_server():
        return GreatCircle()
    return Osrm(settings.OSRM_URL, fetch, max_table=settings.OSRM_MAX_TABLE)


def travel_between(points: Iterable[Point]) -> TravelMatrix:
    """Travel among these points, each once: the one place that knows where travel times come from.

    With a road server, legs it answered before are read from the database, and what it answers now is kept there.
    If it fails, the whole matrix is estimated and says so.
    """
    places = list(dict.fromkeys(points))
    provider = travel_provider()
    if isinstance(provider, GreatCircle) or len(places) < 2 or len(places) > MOST_KEPT:
        return provider.matrix(places)
    known = _remembered(places)
    if known is not None:
        return known
    answer = provider.matrix(places)
    if answer.source == "road server":
        _remember(answer)
    return answer


def source_words(source: str) -> str:
    """Where travel times come from, for people: "great circle" is geometry, not a road."""
    return source.replace("great circle", "estimated from straight-line distances")


def path_through(points: Sequence[Point]) -> Path:
    """The way to draw through these points, along roads where a road server answers."""
    return travel_provider().path(points)


def fetch(url: str) -> tuple[int, bytes]:
    """GET from the road server of the settings and from nowhere else: no redirects, no proxy, a time limit."""
    asked, own = urlsplit(url), urlsplit(settings.OSRM_URL)
    if asked.scheme not in ("http", "https") or (asked.scheme, asked.netloc) != (own.scheme, own.netloc):
        raise OSError("not the road server of the settings")
    if cache.get(DOWN):
        raise ConnectionError("it did not answer a moment ago")
    kind = http.client.HTTPSConnection if asked.scheme == "https" else http.client.HTTPConnection
    connection = kind(asked.hostname or "", asked.port, timeout=settings.OSRM_TIMEOUT_S)
    try:
        connection.request("GET", f"{asked.path}?{asked.query}", headers={"Accept": "application/json"})
        answer = connection.getresponse()
        body = answer.read(LARGEST_ANSWER + 1)
    except (OSError, http.client.HTTPException) as error:
        cache.set(DOWN, True, DOWN_S)
        # The core knows OSError only; a garbled answer is as good as none.
        raise error if isinstance(error, OSError) else ConnectionError(type(error).__name__) from error
    finally:
        connection.close()
    if len(body) > LARGEST_ANSWER:
        raise ConnectionError("the answer is too large")
    return answer.status, body


def _place(point: Point) -> str:
    return f"{point.latitude:.{DECIMALS}f},{point.longitude:.{DECIMALS}f}"


def _remembered(points: Sequence[Point]) -> TravelMatrix | None:
    """The matrix from kept legs, or None when one is missing."""
    names = [_place(point) for point in points]
    wanted = set(names)
    # Another server or another map: other legs.
    version = _version()
    legs: dict[tuple[str, str], tuple[int, int, bool]] = {}
    for start in range(0, len(names), CHUNK):
        rows = TravelLeg.objects.filter(map_version=version, from_place__in=names[start : start + CHUNK])
        for a, b, seconds, metres, estimated in rows.values_list(
            "from_place", "to_place", "seconds", "metres", "estimated"
        ):
            if b in wanted:
                legs[a, b] = seconds, metres, estimated
    cells = [[(0, 0, False) if a == b else legs.get((a, b)) for b in names] for a in names]
    if any(cell is None for row in cells for cell in row):
        return None
    table = np.array(cells, dtype=np.int64)
    holes = table[:, :, 2].astype(bool)
    lost = int(holes.sum())
    warnings = (f"{lost} connections have no road route and are estimated.",) if lost else ()
    return TravelMatrix(tuple(points), table[:, :, 0], table[:, :, 1], holes, "road server", warnings)


def _remember(matrix: TravelMatrix) -> None:
    names, version = [_place(point) for point in matrix.points], _version()
    TravelLeg.objects.bulk_create(
        (
            TravelLeg(
                map_version=version,
                from_place=a,
                to_place=b,
                seconds=int(matrix.seconds[i, j]),
                metres=int(matrix.metres[i, j]),
                estimated=bool(matrix.estimated[i, j]),
                source="great circle" if matrix.estimated[i, j] else "road server",
            )
            for i, a in enumerate(names)
            for j, b in enumerate(names)
            if a != b
        ),
        batch_size=500,
        ignore_conflicts=True,
    )


def _version() -> str:
    return f"{settings.OSRM_MAP_VERSION} {urlsplit(settings.OSRM_URL).netloc}"[:60]
