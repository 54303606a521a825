"""Each promise has what shows it, and what is named is there."""

import ast
import functools
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.promises import FIRST_TO_LAST, PROMISES

HERE = Path(__file__).parent
CHECKOUT = HERE.parent
COMMANDS = sorted({command for promise in PROMISES.values() for command in promise.commands})


@functools.cache
def _named_in(file):
    tree = ast.parse((HERE / file).read_text("utf-8"))
    return {one.name for one in ast.walk(tree) if isinstance(one, ast.FunctionDef)}


def test_each_promise_has_something_that_shows_it():
    assert set(PROMISES) == set(FIRST_TO_LAST)
    assert [number for number, promise in PROMISES.items() if not promise.tests] == []


@pytest.mark.parametrize("number", PROMISES)
def test_the_tests_that_show_a_promise_are_there(number):
    for node in PROMISES[number].tests:
        file, _, name = node.partition("::")
        assert name in _named_in(file), node


@pytest.mark.parametrize("command", COMMANDS)
def test_the_commands_that_show_a_promise_are_understood(command):
    words = [word for word in command.split() if not re.fullmatch(r"[A-Z_]+=\S+", word)]
    assert words[:2] == ["python", "-m"]
    if words[2] == "pytest":
        assert all((CHECKOUT / word).exists() for word in words[3:] if word.startswith("tests/"))
        return
    parts = [word for word in words[3:] if word.isalpha()]
    options = [word for word in words[3:] if word.startswith("--")]
    asked = [*parts, "--help"] if words[2] == "tests.faults" else ["--help"]

    helped = subprocess.run(
        [sys.executable, "-m", words[2], *asked],
        cwd=CHECKOUT, env={**os.environ, "COLUMNS": "200"}, capture_output=True, text=True,
    )  # fmt: skip

    assert helped.returncode == 0, helped.stderr
    assert [word for word in options if word not in helped.stdout] == []
    assert words[2] != "tests.bench" or set(parts) <= set(re.findall(r"\w+", helped.stdout))


def test_each_item_of_the_list_of_dangers_names_what_guards_it_and_that_is_there():
    text = (CHECKOUT / "DEVELOPERS.md").read_text("utf-8")
    rows = re.findall(r"^\| (\d+) [^|]+\|[^|]+\|([^|]+)\|$", text, re.MULTILINE)

    assert [int(number) for number, _ in rows] == list(range(1, 11))
    for number, shown_by in rows:
        files = re.findall(r"`((?:tests|orchard)/[\w/]+\.py)`", shown_by)
        assert files, number
        assert [file for file in files if not (CHECKOUT / file).exists()] == []
