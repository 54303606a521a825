import json
import re
import tomllib
from pathlib import Path

import pytest
from django.apps import apps
from jsonschema import Draft202012Validator, FormatChecker
from openapi_spec_validator import OpenAPIV31SpecValidator
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

import mixing
from mixing.request_reading import REQUEST_FIELDS
from orchard.api import schema as schemas_of
from orchard.api.fields import Amount
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


def with_examples(part, at="#"):
    """Yield each part of the document that has examples: schemas, parameters, bodies."""
    if isinstance(part, dict):
        if "examples" in part or "example" in part:
            yield at, part
        for name, inner in part.items():
            yield from with_examples(inner, f"{at}/{name}")
    elif isinstance(part, list):
        for number, inner in enumerate(part):
            yield from with_examples(inner, f"{at}/{number}")


def examples_of(part):
    """Return the examples of a schema (a list) and of a parameter or body (named, each with its value)."""
    told = part.get("examples", [])
    named = [one["value"] for one in told.values()] if isinstance(told, dict) else told
    return [*named, *([part["example"]] if "example" in part else [])]


def test_every_example_is_as_its_schema_says(document):
    known = Registry().with_resource("", Resource(document, DRAFT202012))
    seen = 0
    for at, part in with_examples(document):
        schema = part.get("schema", part)
        for example in examples_of(part):
            inner = {"components": document["components"], **schema}
            check = Draft202012Validator(inner, registry=known, format_checker=FormatChecker())
            assert [one.message for one in check.iter_errors(example)] == [], at
            seen += 1

    assert seen > 100


def test_the_page_for_people_needs_nothing_from_elsewhere(client):
    page = client.get("/api/v1/docs").content.decode()

    assert "work-orders" in page
    assert "http://" not in page and "https://" not in page


def test_a_quantity_names_the_units_that_are_taken_and_its_example_is_taken(document):
    tank = document["components"]["schemas"]["SprayerInputRequest"]["properties"]["tank"]
    told = tank["properties"]["unit"]["description"]

    assert told.startswith("volume: `") and "`gal`" in told and "`lb`" not in told
    for name in (
        "volume",
        "mass",
        "area",
        "length",
        "time",
        "temperature",
        "volume/area",
        "mass/area",
        "volume/tree",
    ):
        field = Amount(name, sign="any")
        for example in field._spectacular_annotation["field"]["examples"]:
            assert field.to_internal_value(example).unit == example["unit"]


def fields(schema, path):
    """Yield each field below a schema, with where it stands."""
    for name, field in schema.get("properties", {}).items():
        yield f"{path}.{name}", field
        yield from fields(field, f"{path}.{name}")
        yield from fields(field.get("items", {}), f"{path}.{name}[]")


def test_every_field_of_every_form_says_what_it_is(document):
    schemas = document["components"]["schemas"]
    told = [pair for name, schema in schemas.items() for pair in fields(schema, name)]
    silent = [path for path, field in told if not {"description", "$ref", "allOf"} & field.keys()]

    assert len(told) > 2000
    assert silent == []


def test_no_words_are_kept_for_a_field_that_is_not_there(document):
    words = tomllib.loads((Path(schemas_of.__file__).parent / "described.toml").read_text())
    schemas = document["components"]["schemas"]
    told = [path for name, form in schemas.items() for path, _ in fields(form, name)]
    names = {path.rpartition(".")[2] for path in told}
    of_forms = {re.sub(r"^Patched|(Shown|Request)(?=\.)|\[\]", "", path) for path in told}

    assert words["every"].keys() - names == set()
    assert {f"{form}.{name}" for form, own in words["of"].items() for name in own} - of_forms == set()


def test_every_body_that_is_sent_has_an_example(document):
    schemas = document["components"]["schemas"]
    asked = {
        one["requestBody"]["content"]["application/json"]["schema"]["$ref"].rpartition("/")[2]
        for methods in document["paths"].values()
        for one in methods.values()
        if "application/json" in one.get("requestBody", {}).get("content", {})
    }

    assert len(asked) > 60
    assert {name for name in asked if not schemas[name].get("examples")} == set()


def test_the_example_of_a_mix_gets_a_report_with_amounts_for_each_load(document):
    (example,) = document["components"]["schemas"]["EngineInputRequest"]["examples"]

    report = mixing.check_mix(example)

    assert [load["spray"]["value"] for load in report["loads"]] == ["4", "4", "2"]
    assert report["not_checked"]


def test_the_form_of_a_mix_and_the_engine_agree_where_nothing_was_said(document):
    form = document["components"]["schemas"]["EngineInputRequest"]
    (example,) = form["examples"]
    as_the_form_says = Draft202012Validator(form).is_valid

    assert set(form["properties"]) == REQUEST_FIELDS
    for name in form["properties"]:
        unsaid = {**example, name: None}
        assert as_the_form_says(unsaid) == taken(unsaid) == (name not in form["required"]), name
    assert (
        taken({**example, "recipe": {}}) is False
    )  # what the engine keeps beside a request is no part of it
    assert as_the_form_says({**example, "products": []}) is taken({**example, "products": []}) is False


def taken(body):
    """Say whether the engine reads a body."""
    try:
        mixing.check_mix(body)
    except mixing.MixRequestError:
        return False
    return True


KEPT_BY_US = {"farm", "key", "version", "position", "digest", "secret", "old_secret"}
"""Columns that only a service writes, beside those whose names say so."""
ENDS, BEGINS = ("_base", "hash", "created_at", "updated_at"), ("created_by", "chain_")


def test_no_form_takes_what_is_only_worked_out(document):
    """Who gives a form a field by the name of its column is stopped here: balances, hashes, who and when."""
    columns = {field.name for model in apps.get_models() for field in model._meta.local_fields}
    ours = KEPT_BY_US | {name for name in columns if name.endswith(ENDS) or name.startswith(BEGINS)}
    forms = document["components"]["schemas"].items()
    taken = {path for name, form in forms if name.endswith("Request") for path, _ in fields(form, name)}

    assert len(ours) > 15 and len(taken) > 500
    assert {path for path in taken if path.rpartition(".")[2] in ours} == set()
