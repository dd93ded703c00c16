"""What has a history stays; what goes along is named before."""

import datetime as dt

import pytest
from django.db.models import ProtectedError
from django.urls import reverse
from django.utils import timezone

from jobs.models import ValveMeasurement
from sites.actions import register
from sites.models import Controller, Site, Valve, Zone
from sites.queries.deletion import deletion_of
from tests import factories


@pytest.fixture
def office_page(client, office):
    client.force_login(office)
    return client


def refused(client, kind, row) -> str:
    response = client.post(reverse(f"sites:{kind}_delete", args=[row.pk]))
    assert response.status_code == 409
    assert type(row).objects.filter(pk=row.pk).exists()
    return response.content.decode()


def test_a_valve_with_a_measurement_stays(office_page, site, technician):
    valve = Valve.objects.filter(controller__site=site).first()
    visit = factories.VisitFactory(site=site)
    ValveMeasurement.objects.create(visit=visit, valve=valve, measured_at=timezone.now())
    assert "It is part of 1 valve measurement" in refused(office_page, "valve", valve)
    assert "1 valve measurement" in refused(office_page, "controller", valve.controller)


def test_a_row_named_by_a_fault_stays_though_the_link_could_be_cut(office_page, site):
    zone = site.zones.first()
    factories.FaultFactory(site=site, zone=zone)
    assert "1 fault" in refused(office_page, "zone", zone)
    assert "Take it out of use instead." in refused(office_page, "zone", zone)


def test_a_site_with_visits_stays_and_may_be_archived(office_page, site):
    factories.VisitFactory(site=site)
    text = refused(office_page, "site", site)
    assert "1 visit" in text
    assert "Archive it instead." in text


def test_what_goes_along_is_named_and_goes(office_page, site):
    controller = site.controllers.get()
    deletion = deletion_of(controller)
    assert deletion.goes_along == ("2 valves",)
    assert deletion.loses_link == ("2 zones",)
    assert "2 valves" in office_page.get(reverse("sites:controller_delete", args=[controller.pk])).content.decode()
    office_page.post(reverse("sites:controller_delete", args=[controller.pk]))
    assert not Controller.objects.filter(pk=controller.pk).exists()
    assert Zone.objects.filter(site=site, valve=None).count() == 2


def test_a_site_entered_by_mistake_goes_with_all_that_stands_on_it(office_page, site, other_site):
    office_page.post(reverse("sites:site_delete", args=[site.pk]))
    assert list(Site.objects.all()) == [other_site]
    assert Valve.objects.count() == 2


def test_asking_by_get_deletes_nothing(office_page, site):
    office_page.get(reverse("sites:site_delete", args=[site.pk]))
    assert Site.objects.filter(pk=site.pk).exists()


def test_the_refusal_is_a_protected_error_for_callers_below_the_pages(office, site):
    factories.FaultFactory(
        site=site,
        valve=Valve.objects.filter(controller__site=site).first(),
        found_at=dt.datetime(2026, 6, 1, tzinfo=dt.UTC),
    )
    with pytest.raises(ProtectedError):
        register.delete(instance=site.controllers.get(), by=office)
