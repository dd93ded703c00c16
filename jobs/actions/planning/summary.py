from dataclasses import dataclass


@dataclass(frozen=True)
class UnplacedVisit:
    """A visit the plan does not hold, why, and what would free it."""

    visit: int
    site: str
    kind: str
    due_on: str
    reason: str
    remedies: tuple[str, ...]


@dataclass(frozen=True)
class Load:
    """One technician over the planned days: work is driving and service, in minutes."""

    technician: str
    visits: int
    days_used: int
    work_min: float
    working_min: float


@dataclass(frozen=True)
class PlanSummary:
    """What a season plan changes; `visits` are those it was asked to plan.

    Driving counts every route of the planned days, in minutes and km. `drive_min_before` are the same days as they
    were stored before; `drive_min_first` is the plan that the search began with, which `began_with` names. `late`
    visits are planned after their deadline, `released` ones lose their day, `held` ones are fixed;
    `against_wishes` are visits that lie elsewhere than their client would like.
    """

    run: int
    visits: tuple[int, ...]
    asked: int
    newly_planned: int
    moved: int
    stayed: int
    released: int
    late: int
    held: int
    days_used: int
    drive_min: float
    drive_km: float
    drive_min_before: float
    drive_min_first: float
    began_with: str
    against_wishes: tuple[int, ...]
    unplaced: tuple[UnplacedVisit, ...]
    loads: tuple[Load, ...]
    travel_source: str
    warnings: tuple[str, ...]
    seed: int
    stopped_early: bool
    seconds: float

    @property
    def placed(self) -> int:
        return self.newly_planned + self.moved + self.stayed
