"""What a form refuses the API refuses, in the same words: every field of the rulebook is taken over its limits."""

import uuid
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest
from django.forms import ModelForm
from django.utils import timezone

from jobs.actions.field import start_visit
from jobs.core.field_records import Words, read_record
from jobs.core.rulebook import MEASUREMENT, PRICE_ITEM, SERVICE_PLAN, VISIT_TERMS
from jobs.forms.field import MeasurementForm
from jobs.forms.planning import ServicePlanForm, VisitTermsForm
from jobs.forms.priced import PriceItemForm
from jobs.models import ServicePlan, VisitTerms
from scheduling.forms.weather import StationForm
from sites.core.rulebook import TABLES, Field, Kind, Table
from sites.core.rulebook.fields import NUMERIC
from sites.core.units import to_display
from sites.forms.meters import MeterForm, MeterReadingForm
from sites.forms.places import ClientForm, SiteForm, TariffBlockForm, TariffForm
from sites.forms.plant import BackflowAssemblyForm, ControllerForm, PumpForm, ValveForm, WaterSupplyForm, ZoneForm
from sites.models import Tariff, TariffBlock
from tests import factories

ALL_TABLES = {
    **TABLES,
    "service plan": SERVICE_PLAN,
    "visit terms": VISIT_TERMS,
    "price item": PRICE_ITEM,
    "measurement": MEASUREMENT,
}
FORMS: dict[str, type[ModelForm]] = {
    "client": ClientForm,
    "site": SiteForm,
    "supply": WaterSupplyForm,
    "pump": PumpForm,
    "backflow": BackflowAssemblyForm,
    "controller": ControllerForm,
    "valve": ValveForm,
    "zone": ZoneForm,
    "meter": MeterForm,
    "reading": MeterReadingForm,
    "station": StationForm,
    "tariff": TariffForm,
    "tariff block": TariffBlockForm,
    "service plan": ServicePlanForm,
    "visit terms": VisitTermsForm,
    "price item": PriceItemForm,
}
ADDRESSES = {
    "client": "clients",
    "site": "sites",
    "supply": "supplies",
    "pump": "pumps",
    "backflow": "backflow-assemblies",
    "controller": "controllers",
    "valve": "valves",
    "zone": "zones",
    "meter": "meters",
    "reading": "meter-readings",
    "station": "stations",
    "tariff": "tariffs",
    "service plan": "service-plans",
    "price item": "price-items",
}


def row_of(kind: str, site: Any) -> Any:
    """An ordinary row of the table."""
    valve = site.controllers.get().valves.first()
    makers = {
        "client": lambda: site.client,
        "site": lambda: site,
        "supply": lambda: site.supplies.get(),
        "pump": lambda: factories.PumpFactory(supply=site.supplies.get()),
        "backflow": lambda: factories.BackflowAssemblyFactory(site=site),
        "controller": lambda: valve.controller,
        "valve": lambda: valve,
        "zone": lambda: site.zones.first(),
        "meter": lambda: factories.MeterFactory(site=site),
        "reading": lambda: factories.MeterReadingFactory(meter=factories.MeterFactory(site=site)),
        "station": lambda: site.weather_station,
        "tariff": lambda: Tariff.objects.create(name="Town"),
        "tariff block": lambda: TariffBlock.objects.create(
            tariff=Tariff.objects.create(name="Town"), from_m3=0, price_per_m3=Decimal("1.2")
        ),
        "service plan": lambda: ServicePlan.objects.create(site=site),
        "visit terms": lambda: VisitTerms.objects.create(site=site),
        "price item": lambda: factories.PriceItemFactory(),
    }
    return makers[kind]()


def over_its_limits(field: Field) -> Iterator[Any]:
    """Values that the field cannot take, SI, as JSON would send them."""
    if field.kind in NUMERIC:
        step = max(1.0, abs(field.most) / 50) if field.kind is Kind.NUMBER else 1
        yield field.least - step
        yield field.most + step
        yield "nan"
        yield "abc"
    elif field.kind is Kind.CHOICE:
        yield "nonsense"
    elif field.kind is Kind.EMAIL:
        yield "not an address"
    elif field.kind is Kind.DATE:
        yield "2026-13-40"
    elif field.kind is Kind.TIME:
        yield "25:99"
    elif field.kind is Kind.WEEKDAYS:
        yield [9]
    elif field.kind is Kind.ROW:
        yield 10**9
    elif field.name == "time_zone":
        yield "Nowhere/At_All"
    if field.longest and field.kind in (Kind.TEXT, Kind.NOTE) and field.name != "time_zone":
        yield "x" * (field.longest + 1)
    if not field.empty and field.kind is not Kind.YES_NO:
        yield [] if field.kind is Kind.WEEKDAYS else None


def walk(tables: dict[str, Table]) -> list[Any]:
    return [
        pytest.param(kind, field, value, id=f"{kind}.{field.name}-{str(value)[:12]}")
        for kind, table in tables.items()
        for field in table
        for value in over_its_limits(field)
    ]


def form_of(kind: str, row: Any, changed: dict[str, Any]) -> ModelForm:
    """The form as a browser sends it: everything as shown, but for what is changed."""
    more = {"technicians": []} if kind == "visit terms" else {}
    shown = FORMS[kind](instance=row, **more)
    data = {bound.html_name: bound.value() for bound in shown if bound.value() is not None} | changed
    data = {name: "" if value is None else value for name, value in data.items()}
    return FORMS[kind](data=data, instance=row, **more)


@pytest.fixture
def us_firm(firm):
    firm.units = "us"
    firm.save()


REGISTER = {kind: table for kind, table in ALL_TABLES.items() if kind in FORMS}


@pytest.mark.parametrize(("kind", "field", "value"), walk(REGISTER))
def test_form_and_api_refuse_the_same_in_the_same_words(as_office, site, kind, field, value):
    row = row_of(kind, site)
    form = form_of(kind, row, {field.name: value})
    if (kind, field.name) == ("visit terms", "frost_days") and value is None:
        assert form.is_valid()  # left empty it means 0
        return
    assert not form.is_valid()
    assert list(form.errors) == [field.name]

    if kind not in ADDRESSES:
        return
    sent = "" if value is None and field.kind in (Kind.TEXT, Kind.NOTE, Kind.CHOICE) else value
    address = f"/api/{ADDRESSES[kind]}/{row.pk}/"
    answer = as_office.patch(address, {field.name: sent}, content_type="application/json")
    assert (answer.status_code, answer.json()) == (400, {field.name: form.errors[field.name]})


@pytest.mark.parametrize(
    ("kind", "field", "value"), [each for each in walk(REGISTER) if each.values[1].quantity and each.values[1].most]
)
def test_a_us_firm_reads_the_same_limit_in_its_own_units(us_firm, site, kind, field, value):
    if not isinstance(value, int | float):
        return
    row = row_of(kind, site)
    try:
        typed = to_display(value, field.quantity, "us")
    except ValueError:
        return  # no gauge stands for a section below nothing
    form = form_of(kind, row, {field.name: repr(typed)})
    assert form.errors == {field.name: [field.refusal(value, "us")]}


def test_every_table_is_walked():
    assert set(ALL_TABLES) - set(FORMS) == {"measurement"}
    assert set(FORMS) - set(ADDRESSES) == {"tariff block", "visit terms"}  # they have no endpoint of their own


@pytest.fixture
def measured(client, technician, site):
    visit = factories.VisitFactory(site=site, technician=technician)
    start_visit(visit=visit, by=technician)
    client.force_login(technician)
    valve = site.controllers.get().valves.first()
    return {"visit": visit.pk, "valve": valve.pk, "measured_at": timezone.now().isoformat()}


def by_the_phone(values: dict[str, Any]) -> dict[str, list[str]]:
    record = {
        "schema": 1,
        "device": str(uuid.uuid4()),
        "sequence": 1,
        "kind": "measurement",
        "visit": str(uuid.uuid4()),
        "recorded_at": "2026-11-30T10:00:00+00:00",
        "data": {"valve": 1, **values},
    }
    errors = read_record(record, Words(frozenset(), frozenset())).errors
    return {name.removeprefix("data."): words for name, words in errors.items()}


MEASURED_WRONG = [
    *(each.values[1:] for each in walk({"measurement": MEASUREMENT}) if isinstance(each.values[2], int | float)),
    (MEASUREMENT["note"], "x" * 301),
    (MEASUREMENT["opens"], "nonsense"),
]


@pytest.mark.parametrize(("field", "value"), MEASURED_WRONG, ids=lambda one: getattr(one, "name", str(one)[:12]))
def test_form_api_and_phone_refuse_a_measurement_in_the_same_words(client, measured, field, value):
    told = {"note": "wire looks new", field.name: value}
    form = MeasurementForm({"uuid": str(uuid.uuid4()), **{k: str(v) for k, v in told.items()}}, winter=True)
    refused = {field.name: form.errors[field.name]}
    assert form.errors == refused
    sent = measured | {"uuid": str(uuid.uuid4())} | told
    assert client.post("/api/measurements/", sent, content_type="application/json").json() == refused
    assert by_the_phone(told) == refused


@pytest.mark.parametrize(
    "told", [{}, {"temperature_c": 20.0}, {"coil_resistance_ohm": 30.0, "open_circuit": True, "note": "odd"}]
)
def test_a_measurement_that_says_nothing_or_contradicts_itself_is_refused_alike(client, measured, told):
    form = MeasurementForm({"uuid": str(uuid.uuid4()), **{k: str(v) for k, v in told.items()}}, winter=False)
    assert len(form.errors) == 1
    sent = measured | {"uuid": str(uuid.uuid4())} | told
    assert client.post("/api/measurements/", sent, content_type="application/json").json() == form.errors
    assert by_the_phone(told) == form.errors
