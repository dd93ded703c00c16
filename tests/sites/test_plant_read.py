"""The plant read from the register: one description, few queries, nothing impossible in it."""

from dataclasses import fields

import pytest
from django.urls import reverse

from sites.core import plant
from sites.models import BackflowAssembly, Controller, Pump, Valve, WaterSupply, Zone
from sites.queries.plant import site_plant, site_plants
from tests import factories

MODELS = {
    plant.Pump: Pump,
    plant.Supply: WaterSupply,
    plant.Backflow: BackflowAssembly,
    plant.Controller: Controller,
    plant.Valve: Valve,
    plant.Zone: Zone,
}


@pytest.mark.parametrize(("kind", "model"), MODELS.items())
def test_the_description_has_every_column_of_the_register_and_its_defaults(kind, model):
    columns = {field.attname: field for field in model._meta.concrete_fields}
    described = {field.name for field in fields(kind)} - {"pump"}
    assert described == set(columns) - {"site_id"} - ({"id", "supply_id"} if kind is plant.Pump else set())
    for name, value in plant.defaults(kind).items():
        if name in columns and columns[name].has_default():
            assert value == columns[name].get_default(), name


def test_many_sites_are_read_with_as_many_queries_as_one(site, django_assert_num_queries):
    others = [factories.SiteFactory() for _ in range(3)]
    Zone.objects.create(site=others[0], number=1, name="Bed", planting="shrubs", emitter="rotor")
    Pump.objects.create(supply=site.supplies.get())
    with django_assert_num_queries(5):
        alone = site_plant(site)
    with django_assert_num_queries(5):
        plants = site_plants([site, *others])
    assert plants[site.pk] == alone
    assert [str(zone) for zone in alone.zones] == [str(zone) for zone in site.zones.all()]
    assert alone.supplies[0].pump == plant.Pump()
    assert [str(zone) for zone in plants[others[0].pk].zones] == ["1 Bed"]
    assert plants[others[1].pk].zones == ()


def test_a_figure_that_cannot_be_is_found_and_counts_as_not_known(client, office, site):
    zone = site.zones.first()
    Zone.objects.filter(pk=zone.pk).update(flow_l_min=-5)
    Valve.objects.filter(pk=zone.valve_id).update(closes_from_s=30)
    found = site_plant(site)
    assert found.zones[0].flow_l_min is None
    assert {(one.subject, one.subject_id, one.field.name) for one in found.refused} == {
        ("zone", zone.pk, "flow_l_min"),
        ("valve", zone.valve_id, "closes_from_s"),
    }
    client.force_login(office)
    shown = client.get(reverse("sites:site_page", args=[site.pk])).content.decode()
    assert f"{zone}: flow cannot be as it is recorded" in shown
    assert "recorded −5.0 L/min" in shown
    assert client.get(reverse("sites:zone_water", args=[site.pk])).status_code == 200
