"""Routing: published instances through our own solver interface, seasons, and a day re-planned.

`RILLBOOK_BENCH_SECONDS` (default 30) is the time for one published instance; the season gets twice, the long run
twenty times and the large season ten times as much; `against` says how long. One process: the solver
uses one core.
"""

import json
import os
import random
import resource
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

from django.conf import settings

from jobs.core.routing.benchmarks import solomon_fleet
from jobs.core.routing.day import Shift
from jobs.core.routing.replan import appointments, replan
from jobs.core.routing.season import (
    PlannableVisit,
    SeasonPlan,
    SeasonSettings,
    TechnicianDay,
    plan_season,
    points_needed,
)
from jobs.core.routing.solver import Fleet, Orders, solve_fleet
from jobs.core.routing.travel import GreatCircle, Point, TravelMatrix
from jobs.core.routing.validate import season_faults

SECONDS = float(os.environ.get("RILLBOOK_BENCH_SECONDS", "30"))
DATA = settings.BASE_DIR.parent / "shared" / "data" / "vrptw"
ENDLESS = 10**9
MONDAY = date(2025, 9, 29)
ALL_DAY = ((0, 1440),) * 7


def figure(name: str, value: float, unit: str, n: int, against: str = "") -> dict[str, Any]:
    return {"bench": "routing", "name": name, "value": round(value, 2), "unit": unit, "n": n, "against": against}


def run() -> Iterator[dict[str, Any]]:
    yield from _published()
    yield from _season()
    yield _replanned_day()
    yield from _large_season()


def _deadline(seconds: float) -> Callable[[], bool]:
    end = time.monotonic() + seconds
    return lambda: time.monotonic() > end


def _published() -> Iterator[dict[str, Any]]:
    files = sorted((DATA / "solomon").glob("*.txt"))
    if not files:
        raise OSError("published instances are not at hand, see tests/jobs/core/vrptw/SOURCES.md")
    best_known = json.loads((DATA / "bks.json").read_text())
    gaps = {}
    for file in files:
        fleet = solomon_fleet(file.read_text())
        orders = solve_fleet(fleet, iterations=ENDLESS, seed=1, stop=_deadline(SECONDS))
        if orders is None:
            raise OSError(f"nothing feasible was found for {file.stem} in {SECONDS:g} s")
        distance = _replayed(fleet, orders) / 10
        gaps[file.stem] = 100 * (distance / best_known[file.stem] - 1)
    worst = max(gaps, key=lambda name: gaps[name])
    against = f"best known values, distance only, one decimal; {SECONDS:g} s each"
    yield figure("solomon_mean_gap_pct", sum(gaps.values()) / len(gaps), "%", len(gaps), against)
    yield figure("solomon_worst_gap_pct", gaps[worst], "%", len(gaps), f"{against}; {worst}")


def _replayed(fleet: Fleet, orders: Orders) -> int:
    """Distance in tenths, after checking that loads and windows hold and everybody is served once."""
    if sorted(i for order in orders for i in order) != list(range(len(fleet.clients))):
        raise AssertionError("a client is served never or twice")
    total = 0
    for order, vehicle in zip(orders, fleet.vehicles, strict=True):
        now, load = vehicle.start_s, sum(fleet.clients[i].load for i in order)
        for a, b in pairwise([0, *(fleet.clients[i].place for i in order), 0]):
            total += int(fleet.seconds[a, b])
            now += int(fleet.seconds[a, b])
            if b:
                task = fleet.clients[b - 1].task
                if now > task.latest_s:
                    raise AssertionError("a window is broken")
                now = max(now, task.open_s) + task.service_s
        if now > vehicle.end_s or load > vehicle.capacity:
            raise AssertionError("a vehicle is late or overloaded")
    return total


@dataclass(frozen=True)
class Season:
    visits: list[PlannableVisit]
    days: list[TechnicianDay]
    travel: TravelMatrix


def season_instance(
    seed: int, visits: int, technicians: int, workdays: int, service_min: tuple[int, int] = (25, 80)
) -> Season:
    """An invented season: towns and scattered sites over 40 x 40 km, deadlines, hours, skills and fixed promises.

    `service_min`: the shortest time on site and the one that none reaches.
    """
    rng = random.Random(seed)
    towns = [_near(rng, 0.18, 0.26) for _ in range(12)]
    yards = [Point(47.58, -122.32), Point(47.68, -122.20)]
    dates = [d for d in (MONDAY + timedelta(n) for n in range(2 * workdays)) if d.weekday() < 5][:workdays]
    skills = [frozenset("a"), frozenset("ab"), frozenset("b")]
    days = [
        TechnicianDay(f"t{t}", on, Shift(480, 990, yards[t % 2], yards[t % 2], 30), skills[t % 3])
        for on in dates
        for t in range(technicians)
    ]
    free = list(days)  # one promise a day: nobody promises two clients the same hour
    rows = [_visit(rng, n, rng.randrange(*service_min), towns, dates, free) for n in range(visits)]
    return Season(rows, days, GreatCircle().matrix(points_needed(rows, days)))


def _near(rng: random.Random, north: float, east: float, middle: Point | None = None) -> Point:
    middle = middle or Point(47.6, -122.3)
    return Point(middle.latitude + rng.uniform(-north, north), middle.longitude + rng.uniform(-east, east))


def _visit(
    rng: random.Random, n: int, service: int, towns: list[Point], dates: list[date], free: list[TechnicianDay]
) -> PlannableVisit:
    point = _near(rng, 0.02, 0.03, rng.choice(towns)) if rng.random() < 0.85 else _near(rng, 0.18, 0.26)
    due = rng.choice(dates[len(dates) // 3 :])
    opens = dates[0] if rng.random() < 0.55 else max(dates[0], due - timedelta(rng.randrange(7, 20)))
    hours = ((480, 720),) * 7 if rng.random() < 0.2 else ALL_DAY
    skills = frozenset(rng.choice(["", "", "", "a", "b"]))
    visit = PlannableVisit(f"v{n}", point, service, opens, due, skills, hours)
    suiting = [day for day in free if visit.suits(day)]
    if rng.random() >= 0.05 or not suiting:
        return visit
    day = rng.choice(suiting)
    free.remove(day)
    at = rng.choice([540, 600, 690])
    return replace(visit, fixed_technician=day.technician, fixed_date=day.date, fixed_time_min=at, hours=ALL_DAY)


def planned(season: Season, seconds: float, **more: Any) -> tuple[SeasonPlan, float]:
    started = time.perf_counter()
    chosen = SeasonSettings(**more)
    plan = plan_season(season.visits, season.days, season.travel, settings=chosen, seed=1, stop=_deadline(seconds))
    took = time.perf_counter() - started
    faults = season_faults(plan.routes, season.visits, season.days, season.travel)
    if faults:
        raise AssertionError(f"the plan breaks rules: {faults[:3]}")
    return plan, took


def late(season: Season, plan: SeasonPlan) -> int:
    """Visits without a place or after their deadline; fixed ones stand where they were promised."""
    placed = plan.assignment
    late = [v for v in season.visits if v.key not in placed]
    late += [v for v in season.visits if v.key in placed and not v.fixed_date and placed[v.key][1] > v.window_due]
    return len(late)


def _season() -> Iterator[dict[str, Any]]:
    season = season_instance(1, 400, 3, 30)
    plan, took = planned(season, 2 * SECONDS)
    # The first entry of the history is the nearest-visit-first plan with urgent ones favoured.
    _, missing, nearest_min = plan.history[0]
    long_plan, long_took = planned(season, 20 * SECONDS, rounds=ENDLESS)
    over = 100 * (plan.drive_min / long_plan.drive_min - 1)
    yield figure("season_seconds", took, "s", 400, f"limit {2 * SECONDS:g} s")
    yield figure(
        "season_over_long_run_pct", over, "%", 400,
        f"own run of {long_took:.0f} s: {long_plan.drive_min:.0f} min, {late(season, long_plan)} late",
    )  # fmt: skip
    yield figure(
        "season_saving_vs_nearest_pct", 100 * (1 - plan.drive_min / nearest_min), "%", 400,
        f"nearest by deadline: {nearest_min:.0f} min, {missing} not placed; ours {plan.drive_min:.0f} min",
    )  # fmt: skip
    yield figure("season_late", late(season, plan), "visits", 400, "0; without a place counts as late")


def _replanned_day() -> dict[str, Any]:
    """Four technicians with twenty short stops each, every other one promised; one falls ill, the next day helps."""
    rng = random.Random(3)
    yard = Point(47.6, -122.3)
    shift = Shift(480, 1020, yard, yard, 30)
    names = ("ana", "bo", "cy", "di")
    days = [TechnicianDay(name, MONDAY + timedelta(n), shift) for n in range(2) for name in names]
    visits = [PlannableVisit(f"v{n}", _near(rng, 0.06, 0.08), 12, MONDAY, MONDAY + timedelta(1)) for n in range(80)]
    travel = GreatCircle().matrix(points_needed(visits, days))
    first = plan_season(visits, days[:4], travel, settings=SeasonSettings(rounds=4, spare_fraction=0.0), seed=1)
    told = {
        key: replace(a, promise=(int(a.start_min) - 30, int(a.start_min) + 90)) if int(key[1:]) % 2 else a
        for key, a in appointments(first).items()
    }
    left = [day for day in days if (day.technician, day.date) != ("ana", MONDAY)]
    started = time.perf_counter()
    plan, diff = replan(told, visits, left, travel, settings=SeasonSettings(spare_fraction=0.0), seed=1)
    took = time.perf_counter() - started
    stranded = sum(a.technician == "ana" for a in told.values())
    return figure(
        "replan_day_seconds", took, "s", len(told),
        f"{stranded} stranded, {len(diff.promises_broken)} promises broken, {len(plan.unplaced)} without a place",
    )  # fmt: skip


def _large_season() -> Iterator[dict[str, Any]]:
    # Eight weeks of six people hold 2,000 short visits, blowing out a few zones each; not 2,000 of an hour.
    season = season_instance(2, 2000, 6, 40, service_min=(15, 50))
    plan, took = planned(season, 10 * SECONDS)
    peak_mib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    yield figure(
        "large_season_seconds", took, "s", 2000,
        f"limit {10 * SECONDS:g} s; {late(season, plan)} late, {plan.drive_min:.0f} min of driving",
    )  # fmt: skip
    yield figure("large_season_peak", peak_mib, "MiB", 2000, "whole process")
