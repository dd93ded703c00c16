"""Work records of a period, for billing elsewhere: as rows of a page and as tables for a spreadsheet."""

import datetime as dt
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.utils import timezone

from jobs.models import WorkRecord
from reports.documents.spreadsheet import Table, Value
from sites.models import Firm

LINE_HEAD = (
    "Date", "Site", "Client", "Billing address", "Technician", "Proposal", "Kind", "What", "Quantity", "Unit",
    "Price per unit", "Amount", "Currency", "Billed on",
)  # fmt: skip
VISIT_HEAD = ("Date", "Site", "Client", "Technician", "Work time, min", "Total", "Currency", "Billed on", "Remark")


def work_between(first: dt.date, last: dt.date) -> QuerySet[WorkRecord]:
    """Records of visits that began on these days, both included, by the firm's clock."""
    zone = ZoneInfo(Firm.current().time_zone)
    begin = dt.datetime.combine(first, dt.time(), zone)
    end = dt.datetime.combine(last + dt.timedelta(days=1), dt.time(), zone)
    rows = WorkRecord.objects.filter(visit__started_at__gte=begin, visit__started_at__lt=end)
    return (
        rows.select_related("visit__site__client", "visit__technician", "visit__proposal", "labour_item")
        .prefetch_related("parts__item")
        .order_by("visit__started_at", "pk")
    )


def work_tables(records: list[WorkRecord]) -> tuple[Table, Table]:
    """A row for each line, and a row for each visit with its total. An open price leaves its cells empty."""
    lines = [row for record in records for row in _lines(record)]
    visits = [
        (
            _day(record.visit.started_at),
            record.visit.site.name,
            record.visit.site.client.name,
            str(record.visit.technician or ""),
            record.labour_min,
            None if record.lacks_prices else record.total,
            record.currency,
            _day(record.billed_at),
            record.note,
        )
        for record in records
    ]
    empty = "No work was recorded in this period."
    return (
        Table("lines", "Lines", "", LINE_HEAD, tuple(lines), empty),
        Table("visits", "Visits", "", VISIT_HEAD, tuple(visits), empty),
    )


def _lines(record: WorkRecord) -> list[tuple[Value, ...]]:
    visit = record.visit
    client = visit.site.client
    proposal = getattr(visit, "proposal", None)
    before = (
        _day(visit.started_at),
        visit.site.name,
        client.name,
        client.billing_address,
        str(visit.technician or ""),
        proposal.number if proposal else None,
    )
    after = (record.currency, _day(record.billed_at))
    rows: list[tuple[Value, ...]] = []
    if record.labour_min:
        hours = round(Decimal(record.labour_min) / 60, 4)
        name = str(record.labour_item or "Work time")
        rows.append((*before, "work time", name, hours, "hour", record.labour_price, record.labour_amount, *after))
    for part in record.parts.all():
        unit = part.get_unit_display()
        rows.append((*before, "part", part.text, part.quantity, unit, part.unit_price, part.amount, *after))
    return rows


def _day(moment: dt.datetime | None) -> dt.date | None:
    return timezone.localdate(moment, timezone=ZoneInfo(Firm.current().time_zone)) if moment else None
