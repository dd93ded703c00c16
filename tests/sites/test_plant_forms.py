"""New, edit and delete of everything that stands on a site, in metric and US units."""

import pytest
from django.urls import reverse

from sites.models import AuditEntry, BackflowAssembly, Controller, Meter, Pump, Valve, WaterSupply, Zone
from tests import factories

ZONE = {
    "number": "7",
    "name": "Rose bed",
    "planting": "shrubs",
    "slope_percent": "0",
    "exposure": "sun",
    "emitter": "drip_grid",
    "figures_origin": "design",
    "in_use": "on",
}
VALVE = {"terminal": "5", "name": "Valve 5", "opens_within_s": "5", "closes_from_s": "0", "closes_within_s": "15"}
CONTROLLER = {
    "name": "Garage",
    "terminals": "12",
    "output": "ac24",
    "most_valves_open": "1",
    "colliding_programs": "queue",
    "command_delay_bound_s": "2",
}
PUMP = {
    "name": "Booster",
    "prime_delay_s": "5",
    "minimum_run_s": "60",
    "minimum_rest_s": "60",
    "run_down_s": "2",
    "most_starts_per_hour": "6",
}


@pytest.fixture
def office_page(client, office):
    client.force_login(office)
    return client


@pytest.fixture
def us_firm(firm):
    firm.units = "us"
    firm.save()


def add(client, kind, parent, data, status=302):
    response = client.post(reverse(f"sites:{kind}_new", args=[parent.pk]), data)
    assert response.status_code == status
    return response


def edit(client, kind, row, data, status=302):
    response = client.post(reverse(f"sites:{kind}_edit", args=[row.pk]), data)
    assert response.status_code == status
    return response


def shown(client, kind, row) -> dict:
    """What stands in the fields of a row's form, as a browser would send it back."""
    form = client.get(reverse(f"sites:{kind}_edit", args=[row.pk])).context["form"]
    values = {name: form[name].value() for name in form.fields}
    return {name: value for name, value in values.items() if not (value is None or value is False or value == "")}


@pytest.mark.parametrize(
    ("kind", "model", "data"),
    [
        ("supply", WaterSupply, {"name": "Street", "kind": "mains", "static_pressure_kpa": "400"}),
        ("backflow", BackflowAssembly, {"kind": "double_check", "size_mm": "25", "test_due_on": "2030-04-01"}),
        ("controller", Controller, CONTROLLER),
        ("zone", Zone, ZONE),
        ("meter", Meter, {"serial_number": "88-1", "unit": "m3", "digits": "6", "multiplier": "1"}),
    ],
)
def test_the_office_adds_edits_and_deletes_what_stands_on_a_site(office_page, site, kind, model, data):
    add(office_page, kind, site, data)
    row = model.objects.latest("pk")
    assert row.site == site
    same = shown(office_page, kind, row)
    edit(office_page, kind, row, same)
    entries = AuditEntry.objects.filter(subject_id=str(row.pk), subject_type=row._meta.label_lower)
    assert [entry.verb for entry in entries] == ["created"]  # an edit that changes nothing leaves no trace
    response = office_page.post(reverse(f"sites:{kind}_delete", args=[row.pk]))
    assert response.status_code == 302
    assert not model.objects.filter(pk=row.pk).exists()
    assert entries.filter(verb="deleted").count() == 1


def test_a_valve_is_added_to_a_controller_and_edited(office_page, site):
    controller = site.controllers.get()
    add(office_page, "valve", controller, VALVE | {"coil_resistance_ohm": "33", "wire_section_mm2": "1.5"})
    valve = controller.valves.get(terminal=5)
    edit(office_page, "valve", valve, VALVE | {"coil_resistance_ohm": "35", "wire_section_mm2": "1.5"})
    valve.refresh_from_db()
    assert valve.coil_resistance_ohm == 35
    changed = AuditEntry.objects.get(verb="changed").detail["changed"]
    assert changed == {"coil_resistance_ohm": [33.0, 35.0]}


def test_a_supply_with_a_pump_leads_on_to_the_pump(office_page, site):
    response = add(office_page, "supply", site, {"name": "Well", "kind": "pump"})
    supply = WaterSupply.objects.get(name="Well")
    assert response.headers["Location"] == reverse("sites:pump_new", args=[supply.pk])
    add(office_page, "pump", supply, PUMP)
    assert Pump.objects.get().supply == supply
    again = add(office_page, "pump", supply, PUMP, status=422)
    assert "already exists" in again.content.decode()


def test_a_zone_number_is_given_once_on_a_site_and_again_on_another(office_page, site, other_site):
    response = add(office_page, "zone", site, ZONE | {"number": "2"}, status=422)
    assert response.context["form"].errors["number"] == ["This site already has a zone 2: Zone 2."]
    assert 'value="Rose bed"' in response.content.decode()
    Zone.objects.filter(site=other_site, number=2).delete()
    add(office_page, "zone", other_site, ZONE | {"number": "2"})


def test_a_valve_of_another_site_is_neither_offered_nor_accepted(office_page, site, other_site):
    foreign = Valve.objects.filter(controller__site=other_site).first()
    page = office_page.get(reverse("sites:zone_new", args=[site.pk]))
    offered = {value for value, _ in page.context["form"]["valve"].field.choices}
    assert str(foreign.pk) not in {str(value) for value in offered}
    response = add(office_page, "zone", site, ZONE | {"valve": foreign.pk}, status=422)
    assert response.context["form"].errors["valve"] == ["This is not a valve of this site."]
    foreign_supply = other_site.supplies.get()
    response = add(office_page, "controller", site, CONTROLLER | {"supply": foreign_supply.pk}, status=422)
    assert response.context["form"].errors["supply"] == ["This is not a supply of this site."]


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"terminal": "9"}, "terminal", "Controller has terminals 1 to 8."),
        ({"wire_section_mm2": "0"}, "wire_section_mm2", "Valve wire lies between 0.1 mm² and 35.0 mm²."),
        ({"wire_section_mm2": "180"}, "wire_section_mm2", "Valve wire lies between 0.1 mm² and 35.0 mm²."),
        ({"coil_resistance_ohm": "-4"}, "coil_resistance_ohm", "Must be above 0."),
        ({"wire_length_m": "nan"}, "wire_length_m", "Enter a number."),
    ],
)
def test_a_wrong_valve_is_told_beside_its_field(office_page, site, typed, field, words):
    response = add(office_page, "valve", site.controllers.get(), VALVE | typed, status=422)
    assert words in response.context["form"].errors[field][0]
    assert f'value="{next(iter(typed.values()))}"' in response.content.decode()


def test_a_controller_keeps_the_terminals_its_valves_sit_on(office_page, site):
    response = edit(office_page, "controller", site.controllers.get(), CONTROLLER | {"terminals": "1"}, status=422)
    assert response.context["form"].errors["terminals"] == ["A valve sits on terminal 2. Move it first."]


def test_the_next_valve_repeats_what_does_not_change_and_takes_the_next_free_terminal(office_page, site):
    controller = site.controllers.get()
    data = VALVE | {"terminal": "3", "coil_resistance_ohm": "29", "wire_section_mm2": "0.75", "wire_length_m": "80"}
    response = add(office_page, "valve", controller, data | {"add_next": "1"})
    form = office_page.get(response.headers["Location"]).context["form"]
    assert form["terminal"].value() == 4
    assert form["name"].value() == "Valve 4"
    assert form["coil_resistance_ohm"].value() == 29
    assert form["wire_section_mm2"].value() == 0.75
    assert form["wire_length_m"].value() is None  # differs from valve to valve


def test_the_next_zone_repeats_planting_and_emitter_and_takes_the_next_valve(office_page, site):
    controller = site.controllers.get()
    free = [factories.ValveFactory(controller=controller, terminal=terminal) for terminal in (3, 4)]
    start = office_page.get(reverse("sites:zone_new", args=[site.pk])).context["form"]
    assert (start["number"].value(), start["valve"].value()) == (3, free[0].pk)
    data = ZONE | {"number": "3", "valve": free[0].pk, "soil": "clay", "application_rate_mm_h": "22"}
    response = add(office_page, "zone", site, data | {"add_next": "1"})
    form = office_page.get(response.headers["Location"]).context["form"]
    assert form["number"].value() == 4
    assert form["valve"].value() == free[1].pk
    assert form["name"].value() == ""
    assert [form[name].value() for name in ("planting", "soil", "emitter")] == ["shrubs", "clay", "drip_grid"]
    assert form["application_rate_mm_h"].value() == 22


def test_a_us_firm_types_psi_and_the_register_keeps_kilopascals(office_page, us_firm, site):
    add(office_page, "supply", site, {"name": "Street", "kind": "mains", "static_pressure_kpa": "100"})
    supply = WaterSupply.objects.get(name="Street")
    assert supply.static_pressure_kpa == pytest.approx(689.4757, abs=1e-4)  # 100 psi, NIST SP 811 B.8
    page = office_page.get(reverse("sites:supply_edit", args=[supply.pk])).content.decode()
    assert 'name="static_pressure_kpa" value="100.0"' in page
    assert "(psi)" in page
    assert "100.0 psi" in office_page.get(reverse("sites:site_page", args=[site.pk])).content.decode()


def test_saving_a_form_untouched_in_us_units_alters_no_figure(office_page, us_firm, site):
    zone, valve, supply = site.zones.first(), Valve.objects.filter(controller__site=site).first(), site.supplies.get()
    before = [Zone.objects.values().get(pk=zone.pk), Valve.objects.values().get(pk=valve.pk)]
    for kind, row in (("zone", zone), ("valve", valve), ("supply", supply)):
        edit(office_page, kind, row, shown(office_page, kind, row))
    assert [Zone.objects.values().get(pk=zone.pk), Valve.objects.values().get(pk=valve.pk)] == before
    assert not AuditEntry.objects.exists()


def test_a_us_firm_types_wire_by_gauge(office_page, us_firm, site):
    controller = site.controllers.get()
    add(office_page, "valve", controller, VALVE | {"wire_section_mm2": "18"})
    # AWG 18 is 0.823 mm² of copper: ASTM B258 table.
    assert controller.valves.get(terminal=5).wire_section_mm2 == pytest.approx(0.823, abs=0.001)


def test_a_limit_is_told_in_the_units_typed(office_page, us_firm, site):
    response = add(office_page, "zone", site, ZONE | {"root_depth_m": "36"}, status=422)
    assert response.context["form"].errors["root_depth_m"] == ["Must be at most 9.8 ft."]
    response = add(office_page, "supply", site, {"name": "x", "kind": "mains", "static_pressure_kpa": "1e308"}, 422)
    assert response.context["form"].errors["static_pressure_kpa"] == ["This number is too large."]


def test_the_next_backflow_test_lies_after_the_last(office_page, site):
    data = {"kind": "double_check", "last_tested_on": "2026-04-01", "test_due_on": "2026-04-01"}
    response = add(office_page, "backflow", site, data, status=422)
    assert response.context["form"].errors["test_due_on"] == ["The next test must lie after the last one."]


PLANT = ["supply", "pump", "backflow", "controller", "valve", "zone", "meter", "reading"]


def rows_of(site) -> dict:
    supply = site.supplies.get()
    meter = factories.MeterFactory(site=site)
    return {
        "supply": supply,
        "pump": factories.PumpFactory(supply=supply),
        "backflow": factories.BackflowAssemblyFactory(site=site),
        "controller": site.controllers.get(),
        "valve": site.controllers.get().valves.first(),
        "zone": site.zones.first(),
        "meter": meter,
        "reading": factories.MeterReadingFactory(meter=meter),
    }


def test_an_assigned_technician_and_the_client_may_not_edit_plant(client, technician, client_user, site):
    factories.VisitFactory(site=site, technician=technician)
    rows = rows_of(site)
    for user in (technician, client_user):
        client.force_login(user)
        for kind, row in rows.items():
            assert client.post(reverse(f"sites:{kind}_edit", args=[row.pk])).status_code == 403
            assert client.post(reverse(f"sites:{kind}_delete", args=[row.pk])).status_code == 403


def test_a_row_that_is_not_there_is_not_found(office_page, site):
    for kind in PLANT:
        assert office_page.get(reverse(f"sites:{kind}_edit", args=[10**6])).status_code == 404
        assert office_page.post(reverse(f"sites:{kind}_new", args=[10**6])).status_code == 404


def test_a_row_of_another_site_does_not_lend_its_figures(office_page, site, other_site):
    foreign = other_site.zones.first()
    Zone.objects.filter(pk=foreign.pk).update(planting="vegetables")
    form = office_page.get(reverse("sites:zone_new", args=[site.pk]), {"after": foreign.pk}).context["form"]
    assert form["planting"].value() is None or form["planting"].value() == ""


def test_seconds_no_plant_takes_are_refused_beside_their_field(office_page, site):
    """A digit too many once made the site's watering pages unreadable: no week could be planned."""
    controller, supply = site.controllers.get(), site.supplies.get()
    for kind, parent, data, name, most in (
        ("controller", site, CONTROLLER, "command_delay_bound_s", 3600),
        ("valve", controller, VALVE, "closes_within_s", 3600),
        ("pump", supply, PUMP, "minimum_rest_s", 86400),
    ):
        page = add(office_page, kind, parent, data | {name: "1e9" if kind != "pump" else "999999999"}, status=422)
        assert f"Must be at most {most:,} s." in page.content.decode()
    add(office_page, "controller", site, CONTROLLER | {"command_delay_bound_s": "3600"})


@pytest.mark.parametrize(
    ("units", "name", "typed", "told"),
    [
        ("metric", "pipe_inside_mm", "1e308", "at most 2,000 mm"),
        ("us", "pipe_inside_mm", "200", "at most 78.7"),
        ("metric", "head_pressure_kpa", "25000", "at most 2,500 kPa"),
        ("metric", "pipe_length_m", "1e9", "at most 50,000"),
    ],
)
def test_a_pipe_no_site_has_is_refused_in_the_shown_unit(office_page, firm, site, units, name, typed, told):
    firm.units = units
    firm.save()
    page = add(office_page, "zone", site, ZONE | {name: typed}, status=422).content.decode()
    assert f"Must be {told}" in page
    assert f'value="{typed}"' in page
