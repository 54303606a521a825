"""What two products do to each other: labels first, then what is published, else untested; and residues."""

from __future__ import annotations

from typing import Any

import pytest

from mixing.check import check_mix
from tests.mixing.mixes import Json, ids, mix, product, q

UNTESTED = "pair.untested"


def named(id: str, ingredient: str, **changes: Any) -> Json:
    """Return a product of one active ingredient."""
    made = {
        "name": f"{ingredient.capitalize()} 50 SC",
        "registration": f"demo-{id}",
        "active_ingredients": [{"name": ingredient, "content": q("50", "percent_ww")}],
    }
    return product(id, **{**made, **changes})


def check(*products: Json, **changes: Any) -> Json:
    return check_mix(mix(*products, **changes))


def of_pair(report: Json, *pair: str) -> dict[str, Json]:
    return {one["id"]: one for one in report["findings"] if set(one["products"]) == set(pair)}


def test_a_pair_nobody_speaks_of_is_untested_and_wants_a_jar():
    report = check(named("a", "pyrafenol"), named("b", "zolanide"))

    one = of_pair(report, "a", "b")[UNTESTED]
    assert (one["severity"], one["basis"], one["source"]) == ("caution", "untested", None)
    assert one["may_be_overridden"] is False
    assert report["verdict"] == "caution"
    assert report["jar_test"]["needed"] is True


def test_captan_and_oil_in_one_tank_is_a_published_stop_that_a_manager_may_override():
    one = of_pair(check(named("c", "captan"), named("o", "mineral oil")), "c", "o")["pair.oil-with-captan"]

    assert (one["severity"], one["basis"], one["may_be_overridden"]) == ("stop", "published", True)
    assert one["source"]["publisher"] == "IPM Institute of North America"
    assert "British Columbia" in one["why"]


def test_copper_and_oil_on_dormant_peach_is_spoken_of_and_allowed():
    report = check(named("cu", "copper hydroxide"), named("o", "horticultural oil"))

    assert UNTESTED not in ids(report)
    assert of_pair(report, "cu", "o")["pair.copper-with-oil-dormant"]["severity"] == "note"


def test_copper_and_oil_at_a_stage_nobody_speaks_of_is_untested():
    report = check(
        named("cu", "copper hydroxide"),
        named("o", "mineral oil"),
        crop="walnut",
        stage={"bbch": 40, "observed_on": "2027-01-20"},
    )

    assert UNTESTED in of_pair(report, "cu", "o")


def test_without_a_stage_a_pair_that_hangs_on_it_is_untested():
    assert UNTESTED in ids(check(named("cu", "copper hydroxide"), named("o", "mineral oil"), stage=None))


def test_a_ready_mix_is_known_only_if_each_of_its_ingredients_is():
    both = [{"name": name, "content": q("10", "percent_ww")} for name in ("copper hydroxide", "pyrafenol")]

    report = check(named("cu", "copper", active_ingredients=both), named("o", "mineral oil"))

    assert UNTESTED in ids(report)
    assert "pair.copper-with-oil-dormant" in ids(report)


@pytest.mark.parametrize("what", ["Zolanide", "FUNGICIDE", "demo-b"])
def test_a_label_forbids_by_ingredient_function_or_registration(what: str):
    first = named("a", "pyrafenol", mixing={"do_not_mix_with": [{"what": what}]})

    one = of_pair(check(first, named("b", "zolanide")), "a", "b")["label.do-not-mix"]

    assert (one["severity"], one["basis"], one["may_be_overridden"]) == ("stop", "label", False)


@pytest.mark.parametrize(
    ("what", "partner"),
    [
        ("oil", "neem oil"),
        ("copper", "copper octanoate"),
        ("sulfur", "sulphur"),
        ("lime sulfur", "calcium polysulfide"),
        ("alkaline", "lime sulfur"),
        ("acid", "citric acid"),
        ("phosphite", "fosetyl-al"),
        ("organophosphate", "malathion"),
    ],
)
def test_a_label_forbids_by_group(what: str, partner: str):
    first = named("a", "pyrafenol", mixing={"do_not_mix_with": [{"what": what}]})

    assert "label.do-not-mix" in ids(check(first, named("b", partner)))


def test_lime_sulfur_forbidden_does_not_forbid_sulfur():
    first = named("a", "pyrafenol", mixing={"do_not_mix_with": [{"what": "lime sulfur"}]})

    assert "label.do-not-mix" not in ids(check(first, named("b", "sulfur")))


def test_a_label_that_allows_a_pair_settles_it():
    first = named("a", "captan", mixing={"may_mix_with": [{"what": "oil"}]})

    pair = of_pair(check(first, named("b", "mineral oil")), "a", "b")

    assert set(pair) == {"label.may-mix"}
    assert pair["label.may-mix"]["severity"] == "note"


def test_a_label_that_allows_a_pair_does_not_bind_the_label_that_forbids_it():
    first = named("a", "pyrafenol", mixing={"may_mix_with": [{"what": "zolanide"}]})
    second = named("b", "zolanide", mixing={"do_not_mix_with": [{"what": "pyrafenol"}]})

    pair = of_pair(check(first, second), "a", "b")

    assert set(pair) == {"label.do-not-mix"}


def test_a_label_that_wants_days_between_them_stops_the_pair_in_one_tank():
    apart = [{"what": "oil", "interval": q("14", "d"), "direction": "either"}]
    first = named("a", "pyrafenol", mixing={"intervals": apart})

    assert "label.interval-in-tank" in ids(check(first, named("o", "mineral oil")))


ADJUVANT = {"name": "Wetter", "active_ingredients": None, "adjuvant": "surfactant", "uses": None}


def test_an_adjuvant_that_a_label_forbids_or_does_not_list_stops():
    forbids = named("a", "pyrafenol", mixing={"adjuvants": {"forbidden": ["surfactant"]}})
    lists = named("a", "pyrafenol", mixing={"adjuvants": {"allowed": ["sticker"]}})
    wetter = product("w", **ADJUVANT)

    assert "label.adjuvant-forbidden" in ids(check(forbids, wetter))
    assert "label.adjuvant-not-allowed" in ids(check(lists, wetter))


def test_an_adjuvant_that_a_label_asks_for_must_be_in_the_tank():
    asks = named("a", "pyrafenol", mixing={"adjuvants": {"required": ["surfactant"]}})

    assert "label.adjuvant-required" in ids(check(asks))
    assert "label.adjuvant-required" not in ids(check(asks, product("w", **ADJUVANT)))


def test_a_residue_is_a_partner_one_severity_lower():
    sprayer = {**mix()["sprayer"], "residue": ["mineral oil"]}

    [one] = [
        one
        for one in check(named("c", "captan"), sprayer=sprayer)["findings"]
        if one["id"] == "pair.oil-with-captan"
    ]

    assert (one["severity"], one["products"]) == ("caution", ["c"])


def test_a_residue_that_a_label_forbids_is_a_caution():
    sprayer = {**mix()["sprayer"], "residue": ["copper hydroxide"]}
    first = named("a", "pyrafenol", mixing={"do_not_mix_with": [{"what": "copper"}]})

    [one] = [one for one in check(first, sprayer=sprayer)["findings"] if one["id"] == "label.do-not-mix"]

    assert one["severity"] == "caution"


def test_a_residue_nobody_speaks_of_is_a_note():
    sprayer = {**mix()["sprayer"], "residue": ["zolanide"]}

    report = check(named("a", "pyrafenol"), sprayer=sprayer)

    assert report["verdict"] == "ok"
    assert [one["severity"] for one in report["findings"] if one["id"] == UNTESTED] == ["note"]


def test_more_of_the_same_is_no_partner():
    sprayer = {**mix()["sprayer"], "residue": ["captan"]}

    assert check(named("c", "captan"), sprayer=sprayer)["findings"] == []


def test_weed_killer_left_in_a_sprayer_is_a_caution():
    sprayer = {**mix()["sprayer"], "residue": ["herbicide"]}

    assert "pair.herbicide-with-fungicide" in ids(check(named("c", "captan"), sprayer=sprayer))


def test_the_order_of_the_products_changes_nothing_in_what_is_found():
    one, other = named("c", "captan"), named("o", "mineral oil")

    assert ids(check(one, other)) == ids(check(other, one))


def test_an_oil_of_an_unknown_kind_is_an_oil():
    assert "pair.oil-with-captan" in ids(check(named("c", "captan"), named("o", "grapefruit peel oil")))


def test_copper_of_an_unknown_kind_is_copper():
    assert "pair.copper-with-acid" in ids(check(named("c", "copper gluconate"), named("x", "citric acid")))


def test_a_label_that_forbids_is_the_source_and_the_products_stand_as_in_the_request():
    second = named("b", "zolanide", mixing={"do_not_mix_with": [{"what": "pyrafenol"}]})

    one = of_pair(check(named("a", "pyrafenol"), second), "a", "b")["label.do-not-mix"]

    assert one["products"] == ["a", "b"]
    assert one["source"]["title"] == "Zolanide 50 SC"


@pytest.mark.parametrize(
    ("partner", "row"), [("lime sulfur", "lime-sulfur"), ("oxytetracycline", "antibiotic")]
)
def test_copper_with_what_only_memory_speaks_against_is_cautioned_once(partner: str, row: str):
    pair = of_pair(check(named("cu", "copper hydroxide"), named("b", partner)), "cu", "b")

    assert pair[UNTESTED]["severity"] == "caution"
    assert pair[f"pair.copper-with-{row}"]["severity"] == "note"


def test_copper_hydroxide_with_streptomycin_is_told_from_the_trial_and_memory_is_silent():
    pair = of_pair(check(named("cu", "copper hydroxide"), named("b", "streptomycin")), "cu", "b")

    assert pair["pair.copper-hydroxide-with-streptomycin"]["severity"] == "caution"
    assert UNTESTED not in pair and "pair.copper-with-antibiotic" not in pair
