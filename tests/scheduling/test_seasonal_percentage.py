"""One percent setting for a controller, and which measurement would sharpen a zone most, on their pages."""

import datetime as dt

import pytest
from django.urls import reverse

from scheduling.actions.schedules import compute_draft, publish
from scheduling.queries.seasonal_percentage import seasonal_percentages
from sites.models import Controller

JULY = dt.date(2015, 7, 15)


@pytest.fixture
def published(seattle, site):
    site.zones.filter(number=2).update(planting="drought_tolerant", application_rate_mm_h=None, emitter="fixed_spray")
    return publish(schedule=compute_draft(site=site, today=JULY, by=None, month=7), by=None)


def test_each_month_takes_the_percent_of_least_weighted_harm(published):
    """Harm = sum of area x sensitivity x (set - own)^2 over the multiples of 5, searched plainly."""
    (one,) = seasonal_percentages(published)
    turf, dry = one.zones
    for month in range(12):
        harm = {
            each: 0.7 * (each - turf.own[month]) ** 2 + 0.4 * (each - dry.own[month]) ** 2
            for each in range(0, 151, 5)
        }
        assert one.months[month].percent == min(harm, key=lambda each: (harm[each], each))
    july = published.zone_months.get(zone=turf.zone, month=7)
    peak = published.zone_months.filter(zone=turf.zone).order_by("-percent_of_peak").first()
    cost = (one.months[6].percent - july.percent_of_peak) / 100 * peak.water_l
    assert turf.over_l[6] == pytest.approx(cost)


def test_a_controller_with_a_setting_for_each_zone_needs_none(published):
    Controller.objects.update(has_seasonal_percentage=False)
    assert seasonal_percentages(published) == ()


def test_the_pages_show_percents_and_what_to_measure_first(published, client, technician, office, client_user):
    client.force_login(office)
    page = client.get(reverse("scheduling:seasonal_percentage", args=[published.pk])).content.decode()
    assert page.count("<small>") == 24
    zone = published.site.zones.get(number=2)
    figure = reverse("scheduling:figure", args=[published.pk, zone.pk, 7])
    assert "What to measure first" in client.get(figure).content.decode()
    client.force_login(client_user)
    assert "What to measure first" not in client.get(figure).content.decode()
