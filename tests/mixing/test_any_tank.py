"""Whatever is in the tank, wherever and whenever: every finding has its row and its words."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixing import chemistry, rulebook
from mixing.check import check_mix
from mixing.findings import Basis, Severity
from tests.mixing import casebook
from tests.mixing.mixes import mix, product

RULES = rulebook.load()
NAMES = sorted(
    one["name"]
    for family in tomllib.loads(chemistry.FILE.read_text(encoding="utf-8"))["family"]
    for one in family["of"]
)
FORMS = ("SC", "WP", "WG", "EC", "SL", "OD", "CS")
CROPS = (
    "peach",
    "nectarine",
    "apricot",
    "plum",
    "sweet cherry",
    "almond",
    "apple",
    "pear",
    "walnut",
    "olive",
)

products = st.one_of(
    st.builds(lambda name, form: f"{name}/{form}", st.sampled_from(NAMES), st.sampled_from(FORMS)),
    st.sampled_from(["adj:surfactant", "adj:sticker", "adj:oil", "adj:antifoam", "pyrafenol/SC"]),
    st.builds(
        lambda name: {"ai": name, "form": "WP", "packet": True, "function": ["fungicide"]},
        st.sampled_from(NAMES),
    ),
)
weather = st.fixed_dictionaries(
    {},
    optional={
        "wind": st.integers(0, 20).map(lambda mph: f"{mph} mph"),
        "temperature": st.integers(-5, 38).map(lambda degrees: f"{degrees} degC"),
        "minimum": st.integers(-8, 20).map(lambda degrees: f"{degrees} degC"),
        "humidity": st.integers(0, 100).map(str),
        "rain_within": st.integers(0, 72).map(str),
        "inversion": st.booleans(),
    },
)
tanks = st.fixed_dictionaries(
    {"products": st.lists(products, min_size=1, max_size=5)},
    optional={
        "crop": st.sampled_from(CROPS),
        "bbch": st.integers(0, 99),
        "weather": weather,
        "water": st.fixed_dictionaries({"ph": st.integers(3, 11).map(str)}),
        "region": st.sampled_from(["US-CA", "FR", "IT-32", "GB", "NZ"]),
        "materials": st.lists(st.sampled_from(["steel", "brass", "aluminium"]), max_size=2, unique=True),
        "residue": st.lists(st.sampled_from([*NAMES, "herbicide", "oil"]), max_size=2, unique=True),
        "history": st.lists(
            st.fixed_dictionaries({"days_ago": st.integers(0, 2600), "ai": st.sampled_from(NAMES)}),
            max_size=4,
        ),
    },
)


@settings(max_examples=120, deadline=None)
@given(tanks)
def test_every_finding_rests_on_its_row(short: dict[str, Any]):
    for one in casebook.findings(short, RULES):
        rule = RULES.rule(one.id)
        assert one.basis is rule.basis
        assert one.source_key == rule.source
        assert not (one.severity is Severity.STOP and one.basis in (Basis.PRACTICE, Basis.UNTESTED))
        assert not (one.severity is Severity.STOP and rule.memory)
        assert one.may_be_overridden is (one.severity is Severity.STOP and one.basis is Basis.PUBLISHED)
        assert one.severity >= rule.severity


@settings(max_examples=60, deadline=None)
@given(tanks)
def test_every_finding_has_its_words_in_both_languages(short: dict[str, Any]):
    for language in ("en", "es"):
        for one in check_mix(casebook.json_of(short), language=language)["findings"]:
            for text in (one["says"], one["why"] or "", one["do"]):
                assert "{" not in text and "  " not in text


@settings(max_examples=60, deadline=None)
@given(tanks)
def test_every_pair_is_spoken_of_by_a_label_or_a_publication_or_is_untested(short: dict[str, Any]):
    found = casebook.findings({**short, "residue": []}, RULES)
    spoken = {
        frozenset(one.products)
        for one in found
        if len(one.products) == 2 and (one.id == "pair.untested" or one.source_key is not None)
    }

    count = len(short["products"])
    assert len(spoken) == count * (count - 1) // 2


@settings(max_examples=60, deadline=None)
@given(tanks)
def test_the_order_of_the_products_changes_nothing(short: dict[str, Any]):
    def seen(products: list[Any]) -> list[tuple[str, int]]:
        return sorted(
            (one.id, int(one.severity)) for one in casebook.findings({**short, "products": products}, RULES)
        )

    assert seen(short["products"]) == seen(short["products"][::-1])


@pytest.mark.parametrize("metal", ["steel", "mild steel", "galvanized_steel", "Aluminum", "galvanised"])
def test_copper_is_warned_of_in_a_sprayer_of_any_metal_it_eats(metal: str):
    asked = mix(product(active_ingredients=[{"name": "copper hydroxide"}]))
    asked["sprayer"]["materials"] = [metal]

    assert "tank.copper-in-metal" in {one["id"] for one in check_mix(asked)["findings"]}


def test_a_metal_that_no_rule_knows_is_said_to_be_unchecked():
    asked = mix(product())
    asked["sprayer"]["materials"] = ["steal", "brass"]

    unchecked = {line["what"]: line["why"] for line in check_mix(asked)["not_checked"]}

    assert "no rule knows steal" in unchecked["sprayer.materials"]


def test_a_partner_that_a_label_forbids_by_a_word_nobody_knows_is_said_to_be_unchecked():
    forbids = {"do_not_mix_with": [{"what": "lime sulphr"}, {"what": "captan"}, {"what": "EPA 100-7"}]}
    asked = mix(product("cu", active_ingredients=[{"name": "copper hydroxide"}], mixing=forbids))

    unchecked = {line["what"]: line["why"] for line in check_mix(asked)["not_checked"]}

    assert "no rule knows lime sulphr: did you mean" in unchecked["label.mixing:cu"]
    assert "captan" not in unchecked["label.mixing:cu"]


def test_a_partner_is_known_by_whatever_name_another_label_of_the_tank_gives():
    forbids = {"do_not_mix_with": [{"what": "Ferrous Glass"}]}
    asked = mix(
        product("cu", active_ingredients=[{"name": "copper hydroxide"}], mixing=forbids),
        product("odd", active_ingredients=[{"name": "ferrous glass"}]),
    )
    report = check_mix(asked)

    assert "label.mixing:cu" not in {line["what"] for line in report["not_checked"]}
    assert report["verdict"] == "stop"
