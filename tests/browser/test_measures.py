"""The phone's script judges a measurement by the table the page carries, and says what the form says."""

import uuid

import pytest

from jobs.core.rulebook import MEASUREMENT, NUMBERS
from jobs.forms.field import MeasurementForm
from jobs.queries.field_bundle import _units
from sites.core.units import to_display

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

JUDGE = "([values, units]) => Measures.judge(Measures.rules, values, units)"


def wrong_entries(system: str) -> list[dict[str, str]]:
    """What a person types, a field beyond its limits each, then what says nothing or contradicts itself."""
    entries = [{"coil_resistance_ohm": "abc"}, {"flow_l_min": "1,000"}, {}, {"temperature_c": "20"}]
    entries += [{"coil_resistance_ohm": "30", "open_circuit": True}, {"voltage_v": "0"}, {"note": "wet box"}]
    for name in NUMBERS:
        field = MEASUREMENT[name]
        for value in (field.least - 5, field.most * 1.5):
            typed = to_display(value, field.quantity, system) if field.quantity else value
            entries.append({name: f"{typed:.3f}"})
    return entries


@pytest.mark.parametrize("system", ["metric", "us"])
def test_the_script_refuses_what_the_form_refuses_in_the_same_words(open_as, technician, firm, system):
    firm.units = system
    firm.save()
    page = open_as(technician, phone=True)
    page.goto("/field/")
    page.wait_for_function("() => globalThis.Measures && Measures.rules")
    refused = 0
    for typed in wrong_entries(system):
        _, told = page.evaluate(JUDGE, [typed, _units()])
        form = MeasurementForm({"uuid": str(uuid.uuid4()), **typed}, winter=True)
        assert {name: [words] for name, words in told.items()} == form.errors, typed
        refused += bool(told)
    assert refused == 5 + 2 * len(NUMBERS)
