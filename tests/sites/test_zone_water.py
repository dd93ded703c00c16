"""Water and pressure on screen: the register's figures worked out, and what is missing named."""

import pytest
from django.urls import reverse

from sites.models import Controller, Pump, Valve, WaterSupply, Zone
from sites.queries.plant import site_plant
from tests import factories
from tests.sites.test_plant_forms import PUMP, ZONE, add, edit, shown

CURVE = {
    "shutoff_head_m": "45",
    "curve_flow_1_l_min": "100",
    "curve_head_1_m": "40",
    "curve_flow_2_l_min": "166.6666667",
    "curve_head_2_m": "30",
    "efficiency_percent": "60",
    "energy_price_per_kwh": "0.30",
}
# Worked by hand: 120 m of 40 mm, 8 m up, 250 kPa at 7 m3/h.
PIPE = {
    "flow_l_min": 7000 / 60,
    "pipe_length_m": 120 / 1.1,
    "pipe_inside_mm": 40,
    "pipe_material": "pvc",
    "head_rise_m": 8,
    "head_pressure_kpa": 250,
}


@pytest.fixture
def office_page(client, office):
    client.force_login(office)
    return client


@pytest.fixture
def pumped(site):
    WaterSupply.objects.filter(site=site).update(kind="pump", flow_available_l_min=240)
    supply = site.supplies.get()
    Pump.objects.create(supply=supply, **{name: float(value) for name, value in CURVE.items()})
    Zone.objects.filter(site=site).update(**PIPE)
    Valve.objects.filter(controller__site=site).update(pressure_loss_kpa=0)
    return site


def page(client, site):
    response = client.get(reverse("sites:zone_water", args=[site.pk]))
    assert response.status_code == 200
    return " ".join(response.content.decode().split())


def test_an_empty_register_says_what_it_needs(office_page, site):
    text = page(office_page, site)
    assert "Every zone still needs: inside diameter of the pipe, material of the pipe, length of the pipe" in text
    assert "cannot compute" in text
    assert "0 kPa" not in text


def test_the_pump_s_operating_point_power_and_cost(office_page, pumped):
    # 6.751 m3/h = 112.5 L/min at 38.56 m (126.5 ft), 232.5 kPa, 1.49 m/s, 1.18 kW, 0.175 kWh a cubic metre
    text = page(office_page, pumped)
    for words in ("112.5 L/min", "1.49 m/s", "233 kPa", "38.6 m", "1.18 kW", "0.17 kWh per m³", "0.05 USD per m³"):
        assert words in text, words
    assert "still needs" not in text


def test_the_same_in_us_units(office_page, pumped, firm):
    firm.units = "us"
    firm.save()
    text = page(office_page, pumped)
    for words in ("29.7 gpm", "4.9 ft/s", "33.7 psi", "126 ft", "kWh per 1,000 gal", "USD per 1,000 gal"):
        assert words in text, words
    assert "kPa" not in text
    assert "m/s" not in text


def test_what_one_zone_lacks_stands_below_it(office_page, pumped):
    zone = pumped.zones.get(number=2)
    zone.pipe_length_m = None
    zone.save()
    Pump.objects.update(energy_price_per_kwh=None)
    text = page(office_page, pumped)
    assert "Every zone still needs: price of a kWh." in text
    assert "Zone 2 cannot be computed in full: needs length of the pipe." in text


def test_zones_that_can_run_together(office_page, pumped):
    text = page(office_page, pumped)
    assert "It opens one valve at a time" in text
    assert "<li>zone 1 Zone 1 with zone 2 Zone 2</li>" in text  # 233 of 240 L/min
    assert "The transformer is not counted" in text  # no coil's holding load is recorded
    Valve.objects.update(coil_holding_va=24)
    assert "Supply and transformer would feed" in page(office_page, pumped)
    assert "alone: zone 1 Zone 1, zone 2 Zone 2" in page(office_page, pumped)  # 48 of 40 VA
    Controller.objects.update(most_valves_open=2, one_valve_at_a_time=False, transformer_va=60)
    assert "with up to 2 valves open" in page(office_page, pumped)
    WaterSupply.objects.update(flow_available_l_min=None)
    assert "Cannot compute: needs flow available at the supply." in page(office_page, pumped)


def test_the_number_of_queries_does_not_grow_with_the_zones(
    office_page, pumped, django_assert_max_num_queries, django_assert_num_queries
):
    url = reverse("sites:zone_water", args=[pumped.pk])
    with django_assert_max_num_queries(25) as few:
        office_page.get(url)
    controller = pumped.controllers.get()
    for number in range(3, 7):
        valve = factories.ValveFactory(controller=controller, terminal=number)
        factories.ZoneFactory(site=pumped, valve=valve, number=number, **PIPE)
    with django_assert_num_queries(len(few)):
        office_page.get(url)


def test_the_register_s_checks_tell_fast_water_and_low_pressure(office_page, pumped):
    Zone.objects.filter(number=1).update(pipe_inside_mm=30)
    Zone.objects.filter(number=2).update(head_rise_m=60)
    text = office_page.get(reverse("sites:site_page", args=[pumped.pk])).content.decode()
    assert "Water runs too fast in the pipe of Zone 1" in text
    assert "The heads of Zone 1 Zone 1 get too little pressure" in text
    assert "cannot lift water to Zone 2" in text
    assert "not lifted" in page(office_page, pumped)


def test_a_technician_reads_it_and_is_offered_no_editing(client, technician, pumped):
    factories.VisitFactory(site=pumped, technician=technician, state="planned", planned_on="2026-04-01")
    client.force_login(technician)
    text = page(client, pumped)
    assert "38.6 m" in text
    assert "/edit/" not in text.split('id="zones"')[1]


def test_a_curve_is_whole_or_not_there_and_falls(office_page, site):
    supply = site.supplies.get()
    half = add(office_page, "pump", supply, {**PUMP, "shutoff_head_m": "45"}, status=422)
    assert set(half.context["form"].errors) == {n for n in CURVE if n.startswith("curve_")}
    assert half.context["form"]["shutoff_head_m"].value() == "45"
    bad = {**PUMP, **CURVE, "curve_head_1_m": "46", "curve_flow_2_l_min": "90"}
    wrong = add(office_page, "pump", supply, bad, status=422)
    assert set(wrong.context["form"].errors) == {"curve_head_1_m", "curve_flow_2_l_min"}
    add(office_page, "pump", supply, {**PUMP, **CURVE})
    pump = supply.pump
    assert site_plant(site).supplies[0].curve.c == pytest.approx(2.1507, abs=0.0001)
    edit(office_page, "pump", pump, shown(office_page, "pump", pump))
    pump.refresh_from_db()
    assert pump.curve_flow_2_l_min == 166.6666667


def test_flowing_water_has_less_pressure_than_standing_water(office_page, site):
    supply = site.supplies.get()
    values = {**shown(office_page, "supply", supply), "working_pressure_kpa": "430"}
    response = edit(office_page, "supply", supply, values, status=422)
    assert "working_pressure_kpa" in response.context["form"].errors


def test_a_zone_takes_its_pipe_in_the_firm_s_units_and_the_next_repeats_it(office_page, site, firm):
    firm.units = "us"
    firm.save()
    pipe = {"pipe_length_m": "100", "pipe_inside_mm": "1.049", "pipe_material": "pvc", "head_pressure_kpa": "30"}
    add(office_page, "zone", site, {**ZONE, **pipe, "head_rise_m": "-5"})
    zone = site.zones.get(number=7)
    assert zone.pipe_length_m == pytest.approx(30.48)
    assert zone.pipe_inside_mm == pytest.approx(26.6446)
    assert zone.head_rise_m == pytest.approx(-1.524)
    following = office_page.get(reverse("sites:zone_new", args=[site.pk]) + f"?after={zone.pk}").context["form"]
    assert following["pipe_material"].value() == "pvc"
    wrong = add(office_page, "zone", site, {**ZONE, "number": "8", "pipe_inside_mm": "0"}, status=422)
    assert "pipe_inside_mm" in wrong.context["form"].errors


def test_the_api_has_the_fields_and_the_same_rules(office_page, pumped):
    pump = Pump.objects.get()
    url = reverse("api-pumps-detail", args=[pump.pk])
    assert office_page.get(url).json()["shutoff_head_m"] == 45
    refused = office_page.patch(url, {"curve_head_1_m": 50}, content_type="application/json")
    assert refused.status_code == 400
    assert "curve_head_1_m" in refused.json()
    half = office_page.patch(url, {"curve_head_2_m": None}, content_type="application/json")
    assert half.status_code == 400
    assert office_page.get(reverse("api-zones-detail", args=[pumped.zones.first().pk])).json()["head_rise_m"] == 8
