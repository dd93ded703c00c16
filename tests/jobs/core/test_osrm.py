"""The road-server client against answers written by hand in the shape of the public OSRM HTTP API.

No server runs here: the tests show what the client does with each kind of answer, not that a server gives it.
"""

import json
import re

import pytest

from jobs.core.routing.osrm import Osrm
from jobs.core.routing.travel import GreatCircle, Point

A, B, C = Point(60.17, 24.94), Point(60.18, 24.95), Point(60.19, 24.96)
PLACES = [A, B, C]


def table(durations, distances=None, snaps=None, columns=None):
    rows = [{"location": [24.9, 60.1], "distance": d} for d in (snaps or [5.0] * len(durations))]
    return {
        "code": "Ok",
        "durations": durations,
        "distances": distances or durations,
        "sources": rows,
        "destinations": columns or rows,
    }


def answering(*answers):
    """A fetch function that gives these answers in turn and remembers what it was asked."""
    left, asked = list(answers), []

    def fetch(url):
        asked.append(url)
        answer = left.pop(0)
        if isinstance(answer, Exception):
            raise answer
        status, body = answer
        return status, body if isinstance(body, bytes) else json.dumps(body).encode()

    fetch.asked = asked
    return fetch


def test_a_full_table_is_taken_over_with_longitude_first_in_the_address():
    fetch = answering((200, table([[0, 60.2, 90], [61, 0, 40], [95, 41, 0]])))
    matrix = Osrm("http://roads:5000/", fetch).matrix(PLACES)
    assert matrix.seconds.tolist() == [[0, 61, 90], [61, 0, 40], [95, 41, 0]]
    assert not matrix.estimated.any()
    assert (matrix.source, matrix.warnings) == ("road server", ())
    assert fetch.asked == [
        "http://roads:5000/table/v1/driving/24.940000,60.170000;24.950000,60.180000;24.960000,60.190000"
        "?annotations=duration,distance"
    ]


def test_a_null_cell_is_estimated_marked_and_counted():
    fetch = answering((200, table([[0, None, 90], [61, 0, 40], [95, 41, 0]])))
    matrix = Osrm("http://roads", fetch).matrix(PLACES)
    assert matrix.seconds[0, 1] == GreatCircle().matrix(PLACES).seconds[0, 1]
    assert matrix.estimated.sum() == 1
    assert matrix.warnings == ("1 connections have no road route and are estimated.",)


def test_a_silently_far_snapped_point_is_estimated_in_its_whole_row_and_column():
    fetch = answering((200, table([[0, 60, 90], [61, 0, 40], [95, 41, 0]], snaps=[5, 5, 7_090_000])))
    matrix = Osrm("http://roads", fetch).matrix(PLACES)
    assert matrix.estimated.tolist() == [[False, False, True], [False, False, True], [True, True, False]]
    assert matrix.warnings == ("Off the road map, travel estimated: 60.19, 24.96.",)


def test_a_point_that_fails_the_whole_request_is_left_out_and_the_rest_asked_again():
    refusal = {"code": "NoSegment", "message": "Could not find a matching segment for coordinate 1"}
    fetch = answering((400, refusal), (200, table([[0, 90], [95, 0]])))
    matrix = Osrm("http://roads", fetch).matrix(PLACES)
    assert (matrix.seconds[0, 2], matrix.seconds[2, 0]) == (90, 95)
    assert matrix.estimated.sum() == 4
    assert "60.18" in matrix.warnings[0]


@pytest.mark.parametrize(
    "answer",
    [
        ConnectionRefusedError("refused"),
        TimeoutError("slow"),
        (502, b"<html>Bad gateway</html>"),
        (200, b"not json"),
        (200, {"code": "Ok", "durations": [[0]], "distances": [[0]], "sources": [], "destinations": []}),
        (200, {"code": "Ok"}),
        (200, []),
        (500, {"code": "InternalError", "message": "oops"}),
        (400, {"code": "InvalidUrl", "message": "URL string malformed"}),
        (200, table([[0, -5, 1], [1, 0, 1], [1, 1, 0]])),
    ],
)
def test_any_other_failure_falls_back_as_a_whole_and_says_so(answer):
    matrix = Osrm("http://roads", answering(answer)).matrix(PLACES)
    assert (matrix.seconds == GreatCircle().matrix(PLACES).seconds).all()
    assert matrix.source == "great circle (road server unavailable)"
    assert matrix.warnings[0].startswith("Road server not used: ")
    assert matrix.estimated.sum() == 6


def small_server(limit, speed=10):
    """Answers tables like a server with this limit; a cell is 100 x source number + destination number."""
    asked = []

    def fetch(url):
        asked.append(url)
        where = re.search(r"driving/([^?]*)", url).group(1).split(";")
        if len(where) > limit:
            return 400, json.dumps({"code": "TooBig", "message": "Too many table coordinates"}).encode()
        ids = [round((float(x.split(",")[1]) - 60) * 1000) for x in where]

        def pick(name):
            found = re.search(name + r"=([\d;]*)", url)
            return [ids[int(i)] for i in found.group(1).split(";")] if found else ids

        rows, columns = pick("sources"), pick("destinations")
        cells = [[0 if r == c else 100 * r + c for c in columns] for r in rows]
        near = [{"distance": 1.0}]
        return 200, json.dumps(table(cells, snaps=[1.0] * len(rows), columns=near * len(columns))).encode()

    fetch.asked = asked
    return fetch


@pytest.mark.parametrize(("told", "real"), [(100, 100), (10, 10), (100, 10), (100, 4), (7, 7)])
def test_tiles_put_together_are_the_whole_table_whatever_limit_the_server_has(told, real):
    places = [Point(60 + i / 1000, 25) for i in range(23)]
    fetch = small_server(real)
    matrix = Osrm("http://roads", fetch, max_table=told).matrix(places)
    assert matrix.seconds.tolist() == [[0 if r == c else 100 * r + c for c in range(23)] for r in range(23)]
    assert not matrix.estimated.any()


def test_a_server_that_refuses_every_size_is_given_up():
    places = [Point(60 + i / 1000, 25) for i in range(9)]
    fetch = small_server(0)
    matrix = Osrm("http://roads", fetch).matrix(places)
    assert "refuses even the smallest" in matrix.warnings[0]
    assert len(fetch.asked) < 6


def test_a_server_that_dies_between_tiles_leaves_no_mixed_matrix():
    places = [Point(60 + i / 1000, 25) for i in range(9)]
    serve, calls = small_server(4), []

    def fetch(url):
        calls.append(url)
        if len(calls) > 5:
            raise ConnectionResetError
        return serve(url)

    matrix = Osrm("http://roads", fetch, max_table=4).matrix(places)
    assert (matrix.seconds == GreatCircle().matrix(places).seconds).all()


def test_a_route_gives_its_line_and_a_missing_one_straight_lines_with_a_warning():
    found = {
        "code": "Ok",
        "routes": [
            {
                "geometry": {"coordinates": [[24.94, 60.17], [24.95, 60.18]]},
                "duration": 100.2,
                "distance": 900,
            },
        ],
    }
    lost = {"code": "NoRoute", "message": "Impossible route between points"}
    roads = Osrm("http://roads", answering((200, found), (400, lost)))
    path = roads.path([A, B])
    assert (path.line, path.seconds, path.metres, path.estimated) == ((A, B), 101, 900, False)
    straight = roads.path([A, B])
    assert straight.estimated
    assert straight.warnings == (
        "Straight lines instead of roads: HTTP 400, NoRoute Impossible route between points.",
    )


def test_health_asks_for_a_road_near_a_known_place():
    near = {"code": "Ok", "waypoints": [{"distance": 12.0}]}
    odd = {"code": "Ok"}
    far = {"code": "Ok", "waypoints": [{"distance": 7_090_000}]}
    roads = Osrm("http://roads", answering((200, near), (200, far), ConnectionRefusedError(), (200, odd)))
    assert roads.health(A) is None
    assert roads.health(A) == "the nearest road is 7090 km away"
    assert roads.health(A) == "no answer (ConnectionRefusedError)"
    assert roads.health(A) == "the answer has an unexpected shape"
