"""Proposals by status, and what one needs to be shown or sent."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from django.db.models import Prefetch, Q, QuerySet

from jobs.models import Fault, PriceItem, Proposal, ProposalLine, Visit
from jobs.models.team import OfficeRows
from jobs.queries.faults import FaultRow, fault_rows, with_place
from sites.models import Site, User

State = Proposal.State
STANDINGS: Final = (
    (str(State.SENT), "waiting for the client"),
    (str(State.ACCEPTED), "accepted"),
    (str(State.DECLINED), "declined"),
    (Proposal.EXPIRED, "expired"),
    (str(State.DRAFT), "draft"),
    (str(State.SUPERSEDED), "superseded"),
    (str(State.WITHDRAWN), "withdrawn"),
)
STANDING_WORDS: Final = dict(STANDINGS)


def with_lines(rows: OfficeRows[Proposal]) -> OfficeRows[Proposal]:
    lines = ProposalLine.objects.select_related("item", "fault")
    return rows.select_related("site__client", "visit").prefetch_related(Prefetch("lines", lines))


def in_standing(rows: OfficeRows[Proposal], standing: str, today: dt.date) -> OfficeRows[Proposal]:
    """Proposals that stand so today: the same rule as `Proposal.standing`, for the database."""
    if standing == Proposal.EXPIRED:
        return rows.filter(state=State.SENT, valid_until__lt=today)
    if standing == State.SENT:
        return rows.filter(state=State.SENT, valid_until__gte=today)
    return rows.filter(state=standing) if standing else rows


@dataclass(frozen=True)
class ProposalRow:
    proposal: Proposal
    standing: str
    words: str


def proposal_rows(rows: Iterable[Proposal], today: dt.date) -> list[ProposalRow]:
    """`rows` come with their lines: `with_lines`."""
    return [row_of(proposal, today) for proposal in rows]


def row_of(proposal: Proposal, today: dt.date) -> ProposalRow:
    standing = proposal.standing(today)
    return ProposalRow(proposal, standing, STANDING_WORDS[standing])


def standing_counts(today: dt.date) -> list[tuple[str, str, int]]:
    """Each standing with its words and how many proposals stand so."""
    return [
        (standing, words, in_standing(Proposal.objects.all(), standing, today).count())
        for standing, words in STANDINGS
    ]


def faults_to_repair(proposal: Proposal) -> list[FaultRow]:
    """The faults that the proposal's lines repair."""
    faults = Fault.objects.filter(proposal_lines__proposal=proposal)
    return fault_rows(with_place(faults.distinct().order_by("found_at", "pk")))


def offered_items(*kept: int | None) -> QuerySet[PriceItem]:
    """Items that can be chosen: active ones, and those a line has already."""
    return PriceItem.objects.filter(Q(active=True) | Q(pk__in=[pk for pk in kept if pk]))


def choosable_faults(site: Site, *kept: int | None) -> QuerySet[Fault]:
    """Faults a line can repair: open ones of the site, and those a line names already."""
    faults = Fault.objects.filter(site=site).filter(Q(state=Fault.State.OPEN) | Q(pk__in=[pk for pk in kept if pk]))
    return faults.select_related("valve__controller", "zone", "controller", "supply", "site")


def rivals(proposal: Proposal, fault_ids: set[int], today: dt.date) -> dict[int, Proposal]:
    """By fault: another proposal that is waiting or was accepted for it, so that nothing is ordered twice.

    The proposal this one supersedes does not count; nor does an accepted one whose visit is over or cancelled.
    """
    waiting = Q(proposal__state=State.SENT, proposal__valid_until__gte=today)
    ordered = Q(proposal__state=State.ACCEPTED) & ~Q(
        proposal__visit__state__in=[Visit.State.FINISHED, Visit.State.CANCELLED]
    )
    lines = (
        ProposalLine.objects.filter(waiting | ordered, fault__in=fault_ids)
        .exclude(proposal__in=[pk for pk in (proposal.pk, proposal.supersedes_id) if pk])
        .select_related("proposal")
    )
    return {line.fault_id: line.proposal for line in lines if line.fault_id}


def proposals_of(fault: Fault, user: User, today: dt.date) -> list[ProposalRow]:
    """Proposals with a line that repairs this fault, for those who may read prices."""
    rows = Proposal.objects.visible_to(user).filter(lines__fault=fault).distinct()
    return proposal_rows(with_lines(rows), today)
