"""A whole season in the browser: the office enters and plans, the technician works, the client gets the report.

The same steps a person takes, in Chromium, office wide and phone wide, on a database that starts with one firm, its
people and a weather station with real days.
"""

import datetime as dt
import io
from zoneinfo import ZoneInfo

import pytest
import vega_datasets
from django.utils import timezone
from PIL import Image

from jobs.models import Fault, ValveMeasurement, Visit
from reports.models import Delivery
from scheduling.actions.weather import import_station_text
from scheduling.models import SeasonSchedule
from sites.models import Zone
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.django_db(transaction=True)]


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
            choose(field, value)
        else:
            field.fill(value)
    press_button(page, press)


def choose(field, wanted: str) -> None:
    """A stored value in small letters, a label, or the last entry."""
    if wanted == "last":
        field.select_option(index=field.locator("option").count() - 1)
    elif wanted.islower():
        field.select_option(wanted)
    else:
        field.select_option(label=wanted)


def press_button(page, name: str) -> None:
    with page.expect_navigation():
        page.get_by_role("button", name=name, exact=True).first.click()


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
        {"number": "1", "name": "Front lawn", "valve": "last", "area_m2": "100", "planting": "cool_turf",
         "soil": "loam", "emitter": "rotor", "application_rate_mm_h": "12", "distribution_uniformity": "0.65",
         "flow_l_min": "20"},
    )  # fmt: skip
    assert Zone.objects.get().valve.name == "Valve 1"

    # The schedule: computed, read, published.
    desk.goto(f"/sites/{site_pk}/watering/")
    desk.locator("[name=month]").select_option(label="July")
    press_button(desk, "Compute")
    press_button(desk, "Publish")
    schedule = SeasonSchedule.objects.get()
    assert schedule.state == "published"
    july = schedule.zone_months.get(month=7)
    assert july.run_time_min_per_week > 60
    assert "Front lawn" in desk.locator("main").inner_text()

    # The season: what the site has ordered, when it may happen, made into visits, put onto days.
    desk.goto(f"/sites/{site_pk}/service-plan/")
    desk.locator("[name=startup]").uncheck()
    enter(desk, {"mid_season_visits": "0"})
    year, first = today().year, today()
    for kind in ("startup", "mid_season", "winterisation"):
        desk.goto(f"/season/{year}/windows/{kind}/")
        enter(desk, {"opens_on": str(first), "due_on": str(first + dt.timedelta(days=14)), "reason": "frost record"})
    press_button(desk, "Make the season's visits")
    desk.locator("summary", has_text="Plan open visits").click()
    desk.locator("[name=kinds][value=winterisation]").check()
    enter(
        desk,
        {"first_day": str(first), "last_day": str(first + dt.timedelta(days=14)), "seconds": "2"},
        "Plan these days",
    )
    press_button(desk, "Accept this plan")
    visit = Visit.objects.get()
    assert (visit.kind, visit.state, visit.technician) == ("winterisation", "planned", technician)
    desk.goto(f"/days/?date={visit.planned_on}")
    assert "Hazel garden" in desk.locator("main").inner_text()

    # The technician's phone.
    phone = open_as(technician, phone=True)
    phone.goto(f"/today/?date={visit.planned_on}")
    phone.get_by_role("link", name="Open this visit").click()
    press_button(phone, "Start the visit")
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
    press_button(desk, "Make the season report")
    press_button(desk, "Send now")
    desk.wait_for_selector(".tag.good:text-is('sent')")
    assert Delivery.objects.get().state == Delivery.State.SENT
    [mail] = mailoutbox
    assert mail.to == ["hazel@example.com"]
    assert mail.attachments[0].content.startswith(b"%PDF")


def today() -> dt.date:
    """Today where the firm is."""
    return timezone.localdate(timezone=ZoneInfo("America/Los_Angeles"))


def work_through(phone, visit) -> None:
    """One valve, one fault with a photo, then finish, accepting the steps that were left."""
    phone.goto(f"/visits/{visit.pk}/valves/{visit.site.controllers.get().valves.get().pk}/")
    enter(phone, {"coil_resistance_ohm": "34.1", "voltage_v": "25.2"}, press=first_button(phone))
    phone.goto(f"/visits/{visit.pk}/faults/new/")
    phone.locator("[name=kind]").select_option("pipe_leak")
    phone.locator("[name=severity][value=water_loss]").check()
    phone.locator("[name=description]").fill("Elbow weeps under pressure")
    phone.locator("[name=photos]").set_input_files(photo_of_a_leak())
    press_button(phone, "Save the fault")
    phone.goto(f"/visits/{visit.pk}/finish/")
    phone.locator("[name=accept_reason]").fill("Shown only, not blown out")
    phone.locator("[name=signed_by]").fill("Hazel")
    press_button(phone, "Finish the visit")


def first_button(phone) -> str:
    return phone.locator("main form button").first.inner_text().strip()
