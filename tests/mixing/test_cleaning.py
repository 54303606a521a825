"""How to wash the sprayer, by what was in it and what it is made of."""

from __future__ import annotations

import tomllib

import pytest

from mixing import advice, cleaning
from mixing.request import MixRequest
from tests.mixing.tanks import amount, product, tank

COPPER = product("cu", active_ingredients=[{"name": "copper hydroxide"}])
OIL = product("oil", formulation="EC", active_ingredients=[{"name": "mineral oil"}])


def sprayer(*materials: str, residue: tuple[str, ...] = ()) -> dict[str, object]:
    return {
        "kind": "backpack",
        "tank": amount("4 gal"),
        "materials": list(materials),
        "residue": list(residue),
    }


def says(mix: MixRequest) -> str:
    return "\n".join(cleaning.steps(advice.tank_of(mix)))


def test_every_tank_is_sprayed_out_and_rinsed_three_times():
    told = says(tank(product("a")))

    assert "Spray the tank empty" in told
    assert "three times in all" in told


def test_copper_is_washed_out_the_same_day():
    assert "Copper:" in says(tank(COPPER))
    assert "Copper:" not in says(tank(OIL))


def test_copper_in_a_sprayer_with_metal_parts_names_the_metals():
    assert "parts of brass, steel: copper attacks" in says(tank(COPPER, sprayer=sprayer("steel", "brass")))


def test_copper_in_a_plastic_sprayer_names_no_metal():
    assert "copper attacks" not in says(tank(COPPER, sprayer=sprayer("plastic")))


def test_the_film_of_oil_needs_detergent():
    assert "detergent" in says(tank(OIL))
    assert "detergent" not in says(tank(COPPER))


def test_sulfur_and_lime_sulfur_each_have_their_step():
    sulfur = says(tank(product("s", active_ingredients=[{"name": "sulfur"}])))
    lime_sulfur = says(tank(product("ls", formulation="SL", active_ingredients=[{"name": "lime sulfur"}])))

    assert "Sulfur: take out strainer" in sulfur
    assert "vinegar" not in sulfur
    assert "Lime sulfur: rinse at once" in lime_sulfur
    assert "Never use vinegar" in lime_sulfur


def test_a_weed_killer_in_the_last_load_is_told_before_filling():
    told = cleaning.steps(advice.tank_of(tank(COPPER, sprayer=sprayer(residue=("herbicide",)))))

    assert "still holds traces of herbicide" in told[0]
    assert "separate sprayer" in told[1]


def test_a_clean_sprayer_is_not_told_of_residue():
    assert "still holds" not in says(tank(COPPER))


def test_a_weed_killer_in_the_tank_is_washed_with_ammonia_and_never_bleach_with_it():
    told = says(tank(product("h", function=["herbicide"], formulation="SL")))

    assert "ammonia" in told
    assert "Never bring chlorine bleach and ammonia together" in told


@pytest.mark.parametrize(("table", "rows"), [("cleaning", "step"), ("cautions", "line")])
def test_every_row_names_its_source_or_says_that_it_is_practice(table, rows):
    raw = tomllib.loads((advice.RULES / f"{table}.toml").read_text(encoding="utf-8"))

    for row in raw[rows]:
        assert row["basis"] == "practice" or row["source"] in raw["sources"], row["id"]
        assert row["basis"] != "practice" or "source" not in row, row["id"]


def test_a_row_with_a_key_that_nobody_reads_is_refused():
    row = {"id": "cleaning.x", "place": 1, "basis": "practice", "when": {"colour": "blue"}}

    with pytest.raises(advice.LineError, match="nobody reads colour"):
        advice._line(row, {})


def test_a_published_row_without_a_source_is_refused():
    with pytest.raises(advice.LineError, match="names no source"):
        advice._line({"id": "cleaning.x", "place": 1, "basis": "published"}, {})
