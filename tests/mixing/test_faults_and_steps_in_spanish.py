"""Faults and the steps of calculations in Spanish: none missing, none left in English, the same figures."""

from __future__ import annotations

import ast
import json
import random
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import mixing
from mixing import MixRequestError, check_mix, reading
from mixing.__main__ import main
from mixing.calculations import SUBJECTS, calculate, listing
from mixing.calculations.registry import REGISTRY
from mixing.catalogue.catalogue import _phrases, _texts
from tests.mixing.mixes import mix, powder, product, q
from tests.mixing.test_catalogue import ENGLISH, NUMBER
from tests.mixing.test_fuzz import mutate, rich

HERE = Path(mixing.__file__).parent
ASKING = {"said": 0, "required": 2}
"""Calls that name a sentence, and which argument names it."""
EXAMPLES = [(one["name"], one["example"]) for one in listing()]


def calls() -> Iterator[tuple[str, str, set[str]]]:
    """Yield file, sentence and named parameters of every call that names one."""
    for path in sorted(HERE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            place = ASKING.get(name, 99)
            if len(node.args) > place and isinstance(node.args[place], ast.Constant):
                yield path.name, node.args[place].value, {word.arg or "**" for word in node.keywords}


def test_every_sentence_that_the_code_names_is_there_with_its_parameters():
    english, wrong = _texts("en"), []

    for file, name, given in calls():
        if name not in english:
            wrong.append((file, name, "no such sentence"))
        elif not english[name][1] <= given and "**" not in given:
            wrong.append((file, name, sorted(english[name][1] - given)))

    assert wrong == []


def test_no_sentence_of_faults_and_steps_is_left_that_nobody_says():
    named = {name for _, name, _ in calls()}
    source = "\n".join(path.read_text(encoding="utf-8") for path in HERE.rglob("*.py"))

    idle = [
        name
        for name in _texts("en")
        if name.startswith(("fault.", "step."))
        and name not in named
        and f'"{name}"' not in source
        and not name.startswith(("fault.limit_", "step.way."))
    ]
    assert idle == []


def test_every_phrase_that_stands_in_a_fault_has_its_spanish():
    source = "\n".join(path.read_text(encoding="utf-8") for path in HERE.glob("*.py"))
    named = set(re.findall(r'what="([^"]+)"', source)) | set(reading.KINDS.values())
    fields = {field.about for one in REGISTRY.values() for field in one.inputs}

    assert SUBJECTS
    assert sorted((named | fields) - _phrases("es").keys()) == []


@pytest.mark.parametrize(("name", "example"), EXAMPLES, ids=[name for name, _ in EXAMPLES])
def test_a_calculation_says_its_steps_in_spanish_with_the_same_figures(name, example):
    english, spanish = calculate(name, example), calculate(name, example, language="es")

    assert {**english, "steps": None} == {**spanish, "steps": None}
    for one, other in zip(english["steps"], spanish["steps"], strict=True):
        assert sorted(NUMBER.findall(one)) == sorted(NUMBER.findall(other))
        assert "{" not in other and len(ENGLISH.findall(other)) == 0


def test_steps_without_a_sentence_are_formulas_without_words():
    def formulas() -> Iterator[str]:
        for path in (HERE / "calculations").glob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call) and getattr(node.func, "attr", "") == "note":
                    yield from (
                        part.value
                        for part in ast.walk(node.args[0])
                        if isinstance(part, ast.Constant)
                        and isinstance(part.value, str)
                        and isinstance(node.args[0], ast.JoinedStr)
                    )

    assert [one for one in formulas() if re.search(r"[a-z]{3}", one)] == []


def faults(raw: object, language: str) -> list[dict[str, str]]:
    try:
        check_mix(raw, language=language)
    except MixRequestError as refused:
        return refused.errors
    return []


def test_faults_of_changed_requests_come_in_spanish_at_the_same_places():
    chance, seed, told = random.Random(4), rich(), set()

    for _ in range(600):
        request = mutate(seed, chance)
        english, spanish = faults(request, "en"), faults(request, "es")
        for one, other in zip(english, spanish, strict=True):
            assert (one["pointer"], one["code"]) == (other["pointer"], other["code"])
            assert one["detail"] != other["detail"]
            assert not re.search(r"\b(?:the|is|must|write|such as|did you mean)\b", other["detail"])
            told.add(other["code"])

    assert len(told) > 6


def test_a_bare_ounce_is_asked_after_in_spanish():
    [fault] = faults(mix(powder("a", q("3", "oz/gal"))), "es")

    assert fault["detail"] == (
        "la unidad 'oz/gal' se puede leer de dos maneras: ¿quiso decir fl_oz o bien oz_wt?"
        " (escriba fl_oz/gal o bien oz_wt/gal)"
    )


def test_a_full_tank_is_refused_in_spanish():
    [fault] = faults(mix(product("a", q("99", "percent_vv")), product("b", q("50", "percent_vv"))), "es")

    assert fault["detail"].startswith("los productos solos llenan el tanque")


def test_the_command_tells_its_own_faults_in_spanish(tmp_path, capsysbinary):
    path = tmp_path / "mix.json"
    path.write_text("{,}", encoding="utf-8")

    assert main(["check", str(path), "--language", "es"]) == 2
    said = json.loads(capsysbinary.readouterr().out)["errors"][0]["detail"]
    assert said == "esto no es JSON: algo está mal en la línea 1, columna 2"


def test_the_command_calculates_in_spanish(tmp_path, capsysbinary):
    path = tmp_path / "dose.json"
    path.write_text(json.dumps({"volume": q("12", "gal"), "percent_vv": "1.5"}), encoding="utf-8")

    assert main(["calculate", "percent_solution", str(path), "--language", "es"]) == 0
    assert json.loads(capsysbinary.readouterr().out)["steps"][-1] == "0.18 gal son 23.04 fl_oz"
