"""The register through the API: what forms never allow, JSON must not either."""

import pytest

from sites.models import Valve


@pytest.fixture
def as_office(client, office):
    client.force_login(office)
    return client


def patch(client, address, **values):
    return client.patch(address, values, content_type="application/json")


def test_a_row_cannot_be_moved_to_another_site(as_office, site, other_site):
    zone = site.zones.first()
    valve, elsewhere = zone.valve, other_site.controllers.get()

    for address, move in (
        (f"/api/valves/{valve.pk}/", {"controller": elsewhere.pk}),
        (f"/api/controllers/{valve.controller_id}/", {"site": other_site.pk, "supply": None}),
        (f"/api/zones/{zone.pk}/", {"site": other_site.pk, "valve": None, "number": 77}),
    ):
        answer = patch(as_office, address, **move)
        assert (answer.status_code, list(answer.json())) == (400, [next(iter(move))]), address

    zone.refresh_from_db()
    assert zone.site == zone.valve.controller.site == site


def test_a_row_that_names_the_place_where_it_stands_is_changed_as_asked(as_office, site):
    valve = Valve.objects.filter(controller__site=site).first()
    answer = patch(as_office, f"/api/valves/{valve.pk}/", controller=valve.controller_id, name="By the gate")
    assert (answer.status_code, answer.json()["name"]) == (200, "By the gate")


@pytest.mark.parametrize("text", ["²", "x", "-1", "9" * 30, "9" * 5000])
@pytest.mark.parametrize("address", ["/api/zones/?site=", "/api/weather-days/?station="])
def test_a_number_that_is_none_is_refused_in_words(as_office, address, text):
    assert as_office.get(address + text).status_code == 400
