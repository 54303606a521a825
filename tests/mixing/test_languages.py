"""Every rule that can speak speaks in both languages, with nothing left open and the same figures."""

from __future__ import annotations

import re

import pytest

from mixing import check_request, rulebook
from mixing.catalogue import LANGUAGES
from tests.mixing import casebook

FIGURE = re.compile(r"\d+(?:[.,]\d+)?")
CASES = casebook.cases()


def reports(case: casebook.Case) -> list[dict]:
    request = casebook.request_of(case.fires)
    return [check_request(request, rules=rulebook.load(), language=language) for language in LANGUAGES]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.rule)
def test_findings_say_the_same_in_both_languages(case):
    english, spanish = reports(case)

    for one, other in zip(english["findings"], spanish["findings"], strict=True):
        assert one["id"] == other["id"]
        for part in ("says", "why", "do"):
            assert (one[part] is None) == (other[part] is None)
            if one[part] is None:
                continue
            assert "{" not in one[part] + other[part]
            assert sorted(FIGURE.findall(one[part])) == sorted(FIGURE.findall(other[part]))


@pytest.mark.parametrize("case", CASES[::12], ids=lambda case: case.rule)
def test_every_sentence_of_a_report_is_in_the_language_asked_for(case):
    english, spanish = reports(case)

    for part in ("cautions", "cleaning", "not_checked"):
        said = [_texts(report[part]) for report in (english, spanish)]
        assert len(said[0]) == len(said[1])
        assert not set(said[0]) & set(said[1])
    notes = [[step["note"] for step in report["order"]] for report in (english, spanish)]
    assert not set(notes[0]) & set(notes[1])


def _texts(rows: list) -> list[str]:
    return [row if isinstance(row, str) else row.get("says") or row["why"] for row in rows]
