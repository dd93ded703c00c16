"""Nudges for the worker: each finds its work in the database and may run twice without harm."""

from celery import current_app, shared_task
from django.conf import settings
from django.core.exceptions import ValidationError

from jobs.actions.inbox import apply_waiting
from jobs.actions.planning import run_plan, sweep_plans
from sites.tasks import start_command


@shared_task
def compute_plan(run_pk: int) -> None:
    """Compute a waiting season plan. What goes wrong is kept in its row for the board."""
    try:
        run_plan(run_pk=run_pk)
    except ValidationError:
        return  # the row holds the words


def start_plan(run_pk: int) -> None:
    """Have a waiting plan computed beside the web server, so that its page shows how far it is and can stop it."""
    if settings.COMMANDS_IN_OWN_PROCESS:
        start_command("compute_plans")
    else:
        compute_plan.delay_on_commit(run_pk)


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
    """After a change of the plan: ring the tasks of the apps above that look for work; the settings say which."""
    for name in settings.PLAN_CHANGED_TASKS:
        current_app.tasks[name].delay_on_commit()
