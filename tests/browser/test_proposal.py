"""A proposal from the office's desk to the client's telephone, in a real browser: no page's script or security header
stands in the way of the form."""

import pytest

from jobs.models import Proposal, Visit
from reports.models import Document
from tests import factories

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def grave_findings(page) -> list:
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page).response["violations"]
    return [(one["id"], one["nodes"][0]["html"][:200]) for one in found if one["impact"] in ("serious", "critical")]


def test_the_office_proposes_and_the_client_accepts_on_the_telephone(open_as, browser, live_server, office, site):
    fault = factories.FaultFactory(site=site, part_needed="coupling")
    factories.PriceItemFactory(name="Technician", unit="hour", price="68")
    desk = open_as(office)
    desk.goto(f"/faults/{fault.pk}/")
    desk.click("text=Make a proposal")
    desk.fill("[name=lines-0-unit_price]", "9.60")
    desk.select_option("[name=lines-1-item]", label="Technician, 68.00 per hour")
    desk.fill("[name=lines-1-quantity]", "1.5")
    assert grave_findings(desk) == []
    desk.click("text=Save, look at it and send")
    assert "111.60 USD" in desk.inner_text("main")
    assert grave_findings(desk) == []
    desk.click("text=Send it to the client")
    desk.wait_for_url("**/reports/*/send/")
    desk.fill("#link_label", "Hazel")
    desk.click("text=Make a link")
    address = desk.input_value("#address")

    host = live_server.url.replace("127.0.0.1", "localhost")
    phone = browser.new_context(viewport={"width": 390, "height": 844}, base_url=host).new_page()
    phone.goto(address.split("localhost:8000")[1])
    assert grave_findings(phone) == []
    assert phone.evaluate("document.documentElement.scrollWidth") == 390
    phone.click("text=Send the answer")
    assert "Enter your name." in phone.inner_text("main")
    phone.check("input[value=accept]")
    phone.fill("[name=name]", "Hazel Court")
    phone.check("[name=confirm]")
    phone.click("text=Send the answer")
    phone.wait_for_url("**/shared/*/")
    assert "by Hazel Court" in phone.inner_text("main")
    phone.context.close()

    assert Proposal.objects.get().state == "accepted"
    assert Visit.objects.get(kind="repair").service_min == 90
    assert Document.objects.get().kind == "proposal"
    desk.goto("/proposals/?standing=accepted")
    assert "Hazel Court" in desk.inner_text("main table")
    assert grave_findings(desk) == []
