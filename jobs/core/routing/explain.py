"""Why a visit could not be placed, and what would free it."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date

import numpy as np

from jobs.core.routing.clock import Bounds
from jobs.core.routing.season_model import Board, SeasonModel
from jobs.core.routing.season_terms import PlannableVisit, Remedy, TechnicianDay, Unplaced
from sites.core import writing

_MOST_OVERTIME_S = 3 * 3600
_REMEDIES = 3


def explain(model: SeasonModel, board: Board) -> Iterator[Unplaced]:
    """Each unplaced visit with its reason and up to three remedies of different kinds."""
    for v in sorted(board.unplaced):
        visit = model.visits[v]
        if model.allowed[v].any():
            yield _too_full(model, board, v)
        else:
            code, reason, remedies = _never_suits(visit, model.days)
            later = list(_later_deadline(model, board, v)) if code in ("window", "closed", "day") else []
            yield Unplaced(visit.key, code, reason, (*remedies, *later))


def _never_suits(visit: PlannableVisit, days: tuple[TechnicianDay, ...]) -> tuple[str, str, tuple[Remedy, ...]]:
    """The first rule that leaves no technician-day at all."""
    opens, due = visit.fixed_date or visit.window_opens, visit.fixed_date or visit.window_due
    span = (
        f"{writing.day_month(opens)}"
        if opens == due
        else f"between {writing.day_month(opens)} and {writing.day_month(due)}"
    )
    in_window = [d for d in days if opens <= d.date <= due]
    if not in_window:
        return "window", f"nobody works {span}", (Remedy("day", f"a working day {span}", on=due),)
    mine = [d for d in in_window if visit.fixed_technician in (None, d.technician)]
    if not mine:
        who = visit.fixed_technician or ""
        return (
            "technician",
            f"{who} does not work {span}",
            (Remedy("day", f"{who} working {span}, or another technician", who, due),),
        )
    skilled = [d for d in mine if visit.skills <= d.skills]
    if not skilled:
        needed = ", ".join(sorted(visit.skills))
        return (
            "skill",
            f"nobody who works {span} can do: {needed}",
            (Remedy("skill", f"a technician for {needed} {span}"),),
        )
    return "closed", f"the site is closed on every working day {span}", ()


def _too_full(model: SeasonModel, board: Board, v: int) -> Unplaced:
    """It suits some days but fits into none: is it the day itself, or the other visits?"""
    visit = model.visits[v]
    days = np.flatnonzero(model.allowed[v]).tolist()
    alone = np.flatnonzero(model.possible[v]).tolist()
    remedies = [
        *_spare(model, board, v, alone),
        *_overtime(model, board, v, days),
        *_later_deadline(model, board, v),
    ]
    if not alone:
        text = f"{visit.service_min} min of service with the drive fit no shift and opening hours, even alone"
        if visit.fixed_time_min is not None:
            remedies.insert(0, Remedy("time", "another promised time"))
        return Unplaced(visit.key, "too long", text, tuple(remedies[:_REMEDIES]))
    if len(remedies) < _REMEDIES:
        last = min(visit.window_due, max(model.days[d].date for d in days))
        remedies.append(Remedy("day", f"an extra working day by {writing.day_month(last)}", on=last))
    text = "the only day it could go to is full"
    if len(alone) > 1:
        text = f"all {len(alone)} days it could go to are full"
    return Unplaced(visit.key, "capacity", text, tuple(remedies[:_REMEDIES]))


def _spare(model: SeasonModel, board: Board, v: int, days: list[int]) -> Iterator[Remedy]:
    """A day where only the spare time for call-outs stands in the way."""
    for d in days:
        if model.cheapest_insertion(v, d, board.routes[d], cap_s=2**40) is not None:
            who, on = model.days[d].technician, model.days[d].date
            yield Remedy("spare", f"use spare time of {who} on {writing.day_month(on)}", who, on)
            return


def _overtime(model: SeasonModel, board: Board, v: int, days: list[int]) -> Iterator[Remedy]:
    """The day with the least overtime that would do."""
    found: list[tuple[int, int]] = []
    for d in days:
        longer: Bounds = replace(model.bounds[d], end_s=model.bounds[d].end_s + _MOST_OVERTIME_S)
        order = board.routes[d]
        tried = [model.finish_s(d, (*order[:i], v, *order[i:]), longer) for i in range(len(order) + 1)]
        finish = min((f for f in tried if f is not None), default=0)
        if finish > model.bounds[d].end_s:
            found.append((finish - model.bounds[d].end_s, d))
    if found:
        over_s, d = min(found)
        who, on, minutes = model.days[d].technician, model.days[d].date, -(-over_s // 60)
        yield Remedy("overtime", f"{minutes} min overtime of {who} on {writing.day_month(on)}", who, on, minutes)


def _later_deadline(model: SeasonModel, board: Board, v: int) -> Iterator[Remedy]:
    """The first day after the deadline with room."""
    visit = model.visits[v]
    if visit.fixed_date is not None:
        return
    patient = replace(visit, window_due=date.max)
    for d, day in enumerate(model.days):
        if day.date <= visit.window_due or not patient.suits(day):
            continue
        if model.cheapest_insertion(v, d, board.routes[d]) is not None:
            late = (day.date - visit.window_due).days
            text = f"a deadline {late} days later ({writing.day_month(day.date)}, {day.technician} has room)"
            yield Remedy("deadline", text, day.technician, day.date)
            return
