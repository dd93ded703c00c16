import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from sites.core.metering import REGISTER_UNITS_M3
from sites.models import Meter, MeterReading
from tests import factories


@pytest.fixture
def meter(site):
    meter = factories.MeterFactory(site=site, digits=5, serial_number="88-1")
    factories.MeterReadingFactory(meter=meter, read_on=dt.date(2026, 5, 1), counter=99874)
    return meter


@pytest.fixture
def office_page(client, office):
    client.force_login(office)
    return client


def read(client, meter, status=302, **typed):
    response = client.post(reverse("sites:reading_new", args=[meter.pk]), {"read_on": "2026-06-01"} | typed)
    assert response.status_code == status
    return response


def errors(response) -> dict:
    return response.context["form"].errors


def test_a_new_meter_without_a_reading_stands_on_the_site_page(office_page, site):
    factories.MeterFactory(site=site, serial_number="88-2")
    page = office_page.get(reverse("sites:site_page", args=[site.pk]))
    assert page.status_code == 200
    assert "88-2" in page.content.decode()


def test_a_reading_is_kept_with_who_read_it_and_told_as_use(office_page, office, meter):
    read(office_page, meter, counter="99900.5")
    assert MeterReading.objects.latest("pk").read_by == office
    text = office_page.get(reverse("sites:site_page", args=[meter.site_id])).content.decode()
    assert "26.50 m³" in text


def test_a_falling_counter_is_asked_about_with_what_a_rollover_would_mean(office_page, meter):
    response = read(office_page, meter, status=422, counter="128", note="by the gate")
    (words,) = errors(response)["passed_its_end"]
    assert "lower than the reading before (99874.000 on 1 May 2026)" in words
    assert "254.00 m³ used" in words  # 99874 -> 128 on 5 digits: by hand
    text = response.content.decode()
    assert 'type="checkbox" name="passed_its_end"' in text
    assert 'value="by the gate"' in text
    assert meter.readings.count() == 1
    read(office_page, meter, counter="128", passed_its_end="on")
    assert "passed its end" in meter.readings.get(counter=128).note


def test_a_reading_put_in_between_must_fit_the_one_after_too(office_page, meter):
    factories.MeterReadingFactory(meter=meter, read_on=dt.date(2026, 7, 1), counter=99950)
    response = read(office_page, meter, status=422, counter="99960")
    assert "higher than the next reading (99950.000 on 1 Jul 2026)" in errors(response)["passed_its_end"][0]


def test_an_edit_compares_with_the_others_and_not_with_itself(office_page, meter):
    reading = meter.readings.get()
    address = reverse("sites:reading_edit", args=[reading.pk])
    assert office_page.post(address, {"read_on": "2026-05-01", "counter": "99000"}).status_code == 302
    reading.refresh_from_db()
    assert reading.counter == 99000


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"read_on": "2999-01-01", "counter": "99990"}, "read_on", "This day has not come yet."),
        ({"read_on": "2026-05-01", "counter": "99990"}, "read_on", "already has a reading on this day"),
        ({"counter": "100000"}, "counter", "The counter has 5 digits before the point."),
        ({"counter": "-1"}, "counter", "Must be at least 0"),
        ({"counter": "twelve"}, "counter", "Enter a number."),
    ],
)
def test_a_wrong_reading_is_told_beside_its_field(office_page, meter, typed, field, words):
    response = read(office_page, meter, status=422, **typed)
    assert words in errors(response)[field][0]


def test_tomorrow_is_judged_at_the_site_not_in_greenwich(office_page, site):
    site.time_zone = "Pacific/Pago_Pago"  # the day starts 11 hours after UTC
    site.save()
    meter = factories.MeterFactory(site=site)
    yesterday_there = timezone.now() - dt.timedelta(hours=11)
    read(office_page, meter, counter="1", read_on=yesterday_there.date().isoformat())
    tomorrow_there = (yesterday_there + dt.timedelta(days=1)).date().isoformat()
    assert errors(read(office_page, meter, status=422, counter="2", read_on=tomorrow_there))["read_on"]


def test_an_assigned_technician_reads_a_meter_and_a_client_does_not(client, technician, client_user, meter):
    client.force_login(technician)
    read(client, meter, status=404, counter="99900")
    factories.VisitFactory(site=meter.site, technician=technician)
    read(client, meter, counter="99900")
    client.force_login(client_user)
    read(client, meter, status=403, counter="99901")


def test_every_unit_a_meter_may_have_is_known():
    assert set(REGISTER_UNITS_M3) == set(Meter.Unit.stored())
