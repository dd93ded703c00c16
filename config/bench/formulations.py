"""The season written down in different ways for the solver, side by side: the same seasons, the same time for each.

parts: searches over a few related days at a time. whole: every visit and every day in one model, from the first plan
on. parts, then whole: the usual searches first, one model with the time that is left.
`RILLBOOK_BENCH_SECONDS` (default 30): each formulation gets twice as much for each season.
"""

from collections.abc import Iterator
from typing import Any

from config.bench.routing import ENDLESS, SECONDS, late, planned, season_instance

# Workdays of three technicians for 400 visits: one season with room, one nearly full.
SEASONS = {"roomy": 30, "tight": 25}
FEW = 10  # searches that make room for what the first plan left out: the whole cannot leave anything out
FORMULATIONS: dict[str, dict[str, Any]] = {
    "parts": {"rounds": ENDLESS},
    "whole": {"rounds": FEW, "whole_iterations": ENDLESS},
    "parts_then_whole": {"whole_iterations": ENDLESS},
}


def run() -> Iterator[dict[str, Any]]:
    for season_name, workdays in SEASONS.items():
        season = season_instance(1, 400, 3, workdays)
        for name, settings in FORMULATIONS.items():
            plan, took = planned(season, 2 * SECONDS, **settings)
            yield {
                "bench": "formulations",
                "name": f"{season_name}_{name}_drive_min",
                "value": round(plan.drive_min, 1),
                "unit": "min",
                "n": len(season.visits),
                "against": f"{took:.0f} s; {late(season, plan)} late or without a place; {plan.method} last",
            }
