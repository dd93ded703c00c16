"""Nudges for the worker: each finds its work in the database and may run twice without harm."""

from celery import current_app, shared_task
from django.conf import settings
from django.core.exceptions import ValidationError

from jobs.actions.inbox import apply_waiting
from jobs.actions.planning import run_plan, sweep_plans


@shared_task
def compute_plan(run_pk: int) -> None:
    """Compute a waiting season plan. What goes wrong is kept in its row for the board."""
    try:
        run_plan(run_pk=run_pk)
    except ValidationError:
        return  # the row holds the words


@shared_task
def sweep_season_plans() -> int:
    """Run plans whose message was lost; mark those whose process has died. Returns how many were computed."""
    try:
        return sweep_plans()
    except ValidationError:
        return 0


@shared_task
def apply_waiting_records() -> int:
    """Apply records of phones that a killed process left waiting; returns how many."""
    return apply_waiting()


def nudge_listeners() -> None:
    """After a change of the plan: ring the tasks of floors above that look for work. The hall says which."""
    for name in settings.PLAN_CHANGED_TASKS:
        current_app.tasks[name].delay_on_commit()
