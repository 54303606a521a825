import json

import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

from tests.api.routes import routes


@pytest.fixture(scope="module")
def document():
    from django.test import Client  # noqa: PLC0415  (settings are ready only inside a test)

    return json.loads(Client().get("/api/v1/openapi.json").content)


def test_the_document_is_valid_openapi_31(document):
    assert document["openapi"].startswith("3.1")
    assert list(OpenAPIV31SpecValidator(document).iter_errors()) == []


def test_the_document_has_every_route(document):
    shown = {(method.upper(), path) for path, methods in document["paths"].items() for method in methods}
    wanted = {
        (route.method, "/" + route.pattern.replace("<uuid:", "{").replace("<str:", "{").replace(">", "}"))
        for route in routes()
    }

    assert wanted - shown == set()


def test_every_operation_of_a_farm_prints_who_may(document):
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            if "{farm}" in path and not path.endswith("/farms/{farm}"):
                assert operation["x-scope"], (method, path)
                assert "owner" in operation["x-roles"]


def test_operations_have_names_of_their_own_and_say_what_they_do(document):
    operations = [one for methods in document["paths"].values() for one in methods.values()]
    names = [one["operationId"] for one in operations]

    assert len(names) == len(set(names))
    assert [one["operationId"] for one in operations if not one.get("description")] == []


def test_the_page_for_people_needs_nothing_from_elsewhere(client):
    page = client.get("/api/v1/docs").content.decode()

    assert "work-orders" in page
    assert "http://" not in page and "https://" not in page
