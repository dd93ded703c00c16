"""Labour and parts of a repair: written down on the phone, priced by the office, locked when billed, exported."""

import csv
import datetime as dt
import io
from decimal import Decimal

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.core.money import labour_amount, line_amount, total
from jobs.models import WorkPart, WorkRecord
from sites.models import AuditEntry
from tests import factories

BEGAN = dt.datetime(2026, 6, 10, 16, 0, tzinfo=dt.UTC)
JUNE = "first_day=2026-06-01&last_day=2026-06-30"


@pytest.fixture
def visit(site, technician):
    return factories.VisitFactory(
        site=site, kind="repair", technician=technician, planned_on=BEGAN.date(), state="started", started_at=BEGAN
    )


@pytest.fixture
def labour(firm):
    return factories.PriceItemFactory(name="Technician", unit="hour", price=Decimal("68.00"))


@pytest.fixture
def coil(firm):
    return factories.PriceItemFactory(name="Coil", price=Decimal("38.50"))


def typed(labour_min, parts=(), *, stored=0, **more) -> dict[str, str]:
    data = {"parts-TOTAL_FORMS": str(len(parts)), "parts-INITIAL_FORMS": str(stored), "labour_min": str(labour_min)}
    data |= {"labour_item": "", "labour_price": "", "note": ""} | more
    for number, part in enumerate(parts):
        part = {"quantity": "1", "unit": "piece", "text": "", "item": "", "unit_price": ""} | part
        data |= {f"parts-{number}-{name}": str(value) for name, value in part.items()}
    return data


@pytest.fixture
def record(client, visit, technician, labour, coil):
    """50 minutes, two coils of the list and an elbow that is not on it, as the technician wrote it."""
    client.force_login(technician)
    parts = [{"item": coil.pk, "quantity": "2"}, {"text": "Elbow"}, {}]
    reply = client.post(
        f"/visits/{visit.pk}/labour-and-parts/", typed(50, parts, labour_item=labour.pk, note="Key returned")
    )
    assert reply.status_code == 302, reply.content.decode()
    return WorkRecord.objects.get()


def priced(client, record, office, labour, price="3.2"):
    """The office gives the elbow its price."""
    client.force_login(office)
    coils, elbow = record.parts.all()
    parts = [
        {"id": coils.pk, "item": coils.item_id, "text": coils.text, "quantity": 2, "unit_price": coils.unit_price},
        {"id": elbow.pk, "text": elbow.text, "unit_price": price},
    ]
    form = typed(50, parts, stored=2, labour_item=labour.pk, labour_price="68")
    return client.post(f"/visits/{record.visit_id}/labour-and-parts/", form)


def test_the_technician_writes_down_and_the_list_prices_it_unseen(client, record, visit):
    assert [(part.text, part.quantity, part.unit_price) for part in record.parts.all()] == [
        ("Coil", Decimal("2.00"), Decimal("38.50")),
        ("Elbow", Decimal("1.00"), None),
    ]
    assert (record.labour_min, record.labour_price) == (50, Decimal("68.00"))
    assert record.labour_amount == Decimal("56.67")  # 68 / 60 * 50 = 56.666…
    page = client.get(f"/visits/{visit.pk}/labour-and-parts/").content.decode()
    for price in ("38.50", "68.00", "56.67", "77.00", "USD", "Mark as billed"):
        assert price not in page, price
    assert "Coil" in page
    assert f'href="/visits/{visit.pk}/labour-and-parts/"' in client.get(f"/visits/{visit.pk}/").content.decode()


def test_a_technician_cannot_set_a_price(client, visit, technician, labour, coil):
    client.force_login(technician)
    parts = [{"item": coil.pk, "unit_price": "1"}]

    client.post(f"/visits/{visit.pk}/labour-and-parts/", typed(10, parts, labour_item=labour.pk, labour_price="1"))

    record = WorkRecord.objects.get()
    assert (record.labour_price, record.parts.get().unit_price) == (Decimal("68.00"), Decimal("38.50"))
    assert client.post(f"/visits/{visit.pk}/labour-and-parts/billed/").status_code == 403


def test_wrong_numbers_come_back_as_typed(client, visit, technician):
    client.force_login(technician)

    reply = client.post(
        f"/visits/{visit.pk}/labour-and-parts/", typed("an hour", [{"text": "Elbow", "quantity": "some"}])
    )

    page = reply.content.decode()
    assert reply.status_code == 422
    for beside in ("labour_min", "parts-0-quantity"):
        assert f'id="id_{beside}_error"' in page
    assert 'value="an hour"' in page
    assert 'value="some"' in page
    assert not WorkRecord.objects.exists()


def test_only_a_repair_that_has_begun_has_a_work_record(client, site, technician, visit):
    client.force_login(technician)
    startup = factories.VisitFactory(site=site, technician=technician)
    assert client.get(f"/visits/{startup.pk}/labour-and-parts/").status_code == 404
    waiting = factories.VisitFactory(site=site, kind="repair", technician=technician, planned_on=BEGAN.date())

    reply = client.post(f"/visits/{waiting.pk}/labour-and-parts/", typed(10))

    assert reply.status_code == 422
    assert "Start the visit" in reply.content.decode()


def test_it_cannot_be_billed_while_a_price_is_missing_and_is_locked_after(client, record, office, labour, technician):
    address = f"/visits/{record.visit_id}/labour-and-parts/"
    client.force_login(office)
    assert "Elbow has no price" in client.get(address).content.decode()
    client.post(f"{address}billed/")
    assert WorkRecord.objects.get().billed_at is None

    assert priced(client, record, office, labour).status_code == 302
    client.post(f"{address}billed/")

    billed = WorkRecord.objects.get()
    assert (billed.billed_by, billed.total) == (office, Decimal("136.87"))  # 56.67 + 77.00 + 3.20
    for person in (technician, office):
        client.force_login(person)
        reply = client.post(address, typed(999))
        assert reply.status_code == 409
        assert "it stays as it is" in reply.content.decode()
    assert WorkRecord.objects.get().labour_min == 50
    client.force_login(technician)
    assert "136.87" not in client.get(address).content.decode()


def test_a_page_opened_before_it_was_billed_changes_nothing(client, record, office, labour):
    from django.core.exceptions import ValidationError

    from jobs.actions.work import save_work

    priced(client, record, office, labour)
    stale = WorkRecord.objects.get()
    client.post(f"/visits/{record.visit_id}/labour-and-parts/billed/")
    stale.labour_min = 999

    with pytest.raises(ValidationError, match="billed"):
        save_work(work=stale, parts=[], by=office)
    assert WorkRecord.objects.get().labour_min == 50


def test_the_list_asks_the_database_the_same_for_one_and_for_many(client, record, office, site, labour):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client.force_login(office)

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            client.get(f"/billing/?{JUNE}")
            client.get(f"/billing/csv/?{JUNE}")
        return len(queries)

    before = asked()
    for _ in range(3):
        visit = factories.VisitFactory(
            site=site, kind="repair", state="finished", started_at=BEGAN, finished_at=BEGAN
        )
        more = WorkRecord.objects.create(visit=visit, labour_min=5, labour_item=labour, currency="USD")
        more.parts.create(text="Elbow")
    assert asked() == before


def test_only_the_owner_takes_the_mark_back(client, record, office, owner, labour):
    priced(client, record, office, labour)
    address = f"/visits/{record.visit_id}/labour-and-parts/billed/"
    client.post(address)

    client.post(address, {"reopen": "1"})
    assert WorkRecord.objects.get().billed_at is not None
    client.force_login(owner)
    client.post(address, {"reopen": "1"})

    assert WorkRecord.objects.get().billed_at is None
    assert AuditEntry.objects.filter(verb__in=["work billed", "work reopened"]).count() == 2


def test_a_page_opened_before_somebody_began_the_record_overwrites_nothing(visit, record, labour):
    from django.core.exceptions import ValidationError

    from jobs.actions.work import save_work

    with pytest.raises(ValidationError, match="Somebody else has begun"):
        save_work(work=WorkRecord(visit=visit, labour_min=5), parts=[], by=None)
    assert WorkRecord.objects.get().labour_min == 50


def test_a_part_changed_by_the_technician_loses_the_price_of_the_old_one(client, record, office, labour, technician):
    priced(client, record, office, labour)
    client.force_login(technician)
    coils, elbow = record.parts.all()
    parts = [
        {"id": coils.pk, "item": coils.item_id, "text": coils.text, "quantity": 3},
        {"id": elbow.pk, "text": "Pump"},
    ]

    client.post(f"/visits/{record.visit_id}/labour-and-parts/", typed(50, parts, stored=2, labour_item=labour.pk))

    assert [(part.text, part.unit_price) for part in WorkPart.objects.order_by("pk")] == [
        ("Coil", Decimal("38.50")),
        ("Pump", None),
    ]


def test_another_technician_and_clients_are_kept_out(client, record, other_technician, client_user):
    for person in (other_technician, client_user):
        client.force_login(person)
        assert client.get(f"/visits/{record.visit_id}/labour-and-parts/").status_code in (403, 404)


def rows_of_csv(client) -> list[dict[str, str]]:
    reply = client.get(f"/billing/csv/?{JUNE}")
    assert reply["Content-Disposition"] == 'attachment; filename="work-2026-06-01-2026-06-30.csv"'
    return list(csv.DictReader(io.StringIO(reply.content.decode("utf-8-sig"))))


def test_the_files_hold_the_figures_of_the_rows(client, record, office, labour):
    priced(client, record, office, labour)
    client.post(f"/visits/{record.visit_id}/labour-and-parts/billed/")

    book = openpyxl.load_workbook(io.BytesIO(client.get(f"/billing/xlsx/?{JUNE}").content))

    lines = [dict(zip([cell.value for cell in book["Lines"][1]], row, strict=True)) for row in _values(book["Lines"])]
    told = [(row["Kind"], row["What"], row["Quantity"], row["Unit"], row["Amount"]) for row in lines]
    assert told == [
        ("work time", "Technician", 0.8333, "hour", 56.67),
        ("part", "Coil", 2, "piece", 77),
        ("part", "Elbow", 1, "piece", 3.2),
    ]
    assert {(row["Site"], row["Date"].date(), row["Currency"]) for row in lines} == {
        ("Hazel Court", dt.date(2026, 6, 10), "USD")
    }
    assert lines[0]["Billed on"] is not None
    [visit] = _values(book["Visits"])
    assert (visit[4], visit[5]) == (50, float(WorkRecord.objects.get().total))
    amounts = [Decimal(row["Amount"]) for row in rows_of_csv(client)]
    assert amounts == [Decimal("56.67"), Decimal("77.00"), Decimal("3.20")]
    page = client.get(f"/billing/?{JUNE}").content.decode()
    assert "136.87 USD" in page


def _values(sheet) -> list[tuple]:
    return list(sheet.iter_rows(min_row=2, values_only=True))


def test_an_open_price_leaves_its_cells_empty(client, record, office):
    client.force_login(office)

    rows = rows_of_csv(client)

    assert [row["Amount"] for row in rows] == ["56.67", "77.00", ""]
    assert "a price is missing" in client.get(f"/billing/?{JUNE}").content.decode()


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "@SUM(A1)", "\t=1", "＝1"])
def test_no_typed_text_becomes_a_formula(client, record, office, text):
    WorkPart.objects.filter(text="Elbow").update(text=text)
    client.force_login(office)

    book = openpyxl.load_workbook(io.BytesIO(client.get(f"/billing/xlsx/?{JUNE}").content))

    cell = book["Lines"].cell(row=4, column=8)
    assert cell.data_type == "s"
    assert cell.value.startswith("'") or not cell.value.startswith(("=", "+", "@"))
    assert rows_of_csv(client)[2]["What"].startswith("'")


def test_the_period_is_by_the_firm_s_clock_and_both_days_count(client, record, office):
    """BEGAN is 9 in the morning in Los Angeles; half past 23 there on 30 June is 1 July by UTC."""
    record.visit.started_at = dt.datetime(2026, 7, 1, 6, 30, tzinfo=dt.UTC)
    record.visit.save()
    client.force_login(office)

    assert len(rows_of_csv(client)) == 3
    assert client.get("/billing/csv/?first_day=2026-07-01&last_day=2026-07-31").content.decode().count("\n") == 1


@pytest.mark.parametrize("query", ["first_day=June&last_day=2026-06-30", "first_day=2026-06-30&last_day=2026-06-01"])
def test_a_wrong_period_is_told_beside_its_field(client, office, query):
    client.force_login(office)
    for address in ("/billing/", "/billing/xlsx/", "/billing/csv/"):
        reply = client.get(f"{address}?{query}")
        assert reply.status_code == 422
        assert 'class="error"' in reply.content.decode()


MONEY = st.decimals(0, 100_000, places=2)


@given(st.lists(st.tuples(st.decimals("0.01", 10_000, places=2), MONEY), max_size=20))
def test_a_total_is_the_sum_of_the_printed_lines(lines):
    amounts = [line_amount(quantity, price) for quantity, price in lines]

    assert f"{total(amounts):.2f}" == f"{sum((Decimal(f'{amount:.2f}') for amount in amounts), Decimal(0)):.2f}"
    assert all(abs(amount - q * p) <= Decimal("0.005") for amount, (q, p) in zip(amounts, lines, strict=True))


@given(st.integers(0, 6000), MONEY)
def test_labour_is_exact_to_half_a_cent(minutes, price):
    amount = labour_amount(minutes, price)

    assert amount is not None
    assert abs(amount * 60 - price * minutes) <= Decimal("0.30")
    assert labour_amount(minutes, None) is None
