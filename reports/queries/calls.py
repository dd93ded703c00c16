"""Clients to be called: an accepted new plan broke what they count on, and no mail told them."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from jobs.models import ClientTold, Replan, Visit
from reports.models import AppointmentMail
from reports.queries.appointments import Kind, Told, said, standing, to_tell

CALL_DAYS = 14  # common practice, no source: after that the client has noticed or somebody has spoken to them
NO_DAY, CANCELLED = "no day yet", "cancelled"
LOST = (AppointmentMail.State.FAILED, AppointmentMail.State.BOUNCED)


@dataclass(frozen=True)
class Call:
    """One client to call about one visit: in words what they were told, what stands now, and what broke it."""

    visit: Visit
    told: str
    now: str
    replan: Replan
    day: dt.date  # the day that the client counts on, as far as it is known


def calls_due(*, now: dt.datetime, visit: Visit | None = None) -> list[Call]:
    """Whom to call about the new plans of the last days, the earliest appointment first; of one visit or of all.

    Nobody is called whom a mail tells, whom somebody has called since, or to whom somebody promised the visit again.
    """
    broken = _broken(now)
    wanted = broken if visit is None else broken.keys() & {visit.pk}
    states = [Visit.State.OPEN, Visit.State.PLANNED, Visit.State.CANCELLED]
    rows = Visit.objects.filter(pk__in=wanted, state__in=states).order_by("pk")
    visits = list(rows.select_related("site__client", "technician__technician_profile"))
    mails, spoken = _mails(visits), _spoken(visits)
    calls = [_call(row, broken[row.pk], mails[row.pk], spoken[row.pk]) for row in visits]
    return sorted((call for call in calls if call), key=lambda call: (call.day, call.visit.pk))


def _broken(now: dt.datetime) -> Mapping[int, list[Replan]]:
    """By visit the accepted plans, oldest first, that broke its promise. Who cancelled needs no call about that."""
    since = now - dt.timedelta(days=CALL_DAYS)
    found: dict[int, list[Replan]] = defaultdict(list)
    for replan in Replan.objects.filter(state=Replan.State.ACCEPTED, decided_at__gte=since).order_by("decided_at"):
        own = replan.detail.get("visit") if replan.upset == Replan.Upset.CANCELLED else None
        for pk in replan.proposal["tell_clients"]:
            if pk != own:
                found[pk].append(replan)
    return found


def _mails(visits: Sequence[Visit]) -> Mapping[int, list[AppointmentMail]]:
    """By visit the mails about it, reminders left out, in the order in which they were written."""
    found: dict[int, list[AppointmentMail]] = defaultdict(list)
    for mail in AppointmentMail.objects.news().filter(visit__in=visits).order_by("sequence"):
        found[mail.visit_id].append(mail)
    return found


def _spoken(visits: Sequence[Visit]) -> Mapping[int, list[ClientTold]]:
    """By visit when somebody said something to its client, oldest first."""
    found: dict[int, list[ClientTold]] = defaultdict(list)
    for row in ClientTold.objects.filter(visit__in=visits).order_by("at", "pk"):
        found[row.visit_id].append(row)
    return found


def _call(
    visit: Visit, replans: Sequence[Replan], mails: Sequence[AppointmentMail], spoken: Sequence[ClientTold]
) -> Call | None:
    heard = spoken[-1].at if spoken else None
    open_ones = [replan for replan in replans if heard is None or _decided(replan) > heard]
    if not open_ones or _mail_tells(visit, mails, open_ones[-1]):
        return None
    first = open_ones[0]
    told, day = _known(visit, first, mails, spoken)
    return Call(visit, told, _now(visit), open_ones[-1], day or first.first_day)


def _decided(replan: Replan) -> dt.datetime:
    assert replan.decided_at is not None  # the database keeps no accepted plan without it
    return replan.decided_at


def _mail_tells(visit: Visit, mails: Sequence[AppointmentMail], replan: Replan) -> bool:
    """Whether a mail told the change, or the sweep sends one within the minute, as it does after an earlier mail."""
    if not mails or mails[-1].state in LOST:
        return False
    mail = mails[-1]
    return mail.created_at >= _decided(replan) or bool(mail.kind != Kind.CANCELLATION and visit.site.client.email)


def _known(
    visit: Visit, replan: Replan, mails: Iterable[AppointmentMail], spoken: Iterable[ClientTold]
) -> tuple[str, dt.date | None]:
    """What the client was told last before this plan, in words, with its day."""
    decided = _decided(replan)
    arrived = [mail for mail in mails if mail.created_at < decided and mail.state not in LOST]
    mail = arrived[-1] if arrived else None
    before = [row for row in spoken if row.at < decided and (row.on_date or row.words)]
    if before and (mail is None or before[-1].at > mail.created_at):
        row = before[-1]
        hours = Told(row.on_date, row.from_time, row.until_time).words if row.on_date else ""
        return row.words or hours, row.on_date
    if mail is not None:
        return (CANCELLED, mail.on_date) if mail.kind == Kind.CANCELLATION else (said(mail).words, mail.on_date)
    # Promised when the audit did not keep the day yet: the place that the plan took away.
    lines = replan.proposal.get("moves", [])
    return next((line["before"] for line in lines if line["visit"] == visit.pk), ""), None


def _now(visit: Visit) -> str:
    if visit.state == Visit.State.CANCELLED:
        return CANCELLED
    if visit.state == Visit.State.OPEN:
        return NO_DAY
    stands = standing(visit)
    return stands.words if stands else f"{to_tell(visit).words} (planned, not promised)"
