"""What is refused says what is wrong, where, and what to do; each kind has an address that stays."""

import ast
from pathlib import Path

import pytest
from django.test import Client

from orchard.api import problems, wording
from orchard.api.refusals import Fault
from tests.callers import Caller, codes
from tests.factories import FarmFactory

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).parents[2]
FIRST, SECOND = {"Fault"}, {"wrong", "ErrorDetail"}
"""Calls that give a code, by the place of the code among what they are given."""


def codes_in_the_code():
    for path in [*(ROOT / "orchard").rglob("*.py"), *(ROOT / "scheduling").rglob("*.py")]:
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            place = 0 if name in FIRST else 1 if name in SECOND else None
            if place is not None and len(node.args) > place:
                code = node.args[place]
                if isinstance(code, ast.Constant) and isinstance(code.value, str):
                    yield code.value


def test_every_code_that_is_ever_told_is_explained_in_both_languages():
    told = set(codes_in_the_code())

    assert len(told) > 70
    assert told - set(wording.meanings()) == set()
    assert set(wording.meanings()) == set(wording._table()["es"]["codes"])


@pytest.fixture
def owner():
    return Caller(FarmFactory(), "owner")


@pytest.mark.parametrize(
    ("asked", "english", "spanish"),
    [
        ("blocks?limit=501", "has to be from 1 to 500 rows", "debe ser de 1 a 500 filas"),
        ("blocks?limit=many", "write a whole number", "escriba un número entero"),
        ("changes?wait=9999", "has to be from 0 to 3600 seconds", "debe ser de 0 a 3600 segundos"),
        ("attention?days=-1", "has to be from 0 to 366 days", "debe ser de 0 a 366 días"),
    ],
)
def test_a_number_out_of_bounds_is_told_its_bounds_and_their_unit(owner, asked, english, spanish):
    assert owner.get(asked).json()["detail"] == english
    assert owner.get(asked, accept_language="es").json()["detail"] == spanish


def test_a_wind_from_nowhere_and_a_block_with_less_than_a_tree_are_told_the_bounds(owner):
    hour = {"at": "2026-12-18T10:00:00-08:00", "kind": "observed", "wind_direction": 361}
    hours = owner.post("weather/hours", {"items": [{**hour, "humidity_percent": "101"}]})
    block = owner.post("blocks", {"name": "Lower terrace", "crop": "peach", "trees": 0})

    assert {fault["pointer"]: fault["detail"] for fault in hours.json()["errors"]} == {
        "/items/0/wind_direction": "has to be from 0 to 360 degrees",
        "/items/0/humidity_percent": "has to be from 0 to 100 %",
    }
    [fault] = block.json()["errors"]
    assert (fault["pointer"], fault["code"]) == ("/trees", "out_of_range")
    assert fault["detail"] == "has to be from 1 to 2147483647"


def test_the_type_of_a_problem_leads_to_what_its_code_means(owner):
    refusals = [
        owner.get("blocks", authorization="Bearer none"),
        owner.get("nothing-of-the-kind"),
        owner.call("PUT", "blocks", {}),
        owner.post("blocks", {"name": 7}),
        owner.get("blocks?limit=many"),
        Client().get("/api/v1/elsewhere"),
    ]
    page = Client().get("/api/v1/problems").content.decode()

    for refused in refusals:
        told = refused.json()
        where, _, code = told["type"].partition("#")
        assert (where, code) == ("/api/v1/problems", codes(refused)[0])
        assert f'<dt id="{code}">' in page and told["type"] == problems.kind_of(code)


def test_a_type_is_the_same_in_every_language(owner):
    asked = ({"accept_language": "es"}, {"accept_language": "en"})

    spanish, english = (owner.call("POST", "blocks", {"colour": "red"}, **one).json() for one in asked)

    assert spanish["type"] == english["type"]
    assert spanish["title"] != english["title"]


def test_another_method_is_told_which_ones_are_taken(owner):
    refused = owner.call("PUT", "blocks", {})

    assert refused.status_code == 405
    assert refused["Allow"] == "GET, POST, HEAD, OPTIONS"
    assert refused.json()["detail"] == (
        "PUT cannot be done to this address: it takes GET, POST, HEAD, OPTIONS"
    )


def test_another_kind_of_body_is_told_what_to_send(owner):
    refused = Client().post(
        owner.at("blocks"),
        "<block/>",
        content_type="text/xml",
        headers={"authorization": f"Bearer {owner.secret}"},
    )

    assert (refused.status_code, codes(refused)) == (415, ["media_type"])
    assert "text/xml" in refused.json()["detail"] and "send application/json" in refused.json()["detail"]


def test_too_much_is_told_how_much_is_taken(owner):
    refused = owner.post("blocks", {"name": "x" * 1024 * 1024})

    assert (refused.status_code, codes(refused)) == (413, ["too_large"])
    assert "1 MiB" in refused.json()["detail"]


def test_the_summary_of_several_faults_says_where_each_is():
    faults = [
        Fault("required", "This field is required.", "/products/0/amount"),
        Fault("stale", "read again"),
    ]

    assert (
        problems.document(422, faults)["detail"] == "/products/0/amount: This field is required; read again"
    )
    assert problems.document(422, faults[:1])["detail"] == "This field is required."
