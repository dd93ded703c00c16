from itertools import pairwise
from pathlib import Path

import pytest

from jobs.core.routing.benchmarks import solomon_fleet
from jobs.core.routing.solver import solve_fleet

DATA = Path(__file__).with_name("vrptw")  # sources in SOURCES.md there
BEST_KNOWN = {"C101": 827.3, "R101": 1637.7}


def replayed(fleet, orders):
    """Total distance after checking load, windows and that everybody is served once."""
    assert sorted(i for order in orders for i in order) == list(range(len(fleet.clients)))
    total = 0
    for order, vehicle in zip(orders, fleet.vehicles, strict=True):
        assert sum(fleet.clients[i].load for i in order) <= vehicle.capacity
        now = vehicle.start_s
        for a, b in pairwise([0, *(fleet.clients[i].place for i in order), 0]):
            total += int(fleet.seconds[a, b])
            now += int(fleet.seconds[a, b])
            if b:
                task = fleet.clients[b - 1].task
                assert now <= task.latest_s
                now = max(now, task.open_s) + task.service_s
        assert now <= vehicle.end_s
    return total


@pytest.mark.slow
@pytest.mark.parametrize("name", ["C101", "R101"])
def test_a_published_instance_comes_near_its_best_known_value_through_our_own_solver_interface(name):
    best_known = BEST_KNOWN[name]
    fleet = solomon_fleet((DATA / f"{name}.txt").read_text())
    orders = solve_fleet(fleet, iterations=250, seed=1)
    assert orders is not None
    distance = replayed(fleet, orders) / 10
    assert best_known - 0.05 <= distance <= 1.03 * best_known


def test_another_text_is_refused():
    with pytest.raises(ValueError, match="Solomon"):
        solomon_fleet("NAME: x\n 1 2 3\n")
