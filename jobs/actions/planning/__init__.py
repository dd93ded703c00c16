"""Everything that decides who goes where, when and in which order."""

from jobs.actions.planning.assignment import (
    add_visit,
    assign,
    cancel_visit,
    change_visit,
    follow_window,
    hand_over,
    pin,
    promise_hours,
    unassign,
)
from jobs.actions.planning.day import move, plan_day, set_order
from jobs.actions.planning.errors import Doubtful, PlannerBusy, PlanOutdated
from jobs.actions.planning.season import (
    accept_plan,
    ask_for_plan,
    discard_plan,
    plan_season,
    run_plan,
    stop_plan,
    sweep_plans,
)
from jobs.actions.planning.summary import PlanSummary, UnplacedVisit

__all__ = [
    "Doubtful",
    "PlanOutdated",
    "PlanSummary",
    "PlannerBusy",
    "UnplacedVisit",
    "accept_plan",
    "add_visit",
    "ask_for_plan",
    "assign",
    "cancel_visit",
    "change_visit",
    "discard_plan",
    "follow_window",
    "hand_over",
    "move",
    "pin",
    "plan_day",
    "plan_season",
    "promise_hours",
    "run_plan",
    "set_order",
    "stop_plan",
    "sweep_plans",
    "unassign",
]
