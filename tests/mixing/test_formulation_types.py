"""What the two-letter codes mean."""

from __future__ import annotations

from mixing.formulation_types import all_types, formulation_type
from mixing.formulations import DRY, FORMULATIONS


def test_the_table_has_every_code_that_a_label_may_carry_and_no_other():
    assert set(all_types()) == FORMULATIONS


def test_what_is_weighed_is_what_the_table_calls_dry():
    dry = {code for code, one in all_types().items() if "dry" in one.groups and one.diluted_in == "water"}

    assert dry <= DRY
    assert not {code for code, one in all_types().items() if "solution" in one.groups} & DRY


def test_a_granule_for_the_soil_is_not_for_a_tank():
    assert formulation_type("GR").diluted_in == "none"
    assert formulation_type("WG").diluted_in == "water"


def test_an_unstated_code_is_unknown_and_in_no_group():
    assert formulation_type(None).diluted_in == "unknown"
    assert formulation_type(None).groups == frozenset()
