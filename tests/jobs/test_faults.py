import datetime as dt
import io
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from jobs.actions.field import start_visit
from jobs.models import Fault
from sites.models import AuditEntry, Photo, Valve
from tests import factories


@pytest.fixture
def visit(site, technician):
    planned = factories.VisitFactory(
        site=site, kind="mid_season", technician=technician, planned_on=dt.date(2026, 7, 1), state="planned"
    )
    return start_visit(visit=planned, by=technician)


@pytest.fixture
def phone(client, technician):
    client.force_login(technician)
    return client


def picture(name="box.jpg"):
    written = io.BytesIO()
    Image.new("RGB", (40, 30), "green").save(written, "JPEG")
    return SimpleUploadedFile(name, written.getvalue(), content_type="image/jpeg")


def typed(**odd):
    words = {
        "uuid": str(uuid.uuid4()),
        "place": "",
        "kind": "pipe_leak",
        "severity": "water_loss",
        "description": "Puddle at the corner",
    }
    return words | odd


def record(phone, visit, **odd):
    return phone.post(f"/visits/{visit.pk}/faults/new/", typed(**odd))


def test_a_fault_with_two_photos_is_recorded_where_it_is(phone, site, visit, technician):
    valve = Valve.objects.filter(controller__site=site).first()
    response = record(
        phone, visit, place=f"valve-{valve.pk}", part_needed="25 mm elbow", photos=[picture(), picture("two.jpg")]
    )
    fault = Fault.objects.get()
    assert response.url == f"/faults/{fault.pk}/"
    assert (fault.site, fault.valve, fault.found_on_visit, fault.found_by) == (site, valve, visit, technician)
    assert (fault.state, fault.part_needed, fault.photos.count()) == ("open", "25 mm elbow", 2)
    page = phone.get(response.url).content.decode()
    assert "Puddle at the corner" in page
    assert f"/photos/{fault.photos.first().pk}/" in page


def test_the_same_form_sent_twice_is_one_fault_with_one_set_of_photos(phone, visit):
    once = str(uuid.uuid4())
    for _ in range(2):
        assert record(phone, visit, uuid=once, photos=[picture()]).status_code == 302
    assert (Fault.objects.count(), Photo.objects.count()) == (1, 1)


def test_a_form_of_another_site_is_refused_and_shows_nothing_of_it(phone, visit, other_site):
    foreign = factories.FaultFactory(site=other_site, description="secret")
    response = record(phone, visit, uuid=str(foreign.uuid))
    assert response.status_code == 422
    assert "secret" not in response.content.decode()
    assert "Puddle at the corner" in response.content.decode()


ATTACKS = {
    "svg": b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
    "empty": b"",
    "html": b"<html><script>alert(1)</script></html>",
    "cut off": picture().read()[:60],
}


@pytest.mark.parametrize("content", ATTACKS.values(), ids=ATTACKS.keys())
def test_a_bad_photo_is_named_and_costs_neither_words_nor_good_photos(phone, visit, content):
    bad = SimpleUploadedFile("bad<b>.jpg", content, content_type="image/jpeg")
    response = phone.post(f"/visits/{visit.pk}/faults/new/", typed(photos=[picture(), bad]), follow=True)
    fault = Fault.objects.get()
    page = response.content.decode()
    assert (fault.description, fault.photos.count()) == ("Puddle at the corner", 1)
    assert "A photo was not kept. bad&lt;b&gt;.jpg:" in page
    assert "<b>.jpg" not in page


def test_wrong_words_come_back_as_typed(phone, visit):
    response = record(phone, visit, kind="", part_needed="elbow")
    page = response.content.decode()
    assert response.status_code == 422
    assert "Puddle at the corner" in page
    assert 'value="elbow"' in page
    assert Fault.objects.count() == 0


def test_only_what_stands_on_this_site_can_be_chosen(phone, visit, other_site):
    valve = Valve.objects.filter(controller__site=other_site).first()
    assert record(phone, visit, place=f"valve-{valve.pk}").status_code == 422
    assert Fault.objects.count() == 0


def test_repaired_on_the_spot_needs_words_and_closes_the_fault(phone, visit):
    assert "Say what was done." in record(phone, visit, repaired_now="on").content.decode()
    record(phone, visit, repaired_now="on", repair_note="New elbow glued")
    fault = Fault.objects.get()
    assert (fault.state, fault.repair_note, fault.repaired_on_visit) == ("repaired", "New elbow glued", visit)


def test_the_form_comes_prefilled_from_a_finding(phone, site, visit):
    valve = Valve.objects.filter(controller__site=site).first()
    page = phone.get(f"/visits/{visit.pk}/faults/new/?place=valve-{valve.pk}&kind=coil_open").content.decode()
    assert f'<option value="valve-{valve.pk}" selected>' in page
    assert '<option value="coil_open" selected>' in page


def test_a_repair_is_noted_on_the_visit_under_way_and_repeating_it_changes_nothing(phone, site, visit, technician):
    fault = factories.FaultFactory(site=site)
    for note in ("Tightened", "again"):
        assert phone.post(f"/faults/{fault.pk}/repair/", {"repair-note": note}).status_code == 302
    fault.refresh_from_db()
    assert (fault.state, fault.repair_note, fault.repaired_on_visit) == ("repaired", "Tightened", visit)
    assert AuditEntry.objects.get(verb="fault repaired").by == technician


def test_a_repair_without_words_is_asked_again(phone, site, visit):
    fault = factories.FaultFactory(site=site)
    assert phone.post(f"/faults/{fault.pk}/repair/", {"repair-note": " "}).status_code == 422
    fault.refresh_from_db()
    assert fault.state == "open"


def test_only_the_office_dismisses_and_gives_a_reason(phone, client, office, site, visit):
    fault = factories.FaultFactory(site=site)
    dismissal = {"dismiss": "1", "dismiss-note": "Client removes the bed"}
    assert phone.post(f"/faults/{fault.pk}/repair/", dismissal).status_code == 403
    client.force_login(office)
    assert client.post(f"/faults/{fault.pk}/repair/", {"dismiss": "1", "dismiss-note": ""}).status_code == 422
    assert client.post(f"/faults/{fault.pk}/repair/", dismissal).status_code == 302
    fault.refresh_from_db()
    assert (fault.state, fault.repair_note) == ("dismissed", "Client removes the bed")
    response = client.post(f"/faults/{fault.pk}/repair/", {"repair-note": "Fixed after all"})
    assert "already dismissed" in response.content.decode()


def test_repeated_faults_at_one_valve_stand_together(phone, site, visit):
    first, second = Valve.objects.filter(controller__site=site)
    old = factories.FaultFactory(site=site, valve=first, kind="valve_weeps", state="dismissed")
    new = factories.FaultFactory(site=site, valve=first, kind="valve_stuck_open")
    factories.FaultFactory(site=site, valve=second, kind="coil_short")
    page = phone.get(f"/faults/{new.pk}/").content.decode()
    assert f"/faults/{old.pk}/" in page
    assert "Short circuit" not in page


def test_photos_can_be_added_later_and_none_chosen_is_said(phone, site, visit):
    fault = factories.FaultFactory(site=site)
    assert phone.post(f"/faults/{fault.pk}/photos/", {"photos": [picture()]}).status_code == 302
    assert fault.photos.count() == 1
    empty = phone.post(f"/faults/{fault.pk}/photos/", {})
    assert "Choose at least one photo." in empty.content.decode()


def test_a_technician_sees_only_faults_of_sites_with_own_visits(phone, visit, other_site):
    fault = factories.FaultFactory(site=other_site)
    assert phone.get(f"/faults/{fault.pk}/").status_code == 404
    assert phone.post(f"/faults/{fault.pk}/repair/", {"repair-note": "x"}).status_code == 404
    assert phone.post(f"/faults/{fault.pk}/photos/", {"photos": [picture()]}).status_code == 404
    assert phone.get("/faults/").status_code == 403


def listed(client, query):
    return {row.fault.pk for row in client.get(f"/faults/{query}").context["rows"]}


def test_the_office_list_shows_open_faults_and_filters(client, office, site, other_site):
    unsafe = factories.FaultFactory(site=site, severity="unsafe")
    leak = factories.FaultFactory(site=other_site)
    closed = factories.FaultFactory(site=site, state="dismissed")
    client.force_login(office)
    assert listed(client, "") == {unsafe.pk, leak.pk}
    assert listed(client, "?state=") == {unsafe.pk, leak.pk, closed.pk}
    assert listed(client, "?state=open&severity=unsafe") == {unsafe.pk}
    assert listed(client, f"?site={other_site.pk}") == {leak.pk}


@pytest.mark.parametrize("faults", [1, 3])
def test_the_list_costs_the_same_queries_for_any_length(client, office, site, faults, django_assert_num_queries):
    for _ in range(faults):
        factories.FaultFactory(site=site, valve=Valve.objects.filter(controller__site=site).first())
    client.force_login(office)
    with django_assert_num_queries(QUERIES_OF_THE_LIST):
        client.get("/faults/")


QUERIES_OF_THE_LIST = 6  # session, user, firm, sites to filter by, count, faults


def test_a_sites_story_lists_visits_and_faults(phone, site, visit):
    fault = factories.FaultFactory(site=site)
    page = phone.get(f"/sites/{site.pk}/visits/").content.decode()
    assert f"/visits/{visit.pk}/" in page
    assert f"/faults/{fault.pk}/" in page
