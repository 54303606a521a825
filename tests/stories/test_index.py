"""Every need that the index names has a test that carries its id."""

import re
import tomllib
from pathlib import Path

import pytest

HERE = Path(__file__).parent
INDEX = tomllib.loads((HERE / "index.toml").read_text("utf-8"))
OURS = [*(f"L{n}" for n in range(1, 12)), *(f"C{n}" for n in range(1, 12)), *(f"E{n}" for n in range(16, 34))]


@pytest.mark.parametrize("name", sorted(INDEX["here"]))
def test_each_id_is_in_the_name_of_a_test_of_its_file(name):
    tests = re.findall(r"^def test_([a-z]\d+)_", (HERE / name).read_text("utf-8"), re.M)

    assert {id.lower() for id in INDEX["here"][name]} <= set(tests)


def test_the_needs_of_crews_and_the_mistakes_in_the_field_are_all_shown_here():
    shown = {id for ids in INDEX["here"].values() for id in ids}

    assert set(OURS) <= shown
