"""What an ingredient is, what its formula says, and what a label may call it."""

from __future__ import annotations

from decimal import Decimal

import pytest

from mixing import chemistry
from mixing.chemistry import FormulaError


@pytest.mark.parametrize(
    ("ingredient", "share"),
    [
        ("copper hydroxide", "0.6514"),
        ("copper oxychloride", "0.5951"),
        ("tribasic copper sulfate", "0.5620"),
        ("cuprous oxide", "0.8882"),
        ("cupric oxide", "0.7989"),
        ("copper sulfate pentahydrate", "0.2545"),
        ("copper sulfate anhydrous", "0.3982"),
        ("copper octanoate", "0.1816"),
        ("copper diammonia diacetate complex", "0.2946"),
    ],
)
def test_the_share_of_copper_follows_from_the_formula(ingredient: str, share: str):
    """Atomic weights of CIAAW, 2021; the shares of copper to four places."""
    found = chemistry.metal_fraction(ingredient, "copper")

    assert found is not None
    assert abs(found - Decimal(share)) < Decimal("0.00006")


def test_what_has_no_formula_or_no_such_metal_has_no_share():
    assert chemistry.metal_fraction("captan", "copper") is None
    assert chemistry.metal_fraction("copper hydroxide", "zinc") is None
    assert chemistry.metal_fraction("nobody knows", "copper") is None


@pytest.mark.parametrize(
    ("formula", "atoms"),
    [
        ("CuSO4.5H2O", {"Cu": 1, "S": 1, "O": 9, "H": 10}),
        ("CuSO4·5H2O", {"Cu": 1, "S": 1, "O": 9, "H": 10}),
        ("Cu4SO4(OH)6", {"Cu": 4, "S": 1, "O": 10, "H": 6}),
        ("Zn(S2CN(CH3)2)2", {"Zn": 1, "S": 4, "C": 6, "N": 2, "H": 12}),
    ],
)
def test_a_formula_is_counted_with_its_brackets_and_its_water(formula: str, atoms: dict[str, int]):
    assert chemistry.atoms_of(formula) == atoms


@pytest.mark.parametrize("formula", ["", "Cu(OH", "Cu)OH(", "Xy2", "cu2o", "2", "Cu-2", "CuSO4..5H2O"])
def test_what_is_no_formula_is_refused(formula: str):
    with pytest.raises(FormulaError):
        chemistry.atoms_of(formula)


@pytest.mark.parametrize(
    ("name", "groups"),
    [
        ("Copper Hydroxide", {"copper", "fixed copper"}),
        ("lime sulphur", {"lime sulfur", "sulfur", "alkaline"}),
        ("wettable sulfur", {"sulfur", "elemental sulfur"}),
        ("bordeaux", {"copper", "alkaline", "lime"}),
        ("fosetyl-Al", {"phosphite", "acid"}),
        ("captan technical", {"captan", "phthalimide"}),
        ("Bacillus thuringiensis subsp. kurstaki strain X", {"bt", "biological"}),
        ("copper something new", {"copper"}),
        ("clove oil", {"oil"}),
        ("calcium phosphonate", {"phosphite", "acid"}),
    ],
)
def test_an_ingredient_is_in_its_groups(name: str, groups: set[str]):
    assert groups <= chemistry.groups_of(name)


@pytest.mark.parametrize(
    ("name", "group"),
    [("sulfur", "lime sulfur"), ("copper sulfate", "sulfur"), ("captan", "oil"), ("orange", "oil")],
)
def test_and_in_no_other(name: str, group: str):
    assert group not in chemistry.groups_of(name)


@pytest.mark.parametrize("code", ["M4", "M 04", "m04", "M04"])
def test_a_code_is_written_in_one_way(code: str):
    assert chemistry.tidy_code("FRAC", code) == "M04"


def test_crops_have_groups_and_plurals():
    assert chemistry.names_of_crop("Nectarines") == {"nectarine", "stone fruit"}
    assert {"cherry", "stone fruit"} < chemistry.names_of_crop("sweet cherries")
    assert chemistry.names_of_crop("Medlar tree") == {"medlar tree"}


def test_half_lives_rise_in_ph_and_fall_in_hours():
    found = chemistry.half_lives("captan")

    assert [ph for ph, _ in found] == sorted(ph for ph, _ in found)
    assert [hours for _, hours in found] == sorted((hours for _, hours in found), reverse=True)
