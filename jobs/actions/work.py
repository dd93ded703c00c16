"""The work record of a repair visit: labour and parts, until the office marks it billed."""

import datetime as dt
from collections.abc import Sequence

from django.core.exceptions import ValidationError
from django.db import transaction

from jobs.models import Visit, VisitKind, WorkPart, WorkRecord
from sites.actions import register
from sites.actions.audit import record
from sites.models import Firm, User


@transaction.atomic
def save_work(
    *,
    work: WorkRecord,
    parts: Sequence[WorkPart],
    removed: Sequence[WorkPart] = (),
    by: User | None,
) -> WorkRecord:
    """Keep what was typed. `parts` are those added or changed. ValidationError once it is billed, or where the visit
    is no repair or has not started."""
    visit = Visit.objects.select_for_update().get(pk=work.visit_id)  # two people on one visit queue here
    if visit.kind != VisitKind.REPAIR:
        raise ValidationError("Only a repair visit has a work record.")
    if visit.started_at is None:
        raise ValidationError("Start the visit before you write down what was used.")
    there = WorkRecord.objects.filter(visit=visit).first()
    if there is not None and there.billed_at:
        raise ValidationError("This work record is billed: it stays as it is.")
    if work.pk is None and there is not None:
        raise ValidationError("Somebody else has begun this work record. Open the page again and add yours.")
    work.currency = work.currency or Firm.current().currency
    if work.labour_item and work.labour_price is None:
        work.labour_price = work.labour_item.price
    register.save(instance=work, by=by)
    for part in removed:
        register.delete(instance=part, by=by)
    position = max([part.position for part in work.parts.all()], default=0)
    for part in parts:
        part.record = work
        if part.pk is None:
            position += 1
            part.position = position
        register.save(instance=part, by=by)
    return work


def unpriced(work: WorkRecord) -> list[str]:
    """What still has no price, a sentence each."""
    said = ["The work time has no price per hour."] if work.labour_amount is None else []
    return said + [f"{part.text} has no price." for part in work.parts.all() if part.amount is None]


@transaction.atomic
def mark_billed(*, work: WorkRecord, now: dt.datetime, by: User) -> None:
    """Lock the record: it was billed. ValidationError while something has no price; repeating it changes nothing."""
    Visit.objects.select_for_update().get(pk=work.visit_id)
    row = WorkRecord.objects.get(pk=work.pk)
    if found := unpriced(row):
        raise ValidationError(found)
    if WorkRecord.objects.filter(pk=row.pk, billed_at=None).update(billed_at=now, billed_by=by):
        record(by=by, verb="work billed", subject=row, total=str(row.total))


@transaction.atomic
def reopen(*, work: WorkRecord, by: User) -> None:
    """Take the mark back: it was set by mistake."""
    if WorkRecord.objects.filter(pk=work.pk, billed_at__isnull=False).update(billed_at=None, billed_by=None):
        record(by=by, verb="work reopened", subject=work)
