"""Checklists: the versions every installation begins with, and answers to single steps."""

import datetime as dt
from collections.abc import Iterable, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils import timezone

from jobs.core.cautions import air_pressure_problem
from jobs.core.checklist_editions import EDITION
from jobs.core.checklists import AIR_PRESSURE_LIMIT, DEFAULT_CHECKLISTS, PIPE_MATERIAL, Step, problems_of
from jobs.models import ChecklistAnswer, ChecklistItem, ChecklistTemplate, Visit
from jobs.queries.checklists import ChecklistRow, checklist_rows, has_drip, steps_of
from sites.actions.audit import record
from sites.core.units import format_quantity
from sites.models import Firm, User


def ensure_default_checklists(template_model: Any = ChecklistTemplate, item_model: Any = ChecklistItem) -> None:
    """Make version 1 of each kind that has no checklist at all. Safe to repeat; never touches an existing version.

    A migration passes its historical models, which may be older than the editions.
    """
    edition = {"edition": EDITION} if hasattr(template_model, "edition") else {}
    for kind, steps in DEFAULT_CHECKLISTS.items():
        if template_model.objects.filter(kind=kind).exists():
            continue
        template = template_model.objects.create(kind=kind, version=1, current=True, **edition)
        add_steps(template, steps, item_model)


def add_steps(template: ChecklistTemplate, steps: Sequence[Step], item_model: Any = ChecklistItem) -> None:
    """Write the rows of a version that has none yet."""
    item_model.objects.bulk_create(
        item_model(
            template=template,
            position=position,
            key=step.key,
            text=step.text,
            caution=step.caution,
            answer=step.answer,
            unit_kind=step.unit_kind,
            options=[list(option) for option in step.options],
            gate=step.gate,
        )
        for position, step in enumerate(steps, start=1)
    )


def current_checklist(kind: str) -> ChecklistTemplate:
    """The version that visits of `kind` start with; made on the spot where an installation has none yet."""
    found = ChecklistTemplate.objects.filter(kind=kind, current=True).first()
    if found is None:
        ensure_default_checklists()
        found = ChecklistTemplate.objects.get(kind=kind, current=True)
    return found


@transaction.atomic
def save_checklist(*, kind: str, steps: Sequence[Step], based_on: int, by: User) -> ChecklistTemplate:
    """Make `steps` the next version of a kind's checklist; visits under way keep the one they started with.

    The same steps again make no new version, unless the office has just been shown what a new edition of the safety
    steps changed. ValidationError if a safety step is missing or out of order, or
    somebody saved another version since `based_on`.
    """
    problems = problems_of(kind, steps)
    if problems:
        raise ValidationError(problems)
    before = ChecklistTemplate.objects.select_for_update().get(kind=kind, current=True)
    if before.version != based_on:
        raise ValidationError(
            f"Version {before.version} was saved by somebody else since you opened it. What you typed is still "
            "here: open the checklist in another window and bring your changes into it."
        )
    if steps_of(before) == tuple(steps) and before.edition == EDITION:
        return before
    before.current = False
    before.save(update_fields=["current"])
    made = ChecklistTemplate.objects.create(kind=kind, version=before.version + 1, current=True, edition=EDITION)
    add_steps(made, steps)
    record(by=by, verb="checklist changed", subject=made, version=made.version)
    return made


@transaction.atomic
def answer_step(
    *,
    visit: Visit,
    item: ChecklistItem,
    done: bool,
    number: float | None = None,
    text: str = "",
    by: User | None,
    answered_at: dt.datetime | None = None,
    late: bool = False,
) -> ChecklistAnswer:
    """Keep the answer to one step of a started visit. `number` is SI. `late`: the office adds it to a finished one.

    ValidationError if the visit is not under way, the step belongs to another checklist, an earlier gate is not
    done, or an air pressure limit is above what the pipe takes.
    """
    visit = Visit.objects.select_for_update().get(pk=visit.pk)
    if visit.state != Visit.State.STARTED and not (late and visit.state == Visit.State.FINISHED):
        raise ValidationError("Steps are answered while the visit is under way.")
    if item.template_id != visit.checklist_id:
        raise ValidationError("This step belongs to another checklist.")
    rows = {row.item.pk: row for row in checklist_rows(visit)}
    gate = rows[item.pk].closed_by
    if gate is not None and done:
        raise ValidationError(f"This step is closed until this one is done: {gate.text}")
    if item.key == AIR_PRESSURE_LIMIT and done:
        _check_air_pressure(visit, number, rows.values())
    answer, _ = ChecklistAnswer.objects.update_or_create(
        visit=visit,
        item=item,
        defaults={
            "done": done,
            "number": number,
            "text": text,
            "answered_at": answered_at or timezone.now(),
            "answered_by": by,
        },
    )
    if item.key == PIPE_MATERIAL:
        _reopen_air_pressure(visit, text)
    record(by=by, verb="checklist step answered", subject=visit, step=item.key, done=done, number=number, text=text)
    return answer


def _check_air_pressure(visit: Visit, limit_kpa: float | None, rows: Iterable[ChecklistRow]) -> None:
    if limit_kpa is None or limit_kpa <= 0:
        raise ValidationError({"number": "Enter the air pressure limit, above 0."})
    answered = next((row.answer.text for row in rows if row.item.key == PIPE_MATERIAL and row.answer), "")
    drip = has_drip(visit.site_id)
    highest = air_pressure_problem(limit_kpa, "drip" if drip else answered)
    if highest is not None:
        shown = format_quantity(highest, "pressure", Firm.current().units)
        what = "this site's drip zones" if drip else "this pipe"
        raise ValidationError({"number": f"Too high for {what}: at most {shown} by common practice."})


def _reopen_air_pressure(visit: Visit, material: str) -> None:
    """A limit confirmed for stronger pipe must be confirmed again for weaker pipe."""
    confirmed = ChecklistAnswer.objects.filter(visit=visit, item__key=AIR_PRESSURE_LIMIT, done=True).first()
    weakest = "drip" if has_drip(visit.site_id) else material
    if confirmed and confirmed.number is not None and air_pressure_problem(confirmed.number, weakest) is not None:
        confirmed.done = False
        confirmed.save(update_fields=["done"])
