"""The list of sites and one site's register, for each role."""

import datetime as dt

import pytest
from django.urls import reverse

from sites.models import AuditEntry, Site, Tariff, TariffBlock
from sites.queries.site_page import backflow_test_state, spans, weekday_words
from tests import factories


@pytest.fixture
def office_page(client, office):
    client.force_login(office)
    return client


def page_text(client, name, *args, **query) -> str:
    response = client.get(reverse(name, args=args), query)
    assert response.status_code == 200
    return response.content.decode()


def site_data(site: Site, **changed) -> dict:
    data = {
        "client": site.client_id,
        "name": "North Yard",
        "address": "4 Mill Road",
        "town": "Testham",
        "latitude": "47.5",
        "longitude": "-122.3",
        "elevation_m": "60",
        "special_landscape_m2": "0",
        "time_zone": "America/Los_Angeles",
        "opens_at": "08:00",
        "closes_at": "16:30",
        "open_weekdays": ["0", "2"],
        "permitted_days": "weekdays",
        "permitted_weekdays": ["1", "5"],
        "watering_window_start": "22:00",
        "watering_window_end": "06:00",
        "access_notes": "Key under the third stone.",
    }
    return data | changed


def test_the_list_finds_a_site_by_each_word_of_name_town_and_client(office_page, site, other_site):
    site.town = "Seward"
    site.save()
    text = page_text(office_page, "sites:site_list", q="seward hazel")
    assert "Hazel Court" in text
    assert "Stranger Street" not in text
    assert "No site matches" in page_text(office_page, "sites:site_list", q="seward stranger")


def test_the_list_costs_as_many_queries_for_three_sites_as_for_one(office_page, site, django_assert_num_queries):
    def queries(expected):
        with django_assert_num_queries(expected):
            page_text(office_page, "sites:site_list")

    queries(6)  # session, person, firm, count, rows, states
    factories.make_small_site("Second")
    factories.BackflowAssemblyFactory(site=factories.make_small_site("Third"))
    queries(6)


def test_the_register_costs_as_many_queries_for_a_large_site_as_for_a_small_one(
    office_page, site, django_assert_num_queries
):
    factories.BackflowAssemblyFactory(site=site)
    factories.MeterReadingFactory(meter=factories.MeterFactory(site=site))
    address = reverse("sites:site_page", args=[site.pk])
    office_page.get(address)
    with django_assert_num_queries(15) as small:
        office_page.get(address)
    for number in (7, 8, 9):
        controller = factories.ControllerFactory(site=site)
        valve = factories.ValveFactory(controller=controller, terminal=number)
        factories.ZoneFactory(site=site, valve=valve, number=number)
        factories.BackflowAssemblyFactory(site=site)
        meter = factories.MeterFactory(site=site)
        factories.MeterReadingFactory(meter=meter, read_on=dt.date(2026, 5, number))
    with django_assert_num_queries(len(small.captured_queries)):
        office_page.get(address)


def test_long_lists_come_in_pages(office_page, firm):
    owner = factories.ClientFactory()
    factories.SiteFactory.create_batch(51, client=owner)
    assert "Page 1 of 2, 51 in all" in page_text(office_page, "sites:site_list")
    assert "Page 2 of 2" in page_text(office_page, "sites:site_list", page="2")


def test_the_register_of_a_site_tells_place_plant_and_dates(office_page, site):
    tariff = Tariff.objects.create(name="City water", fixed_per_month=18)
    TariffBlock.objects.create(tariff=tariff, from_m3=0, price_per_m3="1.2")
    Site.objects.filter(pk=site.pk).update(tariff=tariff, open_weekdays=[0, 1, 2, 3, 4], office_notes="Pays late.")
    factories.BackflowAssemblyFactory(site=site, serial_number="A77", test_due_on=dt.date(2020, 1, 1))
    text = page_text(office_page, "sites:site_page", site.pk)
    assert 'href="geo:47.620000,-122.300000?q=47.620000,-122.300000"' in text
    assert "Mon to Fri, 07:00 to 18:00" in text
    assert "22:00 to 08:00 the next day" in text
    assert "USD 1.20 per m³" in text
    assert "test overdue" in text
    assert "32 Ω" in text
    assert "Free terminals: 3–8" in text
    assert "Pays late." in text


def test_a_technician_reads_assigned_sites_without_office_notes(client, technician, site, other_site):
    site.office_notes, site.access_notes = "Pays late.", "Dog in the yard."
    site.save()
    factories.VisitFactory(site=site, technician=technician)
    client.force_login(technician)
    listed = page_text(client, "sites:site_list")
    assert "Hazel Court" in listed
    assert "Stranger Street" not in listed
    text = page_text(client, "sites:site_page", site.pk)
    assert "Dog in the yard." in text
    assert "Pays late." not in text
    assert reverse("sites:site_edit", args=[site.pk]) not in text
    assert client.get(reverse("sites:site_page", args=[other_site.pk])).status_code == 404


def test_a_client_reads_own_sites_without_notes(client, client_user, site, other_site):
    site.office_notes, site.access_notes = "Pays late.", "Dog in the yard."
    site.save()
    client.force_login(client_user)
    text = page_text(client, "sites:site_page", site.pk)
    assert "Hazel Court" in text
    assert "Dog in the yard." not in text
    assert "Pays late." not in text
    assert "Add a reading" not in text
    assert "Stranger Street" not in page_text(client, "sites:site_list")
    assert client.get(reverse("sites:site_page", args=[other_site.pk])).status_code == 404


@pytest.mark.parametrize("person", ["technician", "client_user"])
def test_only_the_office_may_change_a_site(client, request, site, person):
    user = request.getfixturevalue(person)
    factories.VisitFactory(site=site, technician=user if person == "technician" else None)
    client.force_login(user)
    for name in ("site_edit", "site_archive", "site_delete"):
        assert client.post(reverse(f"sites:{name}", args=[site.pk])).status_code == 403
    assert client.get(reverse("sites:site_new")).status_code == 403


def test_the_office_adds_a_site(office_page, site):
    response = office_page.post(reverse("sites:site_new"), site_data(site))
    added = Site.objects.get(name="North Yard")
    assert response.headers["Location"] == reverse("sites:site_page", args=[added.pk])
    assert added.open_weekdays == [0, 2]
    assert added.permitted_weekdays == [1, 5]
    assert added.closes_at == dt.time(16, 30)
    assert AuditEntry.objects.get(verb="created", subject_id=str(added.pk)).detail["values"]["town"] == "Testham"


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"latitude": "95"}, "latitude", "Are latitude and longitude the wrong way round?"),
        ({"longitude": "-181"}, "longitude", "Longitude lies between −180 and 180 degrees."),
        ({"closes_at": "07:30"}, "closes_at", "The closing time must be after the opening time, 08:00."),
        ({"watering_window_end": "22:00"}, "watering_window_end", "The window must not end when it starts."),
        ({"open_weekdays": []}, "open_weekdays", "Tick at least one day"),
        ({"permitted_weekdays": []}, "permitted_weekdays", "Tick the weekdays on which watering is permitted."),
        ({"open_weekdays": ["9"]}, "open_weekdays", "Weekdays are a list of whole numbers"),
        ({"time_zone": "Mars/Base"}, "time_zone", "Not a time zone name."),
        ({"elevation_m": "9000"}, "elevation_m", "Must be at most 6,000.0 m."),
    ],
)
def test_a_wrong_entry_is_told_beside_its_field_and_nothing_typed_is_lost(office_page, site, typed, field, words):
    response = office_page.post(reverse("sites:site_edit", args=[site.pk]), site_data(site, **typed))
    assert response.status_code == 422
    assert list(response.context["form"].errors) == [field]
    assert words in response.context["form"].errors[field][0]
    text = response.content.decode()
    assert f'id="id_{field}_error"' in text
    assert "Key under the third stone." in text
    site.refresh_from_db()
    assert site.name == "Hazel Court"


def test_an_archived_site_leaves_the_list_and_comes_back(office_page, site):
    archive = reverse("sites:site_archive", args=[site.pk])
    assert "Archive Hazel Court?" in office_page.get(archive).content.decode()
    office_page.post(archive)
    page_text(office_page, "sites:site_list")  # shows once what was done
    assert "Hazel Court" not in page_text(office_page, "sites:site_list")
    assert "Hazel Court" in page_text(office_page, "sites:site_list", archived="1")
    office_page.post(archive)
    site.refresh_from_db()
    assert site.archived_at is None
    assert set(AuditEntry.objects.values_list("verb", flat=True)) == {"archived", "restored"}


@pytest.mark.parametrize(("state", "archived"), [("planned", False), ("started", False), ("open", True)])
def test_a_site_on_a_technicians_day_is_not_archived(office_page, site, technician, state, archived):
    day = dt.date(2026, 4, 1)
    factories.VisitFactory(site=site, technician=technician, planned_on=day, state=state)

    page = office_page.post(reverse("sites:site_archive", args=[site.pk]), follow=True).content.decode()

    site.refresh_from_db()
    assert (site.archived_at is not None) is archived
    assert ("Cancel or finish it first." in page) is not archived


def test_a_strange_address_finds_nothing_and_breaks_nothing(office_page, site):
    assert page_text(office_page, "sites:site_list", q="\x00%_'", page="²")
    assert office_page.get(f"/sites/{10**30}/").status_code == 404
    assert office_page.get(reverse("sites:site_new"), {"client": "²"}).status_code == 200


def test_what_is_worth_a_look_is_told_with_figures_to_staff_and_not_to_the_client(client, office, client_user, site):
    controller = site.controllers.get()
    controller.valves.update(terminal=1)
    site.zones.filter(number=1).update(flow_l_min=80)
    client.force_login(office)
    text = page_text(client, "sites:site_page", site.pk)
    assert "Valve 1 and Valve 2 are both on terminal 1 of Controller" in text
    assert "zone 80.0 L/min; supply 60.0 L/min" in text
    assert (
        reverse("sites:controller_edit", args=[controller.pk]) in text.split('id="checks"')[1].split("</section>")[0]
    )
    client.force_login(client_user)
    assert "Worth a look" not in page_text(client, "sites:site_page", site.pk)


def test_days_are_told_as_people_say_them():
    assert weekday_words([0, 1, 2, 3, 4]) == "Mon to Fri"
    assert weekday_words([5, 1, 3]) == "Tue, Thu, Sat"
    assert weekday_words(list(range(7))) == "every day"
    assert spans([1, 2, 3, 7]) == "1–3, 7"
    assert spans([]) == ""


@pytest.mark.parametrize(
    ("due_on", "state"),
    [
        (None, "unknown"),
        (dt.date(2026, 5, 9), "overdue"),
        (dt.date(2026, 5, 10), "soon"),
        (dt.date(2026, 6, 9), "soon"),
        (dt.date(2026, 6, 10), "later"),
    ],
)
def test_a_backflow_test_is_overdue_from_the_day_after_it_was_due(due_on, state):
    assert backflow_test_state(due_on, dt.date(2026, 5, 10)) == state
