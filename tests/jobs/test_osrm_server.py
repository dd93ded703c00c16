"""The road client against a real road server on real streets (a small extract of Helsinki, partly unconnected)."""

import os
import subprocess

import numpy as np
import pytest
from django.conf import settings as django_settings

from jobs.core.routing.osrm import Osrm
from jobs.core.routing.travel import GreatCircle, Point
from jobs.models import TravelLeg
from jobs.outside.roads import fetch, path_through, travel_between

# Places in the middle of the extract, and one far from any of its roads.
STREETS = [
    Point(60.1699, 24.9384),
    Point(60.1710, 24.9414),
    Point(60.1675, 24.9427),
    Point(60.1733, 24.9410),
    Point(60.1650, 24.9350),
    Point(60.1720, 24.9330),
]
FAR = Point(47.6, -122.3)
PORT = "5056"


@pytest.fixture(scope="session")
def road_server():
    """A running server's address. Where its files cannot be had the tests skip, unless no test may skip."""
    script = django_settings.BASE_DIR / ".ci" / "roads"
    environment = {**os.environ, "ROADS_PORT": PORT}
    started = subprocess.run([script, "start"], env=environment, capture_output=True, text=True, timeout=300)
    if started.returncode:
        words = f"no road server: {started.stderr.strip().splitlines()[-1:] or 'no reason given'}"
        if os.environ.get("RILLBOOK_NO_SKIPS"):
            pytest.fail(words)
        pytest.skip(words)
    yield started.stdout.strip().splitlines()[-1]
    subprocess.run([script, "stop"], env=environment, check=False)


@pytest.fixture
def roads(road_server, settings, db):
    from django.core.cache import cache

    settings.OSRM_URL, settings.OSRM_MAP_VERSION = road_server, "helsinki"
    cache.clear()
    yield road_server
    cache.clear()


def connected(points: list[Point]) -> list[Point]:
    """Those of the points with a way to and from the first."""
    table = Osrm(django_settings.OSRM_URL, fetch).matrix(points)
    return [p for i, p in enumerate(points) if not (table.estimated[0, i] or table.estimated[i, 0])]


def test_the_server_is_found_healthy_on_its_own_map_and_not_elsewhere(roads):
    server = Osrm(roads, fetch)

    assert server.health(STREETS[0]) is None
    assert "km away" in server.health(FAR)


def test_real_streets_take_longer_than_the_crow_flies_and_differ_by_direction(roads):
    points = connected(STREETS)
    assert len(points) >= 3

    road = Osrm(roads, fetch).matrix(points)
    crow = GreatCircle(circuity=1.0).matrix(points)

    assert road.source == "road server"
    assert not road.estimated.any()
    off_diagonal = ~np.eye(len(points), dtype=bool)
    # The ends snap to the nearest street, so that a single pair may come out a little shorter.
    assert road.metres[off_diagonal].sum() > crow.metres[off_diagonal].sum()
    assert (road.seconds != road.seconds.T).any()


def test_tables_in_small_tiles_equal_one_large_table(roads):
    whole = Osrm(roads, fetch).matrix(STREETS)
    tiled = Osrm(roads, fetch, max_table=4).matrix(STREETS)

    assert (whole.seconds == tiled.seconds).all()
    assert (whole.metres == tiled.metres).all()


def test_a_table_over_the_servers_limit_is_cut_until_it_fits(roads):
    rng = np.random.default_rng(1)
    many = [Point(60.165 + 0.008 * a, 24.933 + 0.010 * b) for a, b in rng.random((130, 2))]

    answer = Osrm(roads, fetch, max_table=1000).matrix(many)

    assert answer.source == "road server"
    assert answer.seconds.shape == (130, 130)


def test_a_place_off_the_map_is_estimated_and_named(roads):
    answer = Osrm(roads, fetch).matrix([*STREETS[:3], FAR])

    assert answer.estimated[:3, 3].all()
    assert any("47.6" in words for words in answer.warnings)


def test_a_route_follows_the_streets(roads):
    points = connected(STREETS)[:3]

    path = path_through(points)

    assert path.source == "road server"
    assert len(path.line) > len(points)
    assert path.seconds > 0


def test_travel_is_asked_once_and_then_read_from_the_database(roads, settings):
    first = travel_between(STREETS)
    assert TravelLeg.objects.count() == len(STREETS) * (len(STREETS) - 1)

    settings.OSRM_TIMEOUT_S = 0.0001  # whoever asked the server now would fail
    again = travel_between(STREETS)

    assert (again.seconds == first.seconds).all()
    assert (again.metres == first.metres).all()
    assert (again.estimated == first.estimated).all()
    assert again.source == "road server"


def test_another_map_is_asked_again(roads, settings):
    travel_between(STREETS[:2])
    settings.OSRM_MAP_VERSION = "helsinki, later"
    travel_between(STREETS[:2])

    assert TravelLeg.objects.count() == 4


def test_a_server_that_is_down_is_told_on_the_plan_and_not_kept(settings, db, technician):
    from django.core.cache import cache

    settings.OSRM_URL = "http://127.0.0.1:9"
    cache.clear()

    answer = travel_between(STREETS)

    assert answer.source == "great circle (road server unavailable)"
    assert "All times are estimated" in answer.warnings[0]
    assert TravelLeg.objects.count() == 0
    cache.clear()


def test_a_day_planned_on_roads_says_so_and_warns_when_they_are_gone(roads, settings, technician, office):
    import datetime as dt

    from jobs.actions.planning import assign, plan_day
    from jobs.queries.planning import firm_today
    from tests import factories

    day = firm_today() + dt.timedelta(days=1)
    while day.weekday() > 4:
        day += dt.timedelta(days=1)
    profile = technician.technician_profile
    profile.start_latitude, profile.start_longitude = STREETS[0].latitude, STREETS[0].longitude
    profile.save()
    for point in STREETS[1:4]:
        site = factories.SiteFactory(latitude=point.latitude, longitude=point.longitude)
        visit = factories.VisitFactory(site=site, opens_on=day, due_on=day, season_year=day.year)
        assign(visit=visit, technician=technician, planned_on=day, by=office)

    [row] = plan_day(date=day, technician=technician, by=office)
    assert row.travel_source == "road server"

    TravelLeg.objects.all().delete()
    settings.OSRM_URL = "http://127.0.0.1:9"
    [row] = plan_day(date=day, technician=technician, by=office)
    assert row.travel_source == "great circle (road server unavailable)"
    assert any("Road server not used" in words for words in row.warnings)


def test_only_the_server_of_the_settings_is_ever_asked(roads):
    with pytest.raises(OSError, match="not the road server"):
        fetch("http://127.0.0.1:1/table/v1/driving/0,0;1,1?annotations=duration")
    with pytest.raises(OSError, match="not the road server"):
        fetch("file:///etc/hostname")
