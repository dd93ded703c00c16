"""A whole season in the browser: the office enters and plans, the technician works, the client gets the report.

The same steps a person takes, in Chromium, office wide and phone wide, on a database that starts with one firm, its
people and a weather station with real days.
"""

import io

import pytest
import vega_datasets
from PIL import Image

from jobs.models import Fault, ValveMeasurement, Visit
from reports.models import Delivery
from scheduling.actions.weather import import_station_text
from scheduling.models import SeasonSchedule
from sites.models import Zone
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def station(firm, office):
    """The real Seattle days of 2012 to 2015, through the import a user uses."""
    station = factories.WeatherStationFactory(code="SEA", name="Seattle record")
    path = vega_datasets.local_data.seattle_weather.filepath
    with open(path) as file:
        import_station_text(
            station=station, text=file.read(), file_name="seattle.csv", file_format="seattle",
            keep_good_rows=False, by=office,
        )  # fmt: skip
    return station


def photo_of_a_leak() -> dict:
    file = io.BytesIO()
    Image.new("RGB", (1200, 900), (120, 140, 90)).save(file, "JPEG")
    return {"name": "leak.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()}


def enter(page, fields: dict[str, str], press: str = "Save") -> None:
    """Fill the page's form by field name and press the button."""
    for name, value in fields.items():
        field = page.locator(f"main form [name={name}]").first
        if field.evaluate("element => element.tagName") == "SELECT":
            field.select_option(value if value.islower() else None, label=None if value.islower() else value)
        else:
            field.fill(value)
    page.get_by_role("button", name=press, exact=True).first.click()


def test_a_site_goes_from_its_first_entry_to_the_season_report(
    open_as, station, office, technician, settings, mailoutbox
):
    desk = open_as(office)

    # Winter: the register.
    desk.goto("/clients/new/")
    enter(desk, {"name": "Hazel Court", "email": "hazel@example.com", "phone": "+1 206 555 0100"})
    desk.goto("/sites/new/")
    enter(
        desk,
        {
            "client": "Hazel Court", "name": "Hazel garden", "address": "1 Test Lane", "town": "Testham",
            "latitude": "95", "longitude": "-122.30", "elevation_m": "50", "weather_station": "Seattle record",
        },
    )  # fmt: skip
    assert desk.locator(".field.wrong [name=latitude]").input_value() == "95"
    assert desk.locator("[name=town]").input_value() == "Testham"
    enter(desk, {"latitude": "47.62"})
    site_url = desk.url
    site_pk = int(site_url.rstrip("/").split("#")[0].rstrip("/").split("/")[-1])
    desk.goto(f"/sites/{site_pk}/supplies/new/")
    enter(desk, {"name": "Mains", "kind": "mains", "static_pressure_kpa": "420", "flow_available_l_min": "60"})
    desk.goto(f"/sites/{site_pk}/controllers/new/")
    enter(desk, {"name": "Garage", "supply": "Mains (mains)", "terminals": "4", "transformer_va": "40"})
    desk.goto(f"/sites/{site_pk}/")
    desk.get_by_role("link", name="Add valve").click()
    enter(
        desk,
        {"terminal": "1", "name": "Valve 1", "coil_resistance_ohm": "32", "wire_length_m": "60",
         "wire_section_mm2": "0.823"},
    )  # fmt: skip
    desk.goto(f"/sites/{site_pk}/zones/new/")
    enter(
        desk,
        {"number": "1", "name": "Front lawn", "valve": "1 · Valve 1", "area_m2": "100", "planting": "cool_turf",
         "soil": "loam", "emitter": "rotor", "application_rate_mm_h": "12", "distribution_uniformity": "0.65",
         "flow_l_min": "20"},
    )  # fmt: skip
    assert Zone.objects.get().valve.name == "Valve 1"

    # The schedule: computed, read, published.
    desk.goto(f"/sites/{site_pk}/watering/")
    desk.locator("[name=month]").select_option(label="July")
    desk.get_by_role("button", name="Compute").click()
    desk.get_by_role("button", name="Publish").first.click()
    schedule = SeasonSchedule.objects.get()
    assert schedule.state == "published"
    july = schedule.zone_months.get(month=7)
    assert july.run_time_min_per_week > 60
    assert "Front lawn" in desk.locator("main").inner_text()

    # A visit, given to the technician for today.
    visit = factories.VisitFactory(
        site_id=site_pk, kind="winterisation", technician=technician, planned_on=today(), state="planned",
        opens_on=today(), due_on=today(), season_year=today().year,
    )  # fmt: skip

    # The technician's phone.
    phone = open_as(technician, phone=True)
    phone.goto("/today/")
    phone.get_by_role("link", name="Open this visit").click()
    phone.get_by_role("button", name="Start the visit").click()
    phone.goto(f"/visits/{visit.pk}/")
    assert "Eye" in phone.locator("main").inner_text()
    work_through(phone, visit)

    visit.refresh_from_db()
    assert visit.state == Visit.State.FINISHED
    assert ValveMeasurement.objects.get().coil_resistance_ohm == 34.1
    fault = Fault.objects.get()
    assert (fault.severity, fault.photos.count()) == ("water_loss", 1)

    # The report, from the page to the client's mailbox.
    desk.goto(f"/sites/{site_pk}/reports/")
    desk.get_by_role("button", name="Make the season report").click()
    desk.get_by_role("button", name="Send now").click()
    desk.wait_for_selector("text=accepted by the mail server")
    assert Delivery.objects.get().state == Delivery.State.SENT
    [mail] = mailoutbox
    assert mail.to == ["hazel@example.com"]
    assert mail.attachments[0].content.startswith(b"%PDF")


def today():
    from django.utils import timezone

    return timezone.localdate()


def work_through(phone, visit) -> None:
    """One valve, one fault with a photo, then finish, accepting the steps that were left."""
    phone.goto(f"/visits/{visit.pk}/valves/{visit.site.controllers.get().valves.get().pk}/")
    enter(phone, {"coil_resistance_ohm": "34.1", "voltage_v": "25.2"}, press=first_button(phone))
    phone.goto(f"/visits/{visit.pk}/faults/new/")
    phone.locator("[name=kind]").select_option("pipe_leak")
    phone.locator("[name=severity][value=water_loss]").check()
    phone.locator("[name=description]").fill("Elbow weeps under pressure")
    phone.locator("[name=photos]").set_input_files(photo_of_a_leak())
    phone.get_by_role("button", name="Save the fault").click()
    phone.goto(f"/visits/{visit.pk}/finish/")
    phone.locator("[name=accept_reason]").fill("Shown only, not blown out")
    phone.locator("[name=signed_by]").fill("Hazel")
    phone.get_by_role("button", name="Finish the visit").click()


def first_button(phone) -> str:
    return phone.locator("main form button").first.inner_text().strip()
