"""The API's pages: every endpoint is described for its users, and every example is a body the endpoint takes."""

import pytest
from django.core.management import call_command
from django.utils import timezone
from drf_spectacular.generators import SchemaGenerator

from config.api_docs import ENDPOINTS
from config.api_urls import router
from tests import factories


@pytest.fixture(scope="module")
def schema():
    return SchemaGenerator().get_schema(request=None, public=True)


def operations(schema):
    return [
        (path, method, operation)
        for path, methods in schema["paths"].items()
        for method, operation in methods.items()
    ]


def test_every_endpoint_has_an_entry_and_every_entry_an_endpoint():
    assert set(ENDPOINTS) == {prefix for prefix, _, _ in router.registry}


def test_no_operation_or_row_speaks_to_the_developers_of_the_program(schema):
    for path, method, operation in operations(schema):
        assert operation["summary"] and operation["description"], (path, method)
        assert "hidden_from" not in operation["description"] and "`visible_to`" not in operation["description"]
    assert {name for name, row in schema["components"]["schemas"].items() if "description" in row} == set()


def test_the_schema_is_made_without_a_warning(capsys):
    call_command("spectacular", validate=True, fail_on_warn=True)

    assert "openapi" in capsys.readouterr().out


def test_every_body_that_can_be_posted_has_an_example(schema):
    posted = [path for path, method, _ in operations(schema) if method == "post" and path.count("/") == 3]

    assert {path for path in posted if not ENDPOINTS[path.split("/")[2]].example} == set()


@pytest.mark.parametrize("name", sorted(name for name, endpoint in ENDPOINTS.items() if endpoint.example))
def test_each_example_is_taken_as_it_stands(as_office, office, site, technician, name):
    rows = {
        "client": site.client,
        "site": site,
        "supply": site.supplies.get(),
        "controller": site.controllers.get(),
        "valve": site.controllers.get().valves.first(),
        "meter": factories.MeterFactory(site=site),
    }
    if name == "measurements":
        rows["visit"] = factories.VisitFactory(
            site=site, technician=technician, state="started", started_at=timezone.now()
        )
    body = {key: rows[key].pk if key in rows else value for key, value in ENDPOINTS[name].example.items()}

    answer = as_office.post(f"/api/{name}/", body, content_type="application/json")

    assert answer.status_code == 201, answer.content.decode()
