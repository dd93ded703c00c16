"""A small price list, two repair proposals (one waiting, one accepted), one work record. All prices are invented."""

import datetime as dt
from decimal import Decimal
from typing import Final

from config.demo.dice import dealt_uuid, dice
from jobs.actions.proposals import VALID_DAYS, Answer, answer, new_proposal
from jobs.actions.work import save_work
from jobs.models import Fault, PriceItem, Proposal, ProposalLine, Visit, VisitKind, WorkPart, WorkRecord
from reports.actions.proposals import send_proposal
from reports.models import Delivery
from sites.core.units import FOOT_M
from sites.models import Firm, Site, User

LABOUR: Final = "Service technician"
TRAVEL: Final = "Call-out and travel"
TESTER: Final = "Backflow assembly test by a licensed tester"
PRICES: Final = (
    (LABOUR, "hour", "68.00"),
    (TRAVEL, "piece", "45.00"),
    ("Coil, 24 V", "piece", "38.50"),
    ("Diaphragm", "piece", "24.90"),
    ("Watertight splice, pair", "piece", "4.20"),
    ("Head with nozzle", "piece", "21.75"),
    ("Coupling", "piece", "9.60"),
    ("PE pipe", "metre", "3.15"),
    ("Filter insert", "piece", "13.40"),
    ("Backup battery", "piece", "11.90"),
    (TESTER, "piece", "140.00"),
)
Kind = Fault.Kind
# Hours and parts that usually repair it; any other fault is an hour of looking.
REPAIRS: Final[dict[str, tuple[str, tuple[tuple[str, str], ...]]]] = {
    Kind.HIGH_RESISTANCE: ("0.75", (("Watertight splice, pair", "2"),)),
    Kind.COIL_OPEN: ("0.5", (("Coil, 24 V", "1"),)),
    Kind.COIL_SHORT: ("0.5", (("Coil, 24 V", "1"),)),
    Kind.VALVE_WEEPS: ("0.75", (("Diaphragm", "1"),)),
    Kind.VALVE_STUCK_SHUT: ("0.75", (("Diaphragm", "1"),)),
    Kind.PIPE_LEAK: ("1.5", (("Coupling", "2"), ("PE pipe", "1.5"))),
    Kind.HEAD_BROKEN: ("0.5", (("Head with nozzle", "1"),)),
    Kind.HEAD_BLOCKED: ("0.25", ()),
    Kind.LOW_PRESSURE: ("0.5", (("Filter insert", "1"),)),
    Kind.CONTROLLER: ("0.5", (("Backup battery", "1"),)),
    Kind.BACKFLOW: ("0.5", ((TESTER, "1"),)),
}
SENT_DAYS_AGO, ANSWERED_DAYS_AGO = 4, 2


def make_repairs(*, seed: int, today: dt.date, by: User) -> None:
    items = {name: _item(name, unit, Decimal(price)) for name, unit, price in PRICES}
    PriceItem.objects.bulk_create(items.values())
    sites = _sites_to_repair()
    if len(sites) > 1:
        _proposal(sites[0], items, today, by)
        _accept(_proposal(sites[1], items, today, by), seed, today)
    _work_record(items, by)


def _item(name: str, unit: str, price: Decimal) -> PriceItem:
    """An item as the firm sells it: pipe by the foot where it measures in feet."""
    if unit == "metre" and Firm.current().units == Firm.Units.US:
        unit, price = "foot", (price * Decimal(FOOT_M)).quantize(Decimal("0.01"))
    return PriceItem(name=name, unit=unit, price=price)


def _sites_to_repair() -> list[Site]:
    """Sites with open faults and a client to write to, the newest fault first; those nobody will visit come first."""
    visited = set(Visit.objects.to_do().filter(kind=VisitKind.REPAIR).values_list("site_id", flat=True))
    faults = Fault.objects.open().exclude(site__client__email="").select_related("site__client")
    sites = list({fault.site_id: fault.site for fault in faults.order_by("-found_at", "uuid")}.values())
    return sorted(sites, key=lambda site: site.pk in visited)


def _proposal(site: Site, items: dict[str, PriceItem], today: dt.date, by: User) -> Proposal:
    lines = [_line(items[TRAVEL], "1")]
    for fault in Fault.objects.open().filter(site=site).order_by("found_at", "uuid")[:3]:
        hours, parts = REPAIRS.get(fault.kind, ("1", ()))
        lines += [_line(items[name], number, fault) for name, number in ((LABOUR, hours), *parts)]
    sent_on = today - dt.timedelta(days=SENT_DAYS_AGO)
    draft = new_proposal(site=site, lines=lines, by=by, valid_until=sent_on + dt.timedelta(days=VALID_DAYS))
    document = send_proposal(proposal=draft, recipients=[site.client.email], by=by, now=_noon(sent_on), today=sent_on)
    # As sent some days ago: nothing of the demo waits to be mailed.
    Delivery.objects.filter(document=document).update(state=Delivery.State.SENT, attempts=1, sent_at=_noon(sent_on))
    assert document.proposal
    return document.proposal


def _line(item: PriceItem, quantity: str, fault: Fault | None = None) -> ProposalLine:
    return ProposalLine(
        item=item, text=item.name, quantity=Decimal(quantity), unit=item.unit, unit_price=item.price, fault=fault
    )


def _accept(proposal: Proposal, seed: int, today: dt.date) -> None:
    answered_on = today - dt.timedelta(days=ANSWERED_DAYS_AGO)
    client = proposal.site.client
    name, note = client.contact_name or client.name, "Please ring before you come."
    said = Answer(accepted=True, name=name, note=note, now=_noon(answered_on), today=answered_on)
    answered = answer(proposal=proposal, said=said)
    Visit.objects.filter(proposal=answered).update(uuid=dealt_uuid(dice(seed, "accepted proposal")))


def _work_record(items: dict[str, PriceItem], by: User) -> None:
    """What was used on the latest repair, not billed yet."""
    done = Visit.objects.filter(kind=VisitKind.REPAIR, state=Visit.State.FINISHED)
    visit = done.order_by("-started_at", "uuid").first()
    if visit is None or not visit.started_at or not visit.finished_at:
        return
    minutes = round((visit.finished_at - visit.started_at).total_seconds() / 60)
    parts = [
        WorkPart(
            item=items[name],
            text=name,
            quantity=Decimal(number),
            unit=items[name].unit,
            unit_price=items[name].price,
        )
        for fault in visit.faults_repaired.order_by("found_at", "uuid")
        for name, number in REPAIRS.get(fault.kind, ("1", ()))[1]
    ]
    save_work(work=WorkRecord(visit=visit, labour_min=minutes, labour_item=items[LABOUR]), parts=parts, by=by)


def _noon(day: dt.date) -> dt.datetime:
    return dt.datetime.combine(day, dt.time(19), tzinfo=dt.UTC)  # by the firm's clock
