import datetime as dt
import uuid
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from jobs.models import ChecklistItem, Fault, ValveMeasurement, Visit
from jobs.queries.faults import found_without_fault
from jobs.queries.field import valve_checks
from scheduling.models import AppliedSchedule, SeasonSchedule
from sites.models import AuditEntry, Valve
from tests import factories


@pytest.fixture
def visit(site, technician):
    return factories.VisitFactory(
        site=site, kind="winterisation", technician=technician, planned_on=dt.date(2026, 10, 20), state="planned"
    )


@pytest.fixture
def phone(client, technician):
    client.force_login(technician)
    return client


@pytest.fixture
def started(phone, visit):
    phone.post(f"/visits/{visit.pk}/start/")
    visit.refresh_from_db()
    return visit


def item(visit, key):
    return ChecklistItem.objects.get(template=visit.checklist, key=key)


def answer(phone, visit, key, **typed):
    step = item(visit, key)
    data = {f"step{step.pk}-{name}": value for name, value in typed.items() if name != "undo"}
    if "undo" in typed:
        data["undo"] = "1"
    return phone.post(f"/visits/{visit.pk}/checklist/{step.pk}/", data)


def measure(phone, visit, valve, **typed):
    data = {"uuid": str(uuid.uuid4()), "coil_resistance_ohm": "34.5", "opens": "", "closes": ""} | typed
    return phone.post(f"/visits/{visit.pk}/valves/{valve.pk}/", data)


def local(moment):
    return moment.astimezone(ZoneInfo("America/Los_Angeles")).strftime("%Y-%m-%dT%H:%M")


def finish(phone, visit, **typed):
    visit.refresh_from_db()
    return phone.post(f"/visits/{visit.pk}/finish/", {"started_at": local(visit.started_at)} | typed)


def test_a_whole_winterisation_from_start_to_sign_off(phone, site, visit, technician):
    page = phone.get(f"/visits/{visit.pk}/").content.decode()
    assert "Compressed air maims" in page
    assert "Start the visit" in page
    phone.post(f"/visits/{visit.pk}/start/")
    visit.refresh_from_db()
    special = {
        "pipe_material": {"text": "pe"},
        "air_pressure_limit": {"number": "300", "acknowledged": "on"},
    }
    for step in visit.checklist.items.all():
        response = answer(phone, visit, step.key, **special.get(step.key, {}))
        assert (response.status_code, step.key) == (302, step.key)
    first, second = Valve.objects.filter(controller__site=site)
    assert measure(phone, visit, first).url == f"/visits/{visit.pk}/valves/{second.pk}/?after={first.pk}"
    assert measure(phone, visit, second).url == f"/visits/{visit.pk}/#valves"
    response = finish(phone, visit, notes="Gate latch is loose.", signed_by="H. Court")
    assert response.url == f"/visits/{visit.pk}/"
    visit.refresh_from_db()
    assert (visit.state, visit.technician_notes, visit.signed_by) == (
        "finished",
        "Gate latch is loose.",
        "H. Court",
    )
    assert visit.finished_at >= visit.started_at
    assert visit.answers.filter(done=True).count() == visit.checklist.items.count()
    assert AuditEntry.objects.get(verb="visit finished").by == technician
    assert "H. Court" in phone.get(f"/visits/{visit.pk}/").content.decode()


def test_starting_twice_keeps_the_first_time(phone, started):
    before = started.started_at
    phone.post(f"/visits/{started.pk}/start/")
    started.refresh_from_db()
    assert started.started_at == before


def test_a_step_behind_a_gate_is_shown_closed_and_refused(phone, started):
    page = phone.get(f"/visits/{started.pk}/").content.decode()
    assert f"/visits/{started.pk}/checklist/{item(started, 'injector_off').pk}/" in page
    assert f"/visits/{started.pk}/checklist/{item(started, 'zones_blown_out').pk}/" not in page
    assert "<strong>Closed</strong> until this is done: Fertilizer injector" in page
    response = answer(phone, started, "zones_blown_out")
    assert response.status_code == 422
    assert "This step is closed until this one is done" in response.content.decode()
    assert started.answers.count() == 0


def test_an_air_pressure_above_the_pipes_limit_is_refused_and_stays_as_typed(phone, started):
    for key in ("injector_off", "water_shut_off", "pressure_released"):
        answer(phone, started, key)
    answer(phone, started, "pipe_material", text="pe")
    response = answer(phone, started, "air_pressure_limit", number="412", acknowledged="on")
    page = response.content.decode()
    assert response.status_code == 422
    assert 'value="412"' in page
    assert "at most 345 kPa by common practice" in page
    unread = answer(phone, started, "air_pressure_limit", number="300")
    assert "Tick this when the regulator is set." in unread.content.decode()
    assert answer(phone, started, "air_pressure_limit", number="300", acknowledged="on").status_code == 302


def test_a_limit_typed_in_psi_is_kept_in_kpa(phone, started, firm):
    firm.units = "us"
    firm.save()
    for key in ("injector_off", "water_shut_off", "pressure_released"):
        answer(phone, started, key)
    answer(phone, started, "pipe_material", text="pe")
    assert answer(phone, started, "air_pressure_limit", number="50", acknowledged="on").status_code == 302
    kept = started.answers.get(item__key="air_pressure_limit")
    assert kept.number == pytest.approx(344.74, abs=0.01)  # 50 psi


def test_a_step_can_be_undone_and_its_words_stay(phone, started):
    for key in ("injector_off", "water_shut_off", "pressure_released"):
        answer(phone, started, key)
    answer(phone, started, "pipe_material", text="pvc")
    answer(phone, started, "pipe_material", undo=True)
    kept = started.answers.get(item__key="pipe_material")
    assert (kept.done, kept.text) == (False, "pvc")


def test_the_same_form_sent_twice_is_one_row_and_a_new_form_another(phone, site, started):
    valve = Valve.objects.filter(controller__site=site).first()
    once = str(uuid.uuid4())
    assert measure(phone, started, valve, uuid=once).status_code == 302
    assert measure(phone, started, valve, uuid=once).status_code == 302
    assert ValveMeasurement.objects.count() == 1
    measure(phone, started, valve, coil_resistance_ohm="35")
    assert sorted(ValveMeasurement.objects.values_list("coil_resistance_ohm", flat=True)) == [34.5, 35.0]
    assert AuditEntry.objects.filter(verb="valve measured").count() == 2


def test_a_form_of_one_valve_cannot_write_over_another(phone, site, started):
    first, second = Valve.objects.filter(controller__site=site)
    once = str(uuid.uuid4())
    measure(phone, started, first, uuid=once)
    response = measure(phone, started, second, uuid=once)
    assert response.status_code == 422
    assert "already sent for another valve" in response.content.decode()


def test_a_bad_number_keeps_everything_typed(phone, site, started):
    valve = Valve.objects.filter(controller__site=site).first()
    response = measure(phone, started, valve, coil_resistance_ohm="3o.5", voltage_v="23.9", note="Wet box")
    page = response.content.decode()
    assert response.status_code == 422
    assert 'value="3o.5"' in page
    assert 'value="23.9"' in page
    assert "Wet box" in page
    assert "Enter a number, such as 34.5." in page
    assert ValveMeasurement.objects.count() == 0


@pytest.mark.parametrize(("typed", "stored"), [("34,5", 34.5), (" 34.5 ", 34.5), ("34", 34.0)])
def test_a_decimal_comma_is_understood(phone, site, started, typed, stored):
    measure(phone, started, Valve.objects.filter(controller__site=site).first(), coil_resistance_ohm=typed)
    assert ValveMeasurement.objects.get().coil_resistance_ohm == stored


@pytest.mark.parametrize("typed", ["1,000", "-3", "nan", "inf", "1e999"])
def test_a_number_that_could_mean_two_things_or_nothing_is_refused(phone, site, started, typed):
    response = measure(phone, started, Valve.objects.filter(controller__site=site).first(), coil_resistance_ohm=typed)
    assert response.status_code == 422
    assert ValveMeasurement.objects.count() == 0


def test_flow_is_typed_in_the_firms_unit(phone, site, started, firm):
    firm.units = "us"
    firm.save()
    measure(phone, started, Valve.objects.filter(controller__site=site).first(), flow_l_min="5")
    assert ValveMeasurement.objects.get().flow_l_min == pytest.approx(18.927, abs=0.001)  # 5 US gpm


def test_air_is_asked_on_a_winterisation_only(phone, site, started, firm):
    firm.units = "us"
    firm.save()
    valve = Valve.objects.filter(controller__site=site).first()
    Visit.objects.filter(pk=started.pk).update(kind="mid_season")
    measure(phone, started, valve, voltage_v="24", air_pressure_kpa="25", air_min="3")
    assert ValveMeasurement.objects.get().air_min is None
    Visit.objects.filter(pk=started.pk).update(kind="winterisation")
    measure(phone, started, valve, air_pressure_kpa="25", air_min="3,5")
    row = ValveMeasurement.objects.latest("pk")
    assert (row.air_pressure_kpa, row.air_min) == (pytest.approx(172.37, abs=0.01), 3.5)  # 25 psi


def test_an_empty_form_is_no_measurement(phone, site, started):
    response = measure(phone, started, Valve.objects.filter(controller__site=site).first(), coil_resistance_ohm="")
    assert "Enter at least one figure or answer." in response.content.decode()


def test_figures_wait_until_the_visit_is_started_without_losing_words(phone, site, visit):
    valve = Valve.objects.filter(controller__site=site).first()
    response = measure(phone, visit, valve, note="typed too early")
    assert response.status_code == 422
    assert "typed too early" in response.content.decode()
    assert "Start the visit first." in response.content.decode()


def test_the_last_value_stands_beside_the_field(phone, site, started):
    valve = Valve.objects.filter(controller__site=site).first()
    measure(phone, started, valve, coil_resistance_ohm="36.2")
    assert "<dt>last</dt><dd>36.2</dd>" in phone.get(f"/visits/{started.pk}/valves/{valve.pk}/").content.decode()


def test_good_figures_lead_on_with_the_news_on_top(phone, site, started):
    first, second = Valve.objects.filter(controller__site=site)
    page = phone.get(measure(phone, started, first, coil_resistance_ohm="34.5").url).content.decode()
    assert f"<h1>{second}</h1>" in page
    assert f"{first}: within expectation." in page


def test_an_open_circuit_stays_here_and_offers_a_prefilled_fault(phone, site, started):
    first, second = Valve.objects.filter(controller__site=site)
    response = measure(phone, started, first, coil_resistance_ohm="", open_circuit="on")
    assert response.url == f"/visits/{started.pk}/valves/{first.pk}/"
    page = phone.get(response.url).content.decode()
    assert "Open circuit: the meter shows no reading" in page
    assert "Record as fault" in page
    assert '<input type="hidden" name="kind" value="coil_open">' in page
    assert f"Next: {second}" in page
    factories.FaultFactory(site=site, valve=first, kind="coil_open")
    page = phone.get(response.url).content.decode()
    assert "Already recorded" in page
    assert "Record as fault" not in page


def test_as_new_is_the_coil_with_its_wire(phone, site, started):
    valve = Valve.objects.filter(controller__site=site).first()
    # 32 ohm coil + 2 x 60 m of 0.823 mm2 copper at 0.017241 ohm mm2/m (NBS Handbook 100) = 34.51 ohm
    page = phone.get(f"/visits/{started.pk}/valves/{valve.pk}/").content.decode()
    assert "<dt>as new</dt><dd>34.5</dd>" in page


def test_measuring_again_begins_with_the_figures_of_this_visit(phone, site, started, firm):
    firm.units = "us"
    firm.save()
    valve = Valve.objects.filter(controller__site=site).first()
    measure(phone, started, valve, flow_l_min="5.123")
    page = phone.get(f"/visits/{started.pk}/valves/{valve.pk}/").content.decode()
    assert 'value="34.5"' in page
    assert 'value="5.123"' in page
    measure(phone, started, valve, flow_l_min="5.123", voltage_v="23.5")
    first, second = ValveMeasurement.objects.order_by("pk")
    assert first.flow_l_min == second.flow_l_min
    assert (first.voltage_v, second.voltage_v) == (None, 23.5)


def test_finishing_lists_what_is_left_out_and_asks_why_and_keeps_the_words(phone, started):
    response = finish(phone, started, notes="Dog bit the hose.")
    page = response.content.decode()
    assert response.status_code == 422
    assert "Valve 1 not measured" in page
    assert "Say why these are left out." in page
    assert "Dog bit the hose." in page
    started.refresh_from_db()
    assert started.state == "started"
    assert finish(phone, started, notes="Dog bit the hose.", accept_reason="Storm came up.").status_code == 302
    started.refresh_from_db()
    assert started.technician_notes.startswith("Dog bit the hose.\nLeft out: step")
    assert started.technician_notes.endswith("Reason: Storm came up.")


def test_finishing_twice_changes_nothing(phone, started):
    finish(phone, started, accept_reason="Storm.", notes="once")
    started.refresh_from_db()
    before = (started.finished_at, started.technician_notes)
    response = phone.post(f"/visits/{started.pk}/finish/", {"accept_reason": "again", "notes": "twice"})
    assert response.status_code == 302
    started.refresh_from_db()
    assert (started.finished_at, started.technician_notes) == before
    assert AuditEntry.objects.filter(verb="visit finished").count() == 1


def test_a_visit_that_never_started_cannot_be_finished(phone, visit):
    assert phone.post(f"/visits/{visit.pk}/finish/", {"accept_reason": "x"}).url == f"/visits/{visit.pk}/"
    visit.refresh_from_db()
    assert visit.state == "planned"


def test_changed_times_need_a_reason_and_are_the_sites_times(phone, started):
    Visit.objects.filter(pk=started.pk).update(started_at=dt.datetime(2026, 6, 1, 17, 3, 20, tzinfo=dt.UTC))
    page = phone.get(f"/visits/{started.pk}/finish/").content.decode()
    assert 'value="2026-06-01T10:03"' in page  # 17:03 UTC in Los Angeles
    typed = {"accept_reason": "Storm.", "started_at": "2026-06-01T09:30", "finished_at": "2026-06-01T11:00"}
    assert "Say why the times are changed." in finish(phone, started, **typed).content.decode()
    assert finish(phone, started, **typed, times_reason="Forgot to press start.").status_code == 302
    started.refresh_from_db()
    assert started.started_at == dt.datetime(2026, 6, 1, 16, 30, tzinfo=dt.UTC)
    assert started.finished_at == dt.datetime(2026, 6, 1, 18, 0, tzinfo=dt.UTC)
    assert started.technician_notes.endswith("Times on site corrected. Reason: Forgot to press start.")
    kept = AuditEntry.objects.get(verb="visit finished").detail["start_recorded_at"]
    assert kept == "2026-06-01T17:03:20+00:00"


@pytest.mark.parametrize(
    ("times", "words"),
    [
        ({"finished_at": "2026-06-01T09:00"}, "The visit must finish after it starts."),
        ({"finished_at": "2999-01-01T09:00"}, "The end lies in the future."),
        ({"started_at": "2999-01-01T09:00"}, "The start lies in the future."),
    ],
)
def test_impossible_times_are_refused_beside_the_field(phone, started, times, words):
    Visit.objects.filter(pk=started.pk).update(started_at=dt.datetime(2026, 6, 1, 17, 0, tzinfo=dt.UTC))
    response = finish(phone, started, accept_reason="Storm.", times_reason="typo", **times)
    assert response.status_code == 422
    assert words in response.content.decode()


def test_a_schedule_ticked_as_set_is_recorded_for_the_controller(phone, site, started, technician):
    Visit.objects.filter(pk=started.pk).update(kind="mid_season")  # nothing is set at a winterization
    controller = site.controllers.get()
    schedule = SeasonSchedule.objects.create(
        site=site,
        season_year=2026,
        revision=2,
        state="published",
        month=6,
        week_starts_on=dt.date(2026, 6, 1),
        published_at=timezone.now(),
    )
    assert "set Controller" in phone.get(f"/visits/{started.pk}/").content.decode()
    assert finish(phone, started, accept_reason="Storm.", set_at=["9" * 30]).status_code == 422
    assert finish(phone, started, accept_reason="Storm.", set_at=[controller.pk]).status_code == 302
    applied = AppliedSchedule.objects.get()
    assert (applied.schedule, applied.controller, applied.applied_by) == (schedule, controller, technician)


def test_another_technicians_visit_does_not_exist(client, other_technician, site, started):
    client.force_login(other_technician)
    valve = Valve.objects.filter(controller__site=site).first()
    paths = ["", "finish/", f"valves/{valve.pk}/", "faults/new/"]
    assert [client.get(f"/visits/{started.pk}/{path}").status_code for path in paths] == [404] * 4
    step = item(started, "water_shut_off")
    posts = ["start/", "finish/", f"valves/{valve.pk}/", f"checklist/{step.pk}/", "faults/new/"]
    assert [client.post(f"/visits/{started.pk}/{path}").status_code for path in posts] == [404] * 5


def test_a_valve_of_another_site_does_not_exist_on_this_visit(phone, other_site, started):
    valve = Valve.objects.filter(controller__site=other_site).first()
    assert phone.get(f"/visits/{started.pk}/valves/{valve.pk}/").status_code == 404
    assert measure(phone, started, valve).status_code == 404


def test_a_client_gets_none_of_the_field_pages(client, client_user, visit):
    now = timezone.now()
    Visit.objects.filter(pk=visit.pk).update(state="finished", started_at=now, finished_at=now)
    client.force_login(client_user)
    own = f"/visits/{visit.pk}/"
    paths = ["/today/", own, f"{own}finish/", f"/sites/{visit.site_id}/visits/", "/faults/"]
    assert [client.get(path).status_code for path in paths] == [403] * 5


def test_the_office_may_open_any_visit(client, office, visit):
    client.force_login(office)
    assert client.get(f"/visits/{visit.pk}/").status_code == 200


def valves(site, count):
    controller = site.controllers.get()
    for terminal in range(controller.valves.count() + 1, count + 1):
        factories.ValveFactory(controller=controller, terminal=terminal)


@pytest.mark.parametrize("count", [2, 8])
def test_a_visit_costs_the_same_queries_however_many_valves(phone, site, started, count, django_assert_num_queries):
    valves(site, count)
    with django_assert_num_queries(QUERIES_OF_A_VISIT):
        phone.get(f"/visits/{started.pk}/")


QUERIES_OF_A_VISIT = 11  # of a winterization, at which no schedule is set


def test_the_finish_names_what_was_measured_and_not_recorded_as_a_fault(phone, site, started):
    valve = Valve.objects.filter(controller__site=site).first()
    measure(phone, started, valve, coil_resistance_ohm="2")
    page = phone.get(f"/visits/{started.pk}/finish/").content.decode()
    assert "Measured, not recorded as a fault" in page
    [(_, finding)] = found_without_fault(started)
    told = {"kind": finding.fault_kind, "valve": valve, "site": site, "severity": "plants_at_risk"}
    Fault.objects.create(**told, found_on_visit=started, found_at=started.started_at, description="short")
    assert "Measured, not recorded" not in phone.get(f"/visits/{started.pk}/finish/").content.decode()


def test_two_coils_on_one_terminal_are_judged_as_the_meter_sees_them(phone, site, started):
    """34 and 34 ohm in parallel are 17 (1/R = 1/34 + 1/34): the pair is well, 34 alone is not."""
    one, other = Valve.objects.filter(controller__site=site).order_by("pk")[:2]
    bare = {"coil_resistance_ohm": 34.0, "wire_length_m": 0.0, "terminal": one.terminal}
    Valve.objects.filter(pk__in=[one.pk, other.pk]).update(**bare)
    measure(phone, started, one, coil_resistance_ohm="17.2")
    measure(phone, started, other, coil_resistance_ohm="33.9")
    told = {check.valve.pk: check.findings[0].level.value for check in valve_checks(started) if check.measurement}
    assert told[one.pk] == "ok"
    assert told[other.pk] != "ok"
    assert valve_checks(started)[0].as_new["coil_resistance_ohm"] == pytest.approx(17.0)
