import datetime as dt
import json
import uuid

import pytest
from django.test import Client

from jobs.actions.checklists import current_checklist, save_checklist
from jobs.actions.field import VisitEnd, finish_visit, record_measurement, start_visit
from jobs.actions.inbox import apply_waiting, decide, import_export
from jobs.core.checklists import DEFAULT_CHECKLISTS
from jobs.models import Fault, InboxRecord, ValveMeasurement, Visit
from sites.models import Valve
from tests import factories
from tests.jobs.field_phone import Phone, jpeg

FAULT = {"kind": "pipe_leak", "severity": "water_loss"}


@pytest.fixture
def visit(site, technician):
    return factories.VisitFactory(
        site=site, kind="startup", technician=technician, planned_on=dt.date(2026, 4, 20), state="planned"
    )


@pytest.fixture
def phone(client, technician, visit):
    client.force_login(technician)
    return Phone(client, visit)


@pytest.fixture
def valve(site):
    return Valve.objects.filter(controller__site=site).first()


def states():
    return [(row.kind, row.state) for row in InboxRecord.objects.all()]


def test_a_record_is_taken_in_once_however_often_it_comes(phone, visit, valve):
    record = phone.record("visit_started")
    answers = [phone.send(record) for _ in range(3)]

    assert [answer.status_code for answer in answers] == [201, 200, 200]
    assert all(answer.json()["uuid"] == record["id"] for answer in answers)
    measured = phone.record("measurement", valve=valve.pk, coil_resistance_ohm=33.0)
    assert [phone.send(measured).status_code for _ in range(2)] == [201, 200]
    assert ValveMeasurement.objects.get().coil_resistance_ohm == 33.0
    assert InboxRecord.objects.count() == 2


def test_the_order_of_words_in_a_record_is_not_other_content(phone):
    record = phone.record("visit_started")
    phone.send(record)
    turned = {"id": record["id"], "body": dict(reversed(record["body"].items()))}

    assert phone.send(turned).status_code == 200


def test_the_same_id_with_other_content_is_kept_beside_the_first(phone, visit, valve):
    phone.put("visit_started")
    record = phone.record("measurement", valve=valve.pk, coil_resistance_ohm=33.0)
    phone.send(record)
    record["body"]["data"]["coil_resistance_ohm"] = 44.0

    assert [phone.send(record).status_code for _ in range(2)] == [409, 409]
    assert [(row.twin_of_id is None, row.state) for row in InboxRecord.objects.filter(kind="measurement")] == [
        (True, "applied"),
        (False, "for_person"),
    ]
    assert ValveMeasurement.objects.get().coil_resistance_ohm == 33.0


def test_what_cannot_be_read_is_refused_field_by_field_and_kept_for_the_office(phone, valve):
    phone.put("visit_started")
    answer = phone.put("measurement", valve=valve.pk, coil_resistance_ohm=-3, opens="maybe")

    assert answer.status_code == 400
    assert set(answer.json()["errors"]) == {"data.coil_resistance_ohm", "data.opens"}
    assert states()[1] == ("measurement", "refused")
    # A refused record does not stop those after it.
    assert phone.put("measurement", valve=valve.pk, voltage_v=24.0).json()["state"] == "applied"


@pytest.mark.parametrize(
    "body",
    [b"", b"{", b"[]", b"null", b'{"schema": 1}', b'{"data": NaN}', b"\xff\xfe", b'{"a": "\x00"}', b"[" * 60000],
)
def test_any_bytes_are_kept_and_answered_in_json(client, technician, body):
    client.force_login(technician)
    answer = client.put(f"/field/records/{uuid.uuid4()}", body, content_type="application/json")

    assert answer.status_code == 400
    assert answer.json()["errors"]
    assert InboxRecord.objects.get().state == "refused"


@pytest.mark.parametrize("text", ["\ud800", "a\x00b"])
def test_letters_no_database_keeps_are_refused(phone, text):
    phone.put("visit_started")
    assert phone.put("fault", **FAULT, description=text).status_code == 400


def test_a_stranger_is_told_to_sign_in_and_never_sent_to_a_page(visit):
    answer = Phone(Client(), visit).put("visit_started")

    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/json"
    assert InboxRecord.objects.count() == 0


def test_a_client_puts_nothing(client, client_user, visit):
    client.force_login(client_user)
    assert Phone(client, visit).put("visit_started").status_code == 403


def test_a_put_needs_the_token_of_the_session(technician, visit):
    browser = Client(enforce_csrf_checks=True)
    browser.force_login(technician)
    phone = Phone(browser, visit)
    assert phone.put("visit_started").status_code == 403

    token = browser.get("/field/session").json()["csrf"]
    answer = browser.put(
        f"/field/records/{uuid.uuid4()}",
        json.dumps(phone.record("visit_started")["body"]),
        content_type="application/json",
        headers={"X-CSRFToken": token},
    )
    assert answer.status_code == 201


def test_records_are_applied_in_the_order_of_the_phone_whatever_order_they_arrive_in(phone, visit, valve):
    first = phone.record("visit_started")
    second = phone.record("measurement", valve=valve.pk, coil_resistance_ohm=33.0)
    third = phone.record("fault", **FAULT)

    assert phone.send(third).json()["state"] == "waiting"
    assert phone.send(second).json()["state"] == "waiting"
    assert phone.send(first).json()["state"] == "applied"
    assert {state for _, state in states()} == {"applied"}
    visit.refresh_from_db()
    assert visit.state == "started"


def test_a_number_that_never_comes_is_given_up_by_the_office(phone, valve, office):
    phone.put("visit_started")
    phone.sequence += 1  # lost with the phone
    phone.put("measurement", valve=valve.pk, coil_resistance_ohm=33.0)
    phone.put("fault", **FAULT)
    assert [state for _, state in states()] == ["applied", "waiting", "waiting"]

    decide(entry=InboxRecord.objects.get(kind="measurement"), apply=True, by=office)

    assert [state for _, state in states()] == ["applied", "applied", "applied"]
    assert phone.put("measurement", valve=valve.pk, voltage_v=24.0, seen=[]).json()["state"] == "for_person"


def test_an_unknown_version_of_the_page_is_kept_for_a_person(phone):
    record = phone.record("visit_started")
    record["body"]["schema"] = 99

    assert phone.send(record).status_code == 201
    assert states() == [("visit_started", "for_person")]


def test_two_people_who_measured_one_valve_are_both_kept_until_a_person_decides(phone, visit, valve, office):
    phone.put("visit_started")
    visit.refresh_from_db()
    record_measurement(visit=visit, valve=valve, values={"coil_resistance_ohm": 20.0}, by=office)
    answer = phone.put("measurement", valve=valve.pk, coil_resistance_ohm=33.0)

    assert (answer.status_code, answer.json()["state"]) == (201, "for_person")
    entry = InboxRecord.objects.get(kind="measurement")
    assert "measured this valve" in entry.reason
    decide(entry=entry, apply=True, by=office)
    assert sorted(row.coil_resistance_ohm for row in ValveMeasurement.objects.all()) == [20.0, 33.0]


def test_a_valve_measured_twice_on_one_phone_is_no_conflict(phone, visit, valve):
    phone.put("visit_started")
    first = phone.record("measurement", valve=valve.pk, coil_resistance_ohm=20.0)
    phone.send(first)
    second = phone.put("measurement", valve=valve.pk, coil_resistance_ohm=33.0, seen=[first["id"]])

    assert second.json()["state"] == "applied"


def test_a_visit_given_to_someone_else_is_left_to_a_person(phone, visit, other_technician, office):
    Visit.objects.filter(pk=visit.pk).update(technician=other_technician)
    answer = phone.put("visit_started")

    assert (answer.status_code, answer.json()["state"], answer.json()["reason"]) == (
        201,
        "for_person",
        "Kept. The office decides.",
    )
    decide(entry=InboxRecord.objects.get(), apply=True, by=office)
    visit.refresh_from_db()
    assert visit.state == "started"


def test_a_foreign_visit_and_one_that_never_was_look_the_same_to_the_phone(phone, other_site):
    foreign, absent = factories.VisitFactory(site=other_site), factories.VisitFactory.build(site=other_site)
    told = []
    for visit in (foreign, absent):
        phone.visit = visit
        answer = phone.put("visit_started")
        told.append((answer.status_code, answer.json()["state"], answer.json()["reason"]))

    assert told[0] == told[1]


def test_a_visit_the_office_finished_since_keeps_the_phone_s_words_for_a_person(phone, visit, office, valve):
    phone.put("visit_started")
    visit.refresh_from_db()
    finish_visit(visit=visit, by=office, end=VisitEnd(accept_reason="rain"))
    phone.put("visit_finished", notes="Gate latch is loose.", signed_by="H. Court", accept_reason="rain")

    entry = InboxRecord.objects.get(kind="visit_finished")
    assert entry.state == "for_person"
    decide(entry=entry, apply=True, by=office)
    visit.refresh_from_db()
    assert "Gate latch is loose." in visit.technician_notes
    assert visit.signed_by == "H. Court"


def test_a_cancelled_visit_drops_nothing(phone, visit, valve, office):
    Visit.objects.filter(pk=visit.pk).update(state="cancelled")
    phone.put("visit_started")
    phone.put("measurement", valve=valve.pk, coil_resistance_ohm=33.0)
    phone.put("fault", **FAULT)

    assert {state for _, state in states()} == {"for_person"}
    decide(entry=InboxRecord.objects.get(kind="fault"), apply=True, by=office)
    assert Fault.objects.get().kind == "pipe_leak"


def test_a_step_behind_a_gate_that_is_not_done_waits_for_a_person(phone, visit, client):
    phone.put("visit_started")
    visit.refresh_from_db()
    behind = visit.checklist.items.get(key="zones_run")
    assert phone.put("checklist_answer", item=behind.pk, done=True).json()["state"] == "for_person"
    entry = InboxRecord.objects.get(kind="checklist_answer")
    assert "closed until" in entry.reason


def test_an_answer_someone_else_gave_since_is_not_written_over(phone, visit, office):
    from jobs.actions.checklists import answer_step

    phone.put("visit_started")
    visit.refresh_from_db()
    item = visit.checklist.items.first()
    answer_step(visit=visit, item=item, done=True, by=office)
    seen_open = phone.put("checklist_answer", item=item.pk, done=False, seen=None)
    seen_done = phone.put("checklist_answer", item=item.pk, done=False, seen={"done": True})

    assert (seen_open.json()["state"], seen_done.json()["state"]) == ("for_person", "applied")


@pytest.mark.parametrize("off", [dt.timedelta(days=-3), dt.timedelta(hours=5), dt.timedelta(days=3650)])
def test_a_wrong_phone_clock_is_put_right_and_the_raw_time_kept(client, technician, visit, off):
    client.force_login(technician)
    phone = Phone(client, visit, clock=lambda: dt.datetime.now(dt.UTC) + off)
    answer = phone.put("visit_started")

    assert answer.json()["state"] == "applied"
    entry = InboxRecord.objects.get()
    assert abs(entry.clock_offset_s + off.total_seconds()) < 5
    assert abs((entry.phone_time - entry.happened_at) - off) < dt.timedelta(seconds=5)
    visit.refresh_from_db()
    assert abs(visit.started_at - entry.received_at) < dt.timedelta(seconds=5)


def test_records_weeks_late_keep_the_day_they_happened(client, technician, visit, valve):
    client.force_login(technician)
    phone = Phone(client, visit)
    then = dt.datetime.now(dt.UTC) - dt.timedelta(weeks=5)
    for minutes, (kind, data) in enumerate(
        [("visit_started", {}), ("measurement", {"valve": valve.pk, "voltage_v": 24.0}),
         ("visit_finished", {"accept_reason": "dusk"})]
    ):  # fmt: skip
        record = phone.record(kind, **data)
        record["body"]["recorded_at"] = (then + dt.timedelta(minutes=minutes)).isoformat()
        assert phone.send(record).json()["state"] == "applied"

    visit.refresh_from_db()
    assert (visit.started_at, visit.finished_at) == (then, then + dt.timedelta(minutes=2))
    assert ValveMeasurement.objects.get().measured_at == then + dt.timedelta(minutes=1)
    assert "corrected" not in visit.technician_notes


@pytest.mark.parametrize("how", ["deactivated", "made a client"])
def test_records_of_someone_whose_access_was_withdrawn_are_held_for_the_office(phone, technician, visit, office, how):
    if how == "deactivated":
        technician.is_active = False
    else:
        technician.role = "client"
    technician.save()
    assert phone.client.get("/field/session").json()["access"] is False
    answer = phone.put("visit_started")

    assert (answer.status_code, answer.json()["state"]) == (201, "held")
    visit.refresh_from_db()
    assert visit.state == "planned"
    assert phone.client.get("/field/bundle").status_code in (302, 403)
    decide(entry=InboxRecord.objects.get(), apply=True, by=office)
    visit.refresh_from_db()
    assert visit.state == "started"


def test_a_file_exported_from_the_phone_is_taken_in_at_most_once(phone, technician, office, visit, valve):
    records = [phone.record("visit_started"), phone.record("measurement", valve=valve.pk, voltage_v=24.5)]
    phone.send(records[0])
    parcel = {"user": {"id": technician.pk}, "exported_at": "2026-04-20T17:00:00+00:00", "records": records}

    first = import_export(text=json.dumps(parcel).encode(), by=office)
    again = import_export(text=json.dumps(parcel).encode(), by=office)

    assert (first.new, first.known, again.new, again.known) == (1, 1, 0, 2)
    assert ValveMeasurement.objects.get().measured_by == technician


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"user": {"id": 1e400}}', '{"user": {"id": "x"}, "records": []}'])
def test_another_file_is_refused_with_words(client, office, text):
    from django.core.files.uploadedfile import SimpleUploadedFile

    client.force_login(office)
    page = client.post("/inbox/import/", {"file": SimpleUploadedFile("x.json", text.encode() or b" ")})

    assert page.status_code == 422
    assert "not a file that the field page exported" in page.content.decode()


def test_the_office_sees_both_sides_and_decides(client, office, phone, visit, valve):
    phone.put("visit_started")
    visit.refresh_from_db()
    record_measurement(visit=visit, valve=valve, values={"coil_resistance_ohm": 20.0}, by=office)
    phone.put("measurement", valve=valve.pk, coil_resistance_ohm=33.0)
    phone.put("measurement", valve="x")
    entry = InboxRecord.objects.get(state="for_person")
    browser = Client()
    browser.force_login(office)

    page = browser.get("/inbox/").content.decode()
    assert "33 Ω" in page
    assert "20 Ω" in page
    assert "refused" in page
    assert browser.post(f"/inbox/{entry.pk}/decide/", {"not_applied": "1"}).status_code == 302
    entry.refresh_from_db()
    assert (entry.state, entry.decided_by) == ("not_applied", office)
    again = browser.post(f"/inbox/{entry.pk}/decide/", {"apply": "1"}, follow=True).content.decode()
    assert "not applied already" in again


def test_a_record_left_waiting_by_a_killed_process_is_applied_by_the_sweep(phone, visit):
    phone.put("visit_started")
    InboxRecord.objects.update(state="waiting")
    Visit.objects.update(state="planned", started_at=None)

    assert apply_waiting() == 1
    visit.refresh_from_db()
    assert visit.state == "started"


def test_a_whole_visit_sent_late_while_the_office_edits_drops_nothing(phone, visit, valve, office, technician):
    start_visit(visit=visit, by=office)
    visit.refresh_from_db()
    visit.instructions = "Edited since"
    visit.save()
    phone.put("visit_started")
    for step in visit.checklist.items.all():
        number = 420.0 if step.answer == "number" else None
        assert phone.put("checklist_answer", item=step.pk, done=True, number=number).json()["state"] == "applied"
    for each in Valve.objects.filter(controller__site=visit.site):
        phone.put("measurement", valve=each.pk, coil_resistance_ohm=34.0)
    leak = phone.record("fault", **FAULT, place=f"valve-{valve.pk}", photos=[])
    phone.send(leak)
    assert phone.photo(leak["id"], jpeg()).status_code == 201
    assert phone.put("visit_finished", signed_by="H. Court").json()["state"] == "applied"

    visit.refresh_from_db()
    assert (visit.state, visit.signed_by, visit.instructions) == ("finished", "H. Court", "Edited since")
    assert Fault.objects.get().photos.count() == 1
    assert Fault.objects.get().valve == valve


def test_a_step_of_the_version_the_phone_left_with_is_the_same_step_of_the_next(phone, visit, office):
    before = current_checklist("startup")
    known, dropped = before.items.get(key="boxes_checked"), before.items.get(key="left_tidy")
    steps = [step for step in DEFAULT_CHECKLISTS["startup"] if step.key != "left_tidy"]
    made = save_checklist(kind="startup", steps=steps, based_on=before.version, by=office)
    phone.put("visit_started")
    phone.put("checklist_answer", item=known.pk, done=True)
    phone.put("checklist_answer", item=dropped.pk, done=True)

    assert [state for kind, state in states() if kind == "checklist_answer"] == ["applied", "for_person"]
    assert visit.answers.get().item == made.items.get(key="boxes_checked")


def test_a_repair_told_by_the_phone_closes_the_fault_once(phone, visit, site, technician):
    fault = Fault.objects.create(site=site, kind="pipe_leak", severity="water_loss", found_at=visit_time(visit))
    phone.put("visit_started")
    assert phone.put("fault_repaired", fault=fault.pk, note=" ").status_code == 400
    phone.put("fault_repaired", fault=fault.pk, note="New coupling")
    fault.refresh_from_db()
    assert (fault.state, fault.repair_note, fault.repaired_on_visit) == ("repaired", "New coupling", visit)
    phone.put("fault_repaired", fault=fault.pk, note="Another coupling")
    phone.put("fault_repaired", fault=fault.pk + 1, note="Nothing there")
    assert [state for kind, state in states() if kind == "fault_repaired"] == [
        "refused",
        "applied",
        "for_person",
        "for_person",
    ]
    fault.refresh_from_db()
    assert fault.repair_note == "New coupling"


def visit_time(visit):
    return dt.datetime.combine(visit.planned_on, dt.time(8), tzinfo=dt.UTC)


def test_the_office_applies_all_that_waits_of_a_moved_visit_at_once(phone, visit, valve, other_technician, office):
    Visit.objects.filter(pk=visit.pk).update(technician=other_technician)
    phone.put("visit_started")
    phone.put("measurement", valve=valve.pk, coil_resistance_ohm=33.0)
    phone.put("fault", **FAULT)
    assert [state for _, state in states()] == ["for_person"] * 3
    desk = Client()
    desk.force_login(office)
    assert "Apply all 3" in desk.get("/inbox/").content.decode()

    page = desk.post(f"/inbox/visits/{visit.pk}/apply/", follow=True).content.decode()

    assert "3 applied" in page
    assert [state for _, state in states()] == ["applied"] * 3
    assert (ValveMeasurement.objects.count(), Fault.objects.count()) == (1, 1)
    assert "Apply all" not in page
