"""The card inside a controller's door is read in a hurry: what it orders must hurt nobody."""

import pytest

from reports.documents.plant import who_to_call
from reports.queries.controller_card import controller_card_data
from sites.models import Controller, Pump, WaterSupply


@pytest.fixture
def supply(site):
    WaterSupply.objects.filter(site=site).update(shutoff_location="behind the gate")
    return WaterSupply.objects.filter(site=site).first()


def called(supply) -> tuple[str, ...]:
    card = controller_card_data(Controller.objects.get(site=supply.site))
    return who_to_call(card.firm, card.plant, card.controller)


def stop_line(supply) -> str:
    return called(supply)[1]


@pytest.mark.parametrize(("kind", "pumped"), [("mains", False), ("gravity", False), ("pump", True), ("well", True)])
def test_all_water_is_stopped_pump_first(supply, kind, pumped):
    WaterSupply.objects.filter(pk=supply.pk).update(kind=kind)
    line = stop_line(supply)
    assert line.startswith(f"To stop all water: {'pump off first, then ' if pumped else ''}shut")
    assert "behind the gate" in line
    assert "building or fire line" in line


def test_a_booster_on_mains_goes_off_first_too(supply):
    WaterSupply.objects.filter(pk=supply.pk).update(kind="mains")
    Pump.objects.create(supply=supply)
    assert "pump off first, then shut" in stop_line(supply)


def test_no_line_where_no_shut_off_is_recorded(supply):
    WaterSupply.objects.filter(pk=supply.pk).update(shutoff_location="")
    assert len(called(supply)) == 1
