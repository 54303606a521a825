"""Every row of the rule tables: a mix in which it speaks, and one close to it in which it does not."""

from __future__ import annotations

from collections import Counter

import pytest

from mixing import rulebook
from mixing.rulebook.schema import TABLES
from tests.mixing import casebook
from tests.mixing.casebook import Case

CASES = casebook.cases()
RULES = rulebook.load()


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.rule)
def test_a_row_speaks_where_it_should(case: Case) -> None:
    found = casebook.findings(case.fires, RULES)

    assert casebook.speaks(case.rule, found, RULES), sorted(one.id for one in found)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.rule)
def test_a_row_is_silent_in_a_near_miss(case: Case) -> None:
    found = casebook.findings(case.misses, RULES)

    assert not casebook.speaks(case.rule, found, RULES), sorted(one.id for one in found)


def test_every_row_has_a_case_of_its_own() -> None:
    rows = {rule.id for table in TABLES for rule in RULES.rules(table)}
    counted = Counter(case.rule for case in CASES)

    assert rows == set(counted)


def test_there_are_many_rows_and_each_names_a_source_or_says_practice() -> None:
    rows = [rule for table in TABLES for rule in RULES.rules(table)]

    assert len(rows) >= 150
    assert all(rule.source in RULES.sources or rule.basis == "practice" for rule in rows)
