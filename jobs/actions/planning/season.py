"""The season plan: asked for, computed outside any transaction, decided on, stored whole if nothing changed."""

import datetime as dt
import time
from collections.abc import Callable, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone

from jobs.actions.planning.errors import PlannerBusy, PlanOutdated
from jobs.actions.planning.queue import queue_planners
from jobs.actions.planning.store import lock_visits, propose_plan, write_plan
from jobs.actions.planning.summary import PlanSummary
from jobs.core.routing import season as core
from jobs.core.routing.spread import spread_out
from jobs.models import PlanRun, VisitKind
from jobs.outside.roads import travel_between
from jobs.queries.planning import SeasonInput, firm_today, planning_technicians, season_input
from sites.actions.audit import record
from sites.core import writing
from sites.models import User

State = PlanRun.State
LONGEST_DAYS = 366
HEARTBEAT_S = 1.0
Report = Callable[[core.Progress], None]
Stop = Callable[[], bool]
SILENT = "The planner stopped before it was done. Nothing was stored; plan again."
BUSY = "Another season plan is being computed. Wait until it is done, or stop it."


def plan_season(*, run: PlanRun, progress: Report | None = None, stop: Stop | None = None) -> PlanSummary:
    """Assign the visits that an unsaved `run` asks for to technicians and days, and store the routes without asking.

    Promised, started and finished visits and all other visits of those days stay where they are; with `keep_planned`
    all planned ones do. Mid-season checks are spread through their window; with `spread` all kinds are, else they
    come as early as they fit. The same data and seed give the same plan unless `seconds` cuts it short; `rounds`
    are searches per stage. `progress` sees every step; `stop` ends the search with the best so far. ValidationError
    for impossible input, PlannerBusy while another planner works, PlanOutdated if something changed since: then
    nothing is stored.
    """
    run.accept_at_once = True
    summary = run_plan(run_pk=ask_for_plan(run=run).pk, progress=progress, stop=stop)
    if summary is None:  # another process took the row between the two calls
        raise PlannerBusy(BUSY)
    return summary


def ask_for_plan(*, run: PlanRun) -> PlanRun:
    """Check an unsaved `run` and leave it waiting; the task or `run_plan` does the work.

    What comes out waits for `accept_plan` or `discard_plan`, unless it is to be accepted at once.
    """
    run.kinds = list(run.kinds)
    _check(run.kinds, run.first_day, run.last_day)
    PlanRun.objects.silent().update(state=State.FAILED, error=SILENT)
    try:
        with transaction.atomic():
            run.save(force_insert=True)
    except IntegrityError as error:
        raise PlannerBusy(BUSY) from error
    return run


def _check(kinds: Sequence[str], first_day: dt.date, last_day: dt.date) -> None:
    problems: dict[str, str] = {}
    if not kinds or set(kinds) - set(VisitKind.values):
        problems["kinds"] = f"Choose kinds of visit among {', '.join(VisitKind.values)}."
    if first_day < firm_today():
        problems["first_day"] = f"The plan cannot begin on {writing.day(first_day)}: that day is past."
    if last_day < first_day:
        problems["last_day"] = "The last day must not lie before the first."
    elif (last_day - first_day).days > LONGEST_DAYS:
        problems["last_day"] = f"Plan at most {LONGEST_DAYS} days at once."
    if problems:
        raise ValidationError(problems)
    if not planning_technicians():
        raise ValidationError("No technician has working hours yet. Set them on the team page.")


def run_plan(*, run_pk: int, progress: Report | None = None, stop: Stop | None = None) -> PlanSummary | None:
    """Compute a waiting plan; None if another process has it already. Marks the row failed on any error."""
    claimed = PlanRun.objects.filter(pk=run_pk, state=State.WAITING)
    if not claimed.update(state=State.RUNNING, heard_at=timezone.now()):
        return None
    run = PlanRun.objects.select_related("asked_by").get(pk=run_pk)
    try:
        return _computed(run, progress, stop)
    except BaseException as error:
        words = " ".join(error.messages) if isinstance(error, ValidationError) else f"{type(error).__name__}: {error}"
        PlanRun.objects.filter(pk=run.pk, state=State.RUNNING).update(state=State.FAILED, error=words)
        raise


def stop_plan(*, run: PlanRun, by: User | None) -> None:
    """Ask a running plan to end with the best it has; one that has not begun is dropped."""
    dropped = PlanRun.objects.filter(pk=run.pk, state=State.WAITING)
    if not dropped.update(state=State.FAILED, error="Stopped before it began."):
        PlanRun.objects.filter(pk=run.pk).update(stop_asked=True)
    record(by=by, verb="season plan stopped", subject=run)


def sweep_plans() -> int:
    """Run what waits, so that a lost message heals itself. Returns how many plans were made."""
    PlanRun.objects.silent().update(state=State.FAILED, error=SILENT)
    waiting = PlanRun.objects.filter(state=State.WAITING).values_list("pk", flat=True)
    return sum(run_plan(run_pk=pk) is not None for pk in waiting)


def _computed(run: PlanRun, progress: Report | None, stop: Stop | None) -> PlanSummary:
    started = time.monotonic()
    given = _read(run)
    if not given.days:
        raise ValidationError(f"Nobody works between {writing.day(run.first_day)} and {writing.day(run.last_day)}.")
    pulse = _Pulse(run, started, progress, stop)
    travel = travel_between(core.points_needed(given.visits, given.days))
    plan = core.plan_season(
        spread_out(given.visits, given.days, travel, run.kinds if run.spread else [VisitKind.MID_SEASON]),
        given.days,
        travel,
        settings=core.SeasonSettings(rounds=run.rounds),
        seed=run.seed,
        start_from=given.start_from,
        stop=pulse.stop,
        on_progress=pulse.report,
    )
    with transaction.atomic():
        summary = propose_plan(run=run, plan=plan, given=given, reread=lambda: _read(run), started=started)
        counts = {"placed": summary.placed, "moved": summary.moved, "unplaced": len(summary.unplaced)}
        record(by=run.asked_by, verb="season plan proposed", subject=run, **counts)
        if run.accept_at_once:
            _store(run, given, run.asked_by)
    return summary


@transaction.atomic
def accept_plan(*, run: PlanRun, by: User | None) -> list[int]:
    """Make a proposed plan the plan, and discard what else was proposed for some of these days; returns those.

    PlanOutdated, and nothing written, if visits or working days changed since it was computed or its first day is
    past; ValidationError if it was decided already.
    """
    row = _to_decide(run)
    if row.first_day < firm_today():
        raise PlanOutdated(f"This plan begins on {writing.day(row.first_day)}, which is past. Plan again.")
    lock_visits(_read(row))
    given = _read(row)
    if given.fingerprint != row.fingerprint:
        raise PlanOutdated("Visits or working days have changed since this plan was computed. Plan again.")
    return _store(row, given, by)


@transaction.atomic
def discard_plan(*, run: PlanRun, by: User | None) -> PlanRun:
    """Leave everything as it is. ValidationError if it was decided already."""
    row = _to_decide(run)
    row.state, row.decided_at = State.DISCARDED, timezone.now()
    row.save(update_fields=["state", "decided_at"])
    record(by=by, verb="season plan discarded", subject=row)
    return row


def _to_decide(run: PlanRun) -> PlanRun:
    queue_planners()
    row = PlanRun.objects.select_for_update().get(pk=run.pk)
    if row.state != State.PROPOSED:
        raise ValidationError("This plan has been decided already.")
    return row


def _store(run: PlanRun, given: SeasonInput, by: User | None) -> list[int]:
    write_plan(run=run, given=given)
    run.state, run.decided_at = State.DONE, timezone.now()
    run.save(update_fields=["state", "decided_at", "summary"])
    record(by=by, verb="season planned", subject=run, asked=run.summary["asked"])
    others = PlanRun.objects.filter(state=State.PROPOSED, first_day__lte=run.last_day, last_day__gte=run.first_day)
    discarded = list(others.values_list("pk", flat=True))
    others.update(state=State.DISCARDED, decided_at=run.decided_at)
    return discarded


def _read(run: PlanRun) -> SeasonInput:
    return season_input(run, today=firm_today(), technicians=planning_technicians())


class _Pulse:
    """Tells the row that the planner lives and how far it is; hears the wish to stop and the time limit."""

    def __init__(self, run: PlanRun, started: float, progress: Report | None, stop: Stop | None) -> None:
        self.run, self.progress, self.asked_stop = run, progress, stop
        self.ends = started + run.seconds if run.seconds else None
        self.next_beat, self.stopped = 0.0, False
        self.news: dict[str, Any] = {}

    def stop(self) -> bool:
        self._beat()
        late = self.ends is not None and time.monotonic() > self.ends
        self.stopped = self.stopped or late or bool(self.asked_stop and self.asked_stop())
        return self.stopped

    def report(self, step: core.Progress) -> None:
        state = {
            "stage": step.stage,
            "done": step.done,
            "total": step.total,
            "unplaced": step.unplaced,
            "drive_min": round(step.drive_min),
        }
        self.news = {"progress": state}
        self._beat()
        if self.progress:
            self.progress(step)

    def _beat(self) -> None:
        """Once in a while, with the latest news: `stop` is asked far oftener than a step is told."""
        if time.monotonic() < self.next_beat:
            return
        self.next_beat = time.monotonic() + HEARTBEAT_S
        rows = PlanRun.objects.filter(pk=self.run.pk)
        rows.update(heard_at=timezone.now(), **self.news)
        self.stopped = self.stopped or rows.filter(stop_asked=True).exists()
