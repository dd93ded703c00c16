"""The season plan: which technician visits which site on which day, and in which order."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from jobs.core.routing.day import DayRoute, Shift
from jobs.core.routing.explain import explain
from jobs.core.routing.greedy import greedy_plan, insert_missing
from jobs.core.routing.improve import Search, improve_parts, improve_whole, share_out
from jobs.core.routing.season_model import Board, SeasonModel
from jobs.core.routing.season_terms import DayKey, PlannableVisit, SeasonSettings, TechnicianDay, Unplaced
from jobs.core.routing.travel import Point, TravelMatrix
from jobs.core.routing.validate import season_faults

Stage = Callable[[Search, Board], Board]
DEFAULT_SETTINGS = SeasonSettings()
__all__ = [
    "DayKey",
    "PlannableVisit",
    "Progress",
    "SeasonPlan",
    "SeasonSettings",
    "TechnicianDay",
    "TechnicianLoad",
    "Unplaced",
    "plan_season",
    "points_needed",
]


@dataclass(frozen=True)
class TechnicianLoad:
    """What one technician carries: work is driving and service; `share` is work over working time."""

    technician: str
    visits: int
    days_used: int
    drive_min: float
    work_min: float
    working_min: float

    @property
    def share(self) -> float:
        return self.work_min / self.working_min if self.working_min else 0.0


@dataclass(frozen=True)
class SeasonPlan:
    """Routes by (technician, date), days without visits left out; what could not be placed, and the sums.

    `against_wishes` are keys of visits on a day or with a technician that their client did not wish for.
    """

    routes: Mapping[DayKey, DayRoute]
    unplaced: tuple[Unplaced, ...]
    loads: tuple[TechnicianLoad, ...]
    seed: int
    method: str
    travel_source: str
    warnings: tuple[str, ...] = ()
    stopped_early: bool = False
    against_wishes: tuple[str, ...] = ()
    history: tuple[tuple[str, int, float], ...] = field(default=())

    @property
    def drive_min(self) -> float:
        return sum(route.drive_s for route in self.routes.values()) / 60

    @property
    def drive_km(self) -> float:
        return sum(route.drive_km for route in self.routes.values())

    @property
    def assignment(self) -> dict[str, DayKey]:
        """(technician, date) of each placed visit."""
        return {stop: day for day, route in self.routes.items() for stop in route.keys}


@dataclass(frozen=True)
class Progress:
    """Where a run stands: `done` of `total` steps (0..1 in `share`), the best so far, and how to look at it."""

    stage: str
    done: int
    total: int
    unplaced: int
    drive_min: float
    plan: Callable[[], SeasonPlan]

    @property
    def share(self) -> float:
        return self.done / self.total if self.total else 1.0


def points_needed(visits: Iterable[PlannableVisit], days: Iterable[TechnicianDay]) -> list[Point]:
    """The different points a travel matrix must cover for this plan, in a stable order."""
    ends = [p for d in days for p in (d.shift.start_point, d.shift.end_point)]
    return list(dict.fromkeys([*(v.point for v in visits), *ends]))


def plan_season(
    visits: Sequence[PlannableVisit],
    technician_days: Sequence[TechnicianDay],
    travel: TravelMatrix,
    *,
    settings: SeasonSettings = DEFAULT_SETTINGS,
    seed: int = 0,
    start_from: Mapping[str, DayKey] | None = None,
    stop: Callable[[], bool] | None = None,
    on_progress: Callable[[Progress], None] | None = None,
) -> SeasonPlan:
    """A plan of all visits over all technician-days: few unplaced, then little driving and fair load.

    Stages: greedy (nearest visit first, urgent ones favoured), insertion, searches over a few related days at a
    time (around visits without a place and around every day, turn about), then (only if `whole_iterations` asks
    for it) the whole season at once. A candidate is kept only when it is not worse, so there is a plan at any
    moment, and no plan leaves here, also not through `on_progress`, that the independent validator objects to.
    `stop` (polled often) ends the run with the best so far. Without `stop` the same input and seed give the same
    plan.
    `start_from` (visit key to technician and date) replaces the greedy start. Visits with a fixed technician,
    date or time never leave them. `travel` must cover `points_needed`. ValueError on contradictory input.
    """
    model = SeasonModel.of(visits, technician_days, travel, settings)
    board = greedy_plan(model) if start_from is None else model.board_from(start_from)
    board = insert_missing(model, board)
    stages: tuple[Stage, ...] = (improve_parts, share_out)
    if settings.whole_iterations:
        stages = (improve_parts, improve_whole, share_out)
    rounds = settings.rounds_for(len(visits))
    watch = Watch(model, seed, len(stages) * rounds, on_progress)
    search = Search(model, seed, settings, stop or (lambda: False), watch.report)
    watch.report("first plan", board)
    for number, stage in enumerate(stages, start=1):
        board = stage(search, board)
        if search.stop():
            break
        watch.done = number * rounds
    return watch.plan(board, final=True)


class Watch:
    """Counts the steps, remembers the history and turns boards into plans."""

    def __init__(
        self, model: SeasonModel, seed: int, total: int, on_progress: Callable[[Progress], None] | None
    ) -> None:
        self.model, self.seed, self.total = model, seed, total
        self.on_progress = on_progress
        self.done = 0
        self.history: list[tuple[str, int, float]] = []

    def report(self, stage: str, board: Board, steps: int = 0) -> None:
        """Called after every step and every improvement."""
        self.done = min(self.total, self.done + steps)
        state = (stage, len(board.unplaced), self.model.drive_s(board) / 60)
        if not self.history or self.history[-1] != state:
            self.history.append(state)
        if self.on_progress:
            self.on_progress(Progress(stage, self.done, self.total, *state[1:], lambda: self.plan(board)))

    def plan(self, board: Board, *, final: bool = False) -> SeasonPlan:
        model = self.model
        routes = {
            (day.technician, day.date): route.told(method="search")
            for d, day in enumerate(model.days)
            if (route := model.route(d, board.routes[d])).stops
        }
        faults = season_faults(routes, model.visits, model.days, model.travel)
        if faults:
            raise AssertionError("the planner broke its own rules: " + "; ".join(faults[:5]))
        return SeasonPlan(
            routes,
            tuple(explain(model, board)) if final else explain_briefly(model, board),
            tuple(_loads(model, routes)),
            self.seed,
            self.history[-1][0] if self.history else "",
            model.travel.source,
            model.travel.warnings,
            stopped_early=self.done < self.total,
            against_wishes=tuple(
                model.visits[v].key
                for d, route in enumerate(board.routes)
                for v in route
                if model.visits[v].unmet_wishes(model.days[d])
            ),
            history=tuple(self.history),
        )


def explain_briefly(model: SeasonModel, board: Board) -> tuple[Unplaced, ...]:
    """Unplaced visits without the costly search for what would free them."""
    return tuple(Unplaced(model.visits[v].key, "pending", "not placed yet") for v in sorted(board.unplaced))


def _loads(model: SeasonModel, routes: Mapping[DayKey, DayRoute]) -> Iterable[TechnicianLoad]:
    for technician in sorted({day.technician for day in model.days}):
        mine = [route for (who, _), route in routes.items() if who == technician]
        shifts: list[Shift] = [day.shift for day in model.days if day.technician == technician]
        yield TechnicianLoad(
            technician,
            sum(len(route.stops) for route in mine),
            len(mine),
            sum(route.drive_s for route in mine) / 60,
            sum(route.work_s for route in mine) / 60,
            float(sum(shift.working_min for shift in shifts)),
        )
