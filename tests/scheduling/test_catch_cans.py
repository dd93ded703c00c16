"""Catch-can tests: entered as a pasted list, worked out, taken over into the register."""

import datetime as dt

import pytest
from django.urls import reverse

from scheduling.core.water.can_map import can_map
from scheduling.models import CatchCanTest
from scheduling.queries.register import zone_inputs
from sites.models import AuditEntry
from tests import factories

# Reference 3.2, own data: mean 40.667 mL, DU 0.6926, rate 24.21 mm/h with a mouth of 84 cm2 and 12 min.
CANS_24 = "22 25 28 30 31 33\n34;35;36;38;39;40\n41,42,44,45,46,47\n48\t50\t52\t54\t56\t60"
# University extension set of 15 cans: DU 0.4962.
CANS_15 = [47, 42, 45, 24, 13, 26, 33, 34, 27, 30, 40, 44, 32, 12, 12]


@pytest.fixture
def zone(site):
    return site.zones.get(number=1)


def typed(**changed):
    return {"tested_on": "2026-05-04", "minutes": "12", "mouth_cm2": "84", "catches_ml": CANS_24, **changed}


def enter(client, zone, **changed):
    return client.post(reverse("scheduling:catch_can_test_new", args=[zone.pk]), typed(**changed))


def test_a_pasted_list_becomes_a_test_with_the_published_figures(client, office, zone):
    client.force_login(office)
    answer = enter(client, zone, cans_per_row="6")
    assert answer.status_code == 302
    page = client.get(answer.url).content.decode()
    assert "24.2 mm/h" in page
    assert '<strong class="figure">0.69</strong>' in page
    assert page.count('class="can-low"') == 6
    assert "Repair before" not in page


@pytest.mark.parametrize(
    "changed, words",
    [
        ({"catches_ml": "22 25 x3 30"}, "Can 3: “x3” is no number"),
        ({"catches_ml": "22 25"}, "2 cans were read; a test needs 4 to 400"),
        ({"catches_ml": "0 0 0 0"}, "No can caught any water"),
        ({"catches_ml": "nan 1 2 3"}, "Can 1: nan mL is outside"),
        ({"tested_on": "2099-01-01"}, "cannot lie in the future"),
        ({"minutes": "0"}, "greater than or equal to 1"),
    ],
)
def test_a_bad_entry_is_told_beside_its_field_and_nothing_typed_is_lost(client, office, zone, changed, words):
    client.force_login(office)
    answer = enter(client, zone, note="kept words", **changed)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert words in page
    assert "kept words" in page
    assert not CatchCanTest.objects.exists()


def test_taking_over_makes_rate_and_uniformity_measured_and_leaves_the_flow_its_origin(client, office, zone):
    client.force_login(office)
    enter(client, zone)
    test = CatchCanTest.objects.get()
    for _ in range(2):
        client.post(reverse("scheduling:catch_can_take_over", args=[test.pk]))
    zone.refresh_from_db()
    assert (zone.application_rate_mm_h, zone.distribution_uniformity) == (24.21, 0.693)
    assert (zone.figures_origin, zone.flow_origin, zone.measured_on) == ("measured", "design", dt.date(2026, 5, 4))
    inputs = zone_inputs(zone, zone.site)
    assert (inputs.application_rate_mm_h.origin, inputs.application_rate_mm_h.note) == (
        "measured",
        "measured on 4 May 2026",
    )
    assert inputs.flow_l_min.origin == "register"
    assert AuditEntry.objects.filter(verb="changed", subject_type="sites.zone").count() == 1


def test_a_technician_enters_a_test_but_the_office_writes_it_to_the_zone(client, technician, zone):

    factories.VisitFactory(site=zone.site, technician=technician)
    client.force_login(technician)
    assert enter(client, zone).status_code == 302
    test = CatchCanTest.objects.get()
    assert client.post(reverse("scheduling:catch_can_take_over", args=[test.pk])).status_code == 403


def test_low_uniformity_says_repair_before_adding_water(client, office, zone):
    client.force_login(office)
    url = enter(client, zone, catches_ml="5 5 5 60 60 60 60 60 60 60 60 60").url
    assert "Repair before adding water" in client.get(url).content.decode()


def test_the_map_rings_the_lowest_quarter_rounded_half_up():
    """15 cans: 4 low ones (UC Davis guide: the low quarter); the three driest and the next, can 4 with 24 mL."""
    drawn = can_map(CANS_15, 5)
    assert [can.number for can in drawn.cans if can.low] == [4, 5, 14, 15]
    assert (drawn.width, drawn.height) == (500, 300)
    assert (drawn.cans[5].x, drawn.cans[5].y) == (50, 150)
