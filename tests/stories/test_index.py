"""Every need of a role and every guard against a published mistake has a test with its id in its name."""

import re
from pathlib import Path

HERE = Path(__file__).parent
LAST = {"M": 12, "L": 11, "C": 11, "I": 12, "T": 12, "A": 10, "E": 48}
NOT_YET: dict[str, str] = {}


def shown() -> set[str]:
    texts = (file.read_text("utf-8") for file in HERE.glob("*.py"))
    names = (re.findall(r"^def test_([a-zA-Z]\d+)_", text, re.M) for text in texts)
    return {id.upper() for found in names for id in found}


def test_each_need_and_guard_is_shown_here_or_said_to_be_missing():
    wanted = {f"{letter}{number}" for letter, last in LAST.items() for number in range(1, last + 1)}

    assert wanted - shown() == set(NOT_YET)
