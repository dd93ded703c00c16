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


DAY_S = 86_400


def test_seven_figures_no_site_has_are_refused_by_the_api_with_the_forms_words(as_office, site):
    controller, zone, supply = site.controllers.get(), site.zones.first(), site.supplies.get()
    valve, assembly = controller.valves.first(), factories.BackflowAssemblyFactory(site=site)
    tried = (
        (f"supplies/{supply.pk}", {"static_pressure_kpa": 9000}, "Must be at most 2,500 kPa."),
        (
            f"backflow-assemblies/{assembly.pk}",
            {"last_tested_on": "2026-05-01", "test_due_on": "2026-04-01"},
            "The next test must lie after the last one.",
        ),
        (
            f"zones/{zone.pk}",
            {"figures_origin": "unknown"},
            "Say where rate and uniformity are from: otherwise they are not used.",
        ),
        (f"zones/{zone.pk}", {"pipe_length_m": 90_000_000}, "Must be at most 50,000.0 m."),
        (
            f"valves/{valve.pk}",
            {"wire_section_mm2": 500},
            "Valve wire lies between 0.1 mm² and 35.0 mm². Gauge and mm² mixed up?",
        ),
        (f"valves/{valve.pk}", {"opens_within_s": 11 * DAY_S}, "Must be at most 3,600 s."),
        (f"controllers/{controller.pk}", {"command_delay_bound_s": 115 * DAY_S}, "Must be at most 3,600 s."),
    )
    for address, values, words in tried:
        answer = patch(as_office, f"/api/{address}/", **values)
        assert (answer.status_code, answer.json()) == (400, {list(values)[-1]: [words]})


def test_a_row_from_before_a_limit_is_read_and_changed_elsewhere(as_office, site):
    valve = site.controllers.get().valves.first()
    Valve.objects.filter(pk=valve.pk).update(wire_section_mm2=500.0, closes_from_s=99.0, closes_within_s=9.0)
    address, page = f"/api/valves/{valve.pk}/", f"/valves/{valve.pk}/edit/"

    whole = as_office.get(address).json()
    assert whole["wire_section_mm2"] == 500.0
    assert patch(as_office, address, name="By the gate").status_code == 200
    sent = as_office.put(address, whole | {"location": "left of the drive"}, content_type="application/json")
    assert (sent.status_code, sent.json()["location"]) == (200, "left of the drive")

    shown = as_office.get(page).context["form"]
    data = {field.html_name: field.value() for field in shown if field.value() is not None}
    assert as_office.post(page, data | {"name": "By the door"}).status_code == 302
    valve.refresh_from_db()
    assert (valve.name, valve.wire_section_mm2, valve.closes_from_s) == ("By the door", 500.0, 99.0)
    assert as_office.get(f"/sites/{site.pk}/").status_code == 200

    assert list(patch(as_office, address, wire_section_mm2=501).json()) == ["wire_section_mm2"]
    assert list(patch(as_office, address, closes_within_s=10).json()) == ["closes_from_s"]
    assert as_office.post(page, data | {"wire_section_mm2": "501"}).status_code == 422
    assert patch(as_office, address, wire_section_mm2=0.75).status_code == 200


def test_a_falling_register_is_asked_about_and_kept_when_it_passed_its_end(as_office, site):
    meter = factories.MeterFactory(site=site, digits=6)
    factories.MeterReadingFactory(meter=meter, read_on=dt.date(2026, 5, 1), counter=999_990)
    sent = {"meter": meter.pk, "read_on": "2026-06-01", "counter": "15"}

    asked = as_office.post("/api/meter-readings/", sent)
    assert (asked.status_code, list(asked.json())) == (400, ["passed_its_end"])
    assert "25.00 m³ used" in asked.json()["passed_its_end"][0]  # 999990 to 1000000 and on to 15
    kept = as_office.post("/api/meter-readings/", sent | {"passed_its_end": True})
    assert (kept.status_code, kept.json()["note"]) == (201, "counter passed its end, 25.00 m³ used")
