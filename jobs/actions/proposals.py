"""A repair proposal's life: drafted, sent, then answered once, superseded or withdrawn.

What is sent never changes. Sending, answering, superseding and taking back each change the state by one conditional
update, so that of two that happen together one wins and the other is told.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Max

from jobs.actions.planning import add_visit
from jobs.models import Proposal, ProposalLine, SaleUnit, Visit
from jobs.queries.places import place_of
from jobs.queries.proposals import faults_to_repair, rivals, with_lines
from jobs.queries.service_minutes import REPAIR_MIN
from sites.actions import register
from sites.actions.audit import record
from sites.models import Firm, Site, User

State = Proposal.State
VALID_DAYS: Final = 30  # common practice, no source
REPAIR_WITHIN_DAYS: Final = 14  # common practice, no source
LONGEST_VISIT_MIN: Final = 480  # a longer repair is planned as several days by hand


class NotAnswerable(Exception):
    """The proposal cannot be answered any more. `standing` says where it stands instead."""

    def __init__(self, standing: str) -> None:
        super().__init__(standing)
        self.standing = standing


@transaction.atomic
def new_proposal(
    *, site: Site, lines: Sequence[ProposalLine], by: User | None, supersedes: Proposal | None = None, **words: Any
) -> Proposal:
    """A draft with the next number. `words` are valid_until and note. ValidationError by field."""
    # One at a time: two drafts made together get two numbers.
    firm = Firm.objects.select_for_update().order_by("pk").first() or Firm.current()
    last = Proposal.objects.aggregate(last=Max("number"))["last"] or 0
    proposal = Proposal(
        site=site, number=last + 1, currency=firm.currency, created_by=by, supersedes=supersedes, **words
    )
    register.save(instance=proposal, by=by)
    _write_lines(proposal, lines, by)
    return proposal


@transaction.atomic
def save_draft(
    *, proposal: Proposal, lines: Sequence[ProposalLine], removed: Sequence[ProposalLine] = (), by: User | None
) -> Proposal:
    """Change a draft. `lines` are all that stay, in order. ValidationError if it was sent since."""
    _draft(proposal)
    register.save(instance=proposal, by=by)
    for line in removed:
        register.delete(instance=line, by=by)
    _write_lines(proposal, lines, by)
    return proposal


def _write_lines(proposal: Proposal, lines: Sequence[ProposalLine], by: User | None) -> None:
    for position, line in enumerate(lines, start=1):
        if line.fault is not None and line.fault.site_id != proposal.site_id:
            raise ValidationError("A line repairs a fault of another site.")
        line.proposal, line.position = proposal, position
        register.save(instance=line, by=by)


def _draft(proposal: Proposal) -> Proposal:
    """The row, held until the transaction ends."""
    row = Proposal.objects.select_for_update().filter(pk=proposal.pk).first()
    if row is None or row.state != State.DRAFT:
        raise ValidationError(
            "This proposal was sent or discarded since you opened it. Nothing on this page was saved."
        )
    return row


@transaction.atomic
def discard_draft(*, proposal: Proposal, by: User) -> None:
    """Delete a draft; what was sent is never deleted."""
    _draft(proposal)
    record(by=by, verb="proposal discarded", subject=proposal, number=proposal.number)
    proposal.delete()


@transaction.atomic
def revise(*, proposal: Proposal, by: User, today: dt.date) -> Proposal:
    """A draft with the same lines that will supersede a sent proposal; the draft that is there already.

    The sent one stays open to the client until the new one goes out. ValidationError if it was accepted.
    """
    row = with_lines(Proposal.objects.select_for_update(of=("self",))).get(pk=proposal.pk)
    if hasattr(row, "successor"):
        return row.successor
    if row.state in (State.DRAFT, State.ACCEPTED):
        raise ValidationError("Only a proposal that was sent and not accepted can be superseded.")
    copies = [
        ProposalLine(
            item=line.item,
            text=line.text,
            quantity=line.quantity,
            unit=line.unit,
            unit_price=line.unit_price,
            fault=line.fault,
        )
        for line in row.lines.all()
    ]
    valid_until = max(row.valid_until, today + dt.timedelta(days=VALID_DAYS))
    return new_proposal(site=row.site, lines=copies, by=by, supersedes=row, valid_until=valid_until, note=row.note)


def problems(proposal: Proposal, today: dt.date) -> list[str]:
    """Why a draft cannot go out yet, a sentence each."""
    lines = list(proposal.lines.all())
    found = []
    if not lines:
        found.append("It has no line yet.")
    found += [
        f"Line {n}, {line.text}: the price is missing." for n, line in enumerate(lines, 1) if line.amount is None
    ]
    faults = {line.fault.pk: line.fault for line in lines if line.fault}
    if lines and not faults:
        found.append("No line repairs a fault. Choose the fault on at least one line.")
    found += [
        f"{fault.get_kind_display().capitalize()} is {fault.get_state_display()} by now."
        for fault in faults.values()
        if fault.state != fault.State.OPEN
    ]
    for fault_id, other in rivals(proposal, set(faults), today).items():
        words = "was accepted" if other.state == State.ACCEPTED else "is waiting for the client"
        found.append(f"{other} {words} for the same fault ({faults[fault_id].get_kind_display()}).")
    if proposal.valid_until < today:
        found.append("Its last day is past.")
    if proposal.supersedes and proposal.supersedes.state == State.ACCEPTED:
        found.append(f"The client has accepted {proposal.supersedes} since. Discard this draft.")
    if proposal.site.archived_at:
        found.append("The site is archived.")
    return found


@transaction.atomic
def mark_sent(*, proposal: Proposal, by: User | None, now: dt.datetime, today: dt.date) -> Proposal:
    """From now on it stays as it is and the client may answer; the one it supersedes cannot be answered any more.

    ValidationError with everything that is missing.
    """
    Site.objects.select_for_update().get(pk=proposal.site_id)  # two for one fault queue here
    _draft(proposal)
    if proposal.supersedes_id:  # held, so that an acceptance comes wholly before or wholly after
        Proposal.objects.select_for_update().get(pk=proposal.supersedes_id)
    row = with_lines(Proposal.objects.select_related("supersedes")).get(pk=proposal.pk)
    if found := problems(row, today):
        raise ValidationError(found)
    row.state, row.sent_at = State.SENT, now
    row.save(update_fields=["state", "sent_at"])
    record(by=by, verb="proposal sent", subject=row, number=row.number, total=str(row.total))
    if row.supersedes:
        changed = Proposal.objects.filter(pk=row.supersedes.pk, state=State.SENT).update(state=State.SUPERSEDED)
        if changed:
            record(by=by, verb="proposal superseded", subject=row.supersedes, successor=row.number)
    return row


@transaction.atomic
def withdraw(*, proposal: Proposal, by: User) -> None:
    """Take back a sent proposal that nobody has answered. ValidationError if somebody has."""
    if not Proposal.objects.filter(pk=proposal.pk, state=State.SENT).update(state=State.WITHDRAWN):
        raise ValidationError("Only a proposal that waits for an answer can be withdrawn.")
    record(by=by, verb="proposal withdrawn", subject=proposal)


@dataclass(frozen=True)
class Answer:
    """What a client says to a proposal, and when."""

    accepted: bool
    name: str
    note: str
    now: dt.datetime
    today: dt.date


@transaction.atomic
def answer(*, proposal: Proposal, said: Answer, by: User | None = None, **how: object) -> Proposal:
    """The client's answer, taken once. Accepted: exactly one repair visit waits to be planned. Declined: the faults
    stay open. `how` says for the audit where the answer came in.

    Raises NotAnswerable where it was answered, superseded or withdrawn before, or its last day is past;
    ValidationError where no visit can be made.
    """
    if not said.name.strip():
        raise ValidationError({"name": "Say who answers."})
    taken = Proposal.objects.filter(pk=proposal.pk, state=State.SENT, valid_until__gte=said.today).update(
        state=State.ACCEPTED if said.accepted else State.DECLINED,
        answered_at=said.now,
        answered_by=said.name.strip(),
        answer_note=said.note.strip(),
    )
    row = with_lines(Proposal.objects.all()).get(pk=proposal.pk)
    if not taken:
        raise NotAnswerable(row.standing(said.today))
    verb = "proposal accepted" if said.accepted else "proposal declined"
    record(by=by, verb=verb, subject=row, name=row.answered_by, note=row.answer_note, **how)
    if said.accepted:
        row.visit = _order(row, said.today, by)
        row.save(update_fields=["visit"])
    return row


def _order(proposal: Proposal, today: dt.date, by: User | None) -> Visit:
    visit = Visit(
        site=proposal.site,
        opens_on=today,
        due_on=today + dt.timedelta(days=REPAIR_WITHIN_DAYS),
        service_min=_minutes(proposal),
        instructions=_instructions(proposal),
    )
    return add_visit(visit=visit, by=by)


def _minutes(proposal: Proposal) -> int:
    """The hours it is priced with, else what a repair usually takes."""
    hours = sum((line.quantity for line in proposal.lines.all() if line.unit == SaleUnit.HOUR), Decimal(0))
    return min(max(1, round(hours * 60)), LONGEST_VISIT_MIN) if hours else REPAIR_MIN


def _instructions(proposal: Proposal) -> str:
    """What was ordered, fault by fault, without prices."""
    said = [f"{proposal}, accepted by {proposal.answered_by}."]
    if proposal.answer_note:
        said.append(f"Client's note: {proposal.answer_note}")
    lines = list(proposal.lines.all())
    for row in faults_to_repair(proposal):
        fault = row.fault
        gone = "" if fault.state == fault.State.OPEN else f" ({fault.get_state_display()} since)"
        said.append(f"Fault: {fault.get_kind_display()}, {place_of(fault)}{gone}")
        said += [_work(line) for line in lines if line.fault_id == fault.pk]
    rest = [_work(line) for line in lines if line.fault_id is None]
    return "\n".join([*said, *(["Also:", *rest] if rest else [])])


def _work(line: ProposalLine) -> str:
    return f"- {line.quantity.normalize():f} {line.get_unit_display()}: {line.text}"
