"""The register through the API: what forms never allow, JSON must not either."""

import datetime as dt

import pytest

from jobs.queries.planning import firm_today
from sites.models import Valve
from tests import factories


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


def test_a_valve_sits_on_a_terminal_that_its_controller_has(as_office, site):
    controller = site.controllers.get()
    valve = controller.valves.first()
    beyond = patch(as_office, f"/api/valves/{valve.pk}/", terminal=controller.terminals + 1)
    shrunk = patch(as_office, f"/api/controllers/{controller.pk}/", terminals=1)

    assert (beyond.status_code, list(beyond.json())) == (400, ["terminal"])
    assert (shrunk.status_code, shrunk.json()) == (400, {"terminals": ["A valve sits on terminal 2. Move it first."]})


def test_a_reading_has_happened_fits_the_register_and_names_who_sent_it(as_office, office, site):
    meter = factories.MeterFactory(site=site, digits=6)
    day = firm_today() - dt.timedelta(days=1)

    def send(**values):
        return as_office.post("/api/meter-readings/", {"meter": meter.pk, "read_on": day, "counter": "12"} | values)

    assert list(send(counter="1000000").json()) == ["counter"]
    assert list(send(read_on=day + dt.timedelta(days=9)).json()) == ["read_on"]
    assert send().json()["read_by"] == office.pk
    assert meter.readings.count() == 1


@pytest.mark.parametrize("text", ["²", "x", "-1", "9" * 30, "9" * 5000])
@pytest.mark.parametrize("address", ["/api/zones/?site=", "/api/weather-days/?station="])
def test_a_number_that_is_none_is_refused_in_words(as_office, address, text):
    assert as_office.get(address + text).status_code == 400


@pytest.mark.parametrize("figure", [1e308, -1e12, 10**11])
def test_a_figure_beyond_any_site_is_refused_beside_its_name(as_office, site, figure):
    zone = site.zones.first()
    answer = patch(as_office, f"/api/zones/{zone.pk}/", area_m2=figure)
    assert (answer.status_code, list(answer.json())) == (400, ["area_m2"])
