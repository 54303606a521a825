"""What to wear, how long to stay out, and when harvest is allowed, over all products of a tank."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from mixing import protection
from mixing.findings import Basis, Severity
from tests.mixing.tanks import amount, product, tank

AT = "2027-01-29T08:00:00-08:00"


def worn(*handlers: list[str]) -> tuple[str, ...]:
    made = [
        product(str(n), protection={"handler": handler, "early_entry": []})
        for n, handler in enumerate(handlers)
    ]
    return protection.union(one.label for one in tank(*made).products).handler


def test_what_any_label_asks_for_is_worn_head_to_foot():
    assert worn(["shoes", "long_sleeves"], ["eye_protection", "coveralls"]) == (
        "eye_protection",
        "coveralls",
        "long_sleeves",
        "shoes",
    )


def test_of_two_items_for_one_part_of_the_body_the_stronger_is_worn():
    assert worn(["waterproof_gloves", "short_sleeves", "shoes", "eye_protection"], ["goggles"]) == (
        "goggles",
        "short_sleeves",
        "waterproof_gloves",
        "shoes",
    )
    assert worn(
        ["waterproof_gloves", "short_sleeves", "shoes"],
        ["chemical_resistant_gloves", "long_sleeves", "chemical_resistant_footwear"],
    ) == ("long_sleeves", "chemical_resistant_gloves", "chemical_resistant_footwear")


def test_coveralls_are_worn_over_a_shirt_not_in_its_place():
    assert worn(["long_sleeves"], ["coveralls"]) == ("coveralls", "long_sleeves")


def test_a_particulate_mask_does_not_stand_in_for_a_vapor_cartridge():
    assert worn(["particulate_respirator"], ["organic_vapor_respirator"]) == (
        "organic_vapor_respirator",
        "particulate_respirator",
    )


def test_an_item_that_nobody_has_named_is_kept():
    assert worn(["shoes", "gauntlets"]) == ("shoes", "gauntlets")


def test_early_entry_is_kept_apart_from_handlers():
    mix = tank(product("a", protection={"handler": ["shoes"], "early_entry": ["coveralls"]}))

    assert protection.union(one.label for one in mix.products).early_entry == ("coveralls",)


def test_the_strictest_signal_word_counts():
    def word(*words: str | None) -> str | None:
        made = [product(str(n), signal_word=one) for n, one in enumerate(words)]
        return protection.union(one.label for one in tank(*made).products).signal_word

    assert word("caution", "danger", "warning") == "danger"
    assert word("caution", "warning") == "warning"
    assert word(None, "caution") == "caution"
    assert word(None, None) is None


def test_a_label_that_does_not_say_what_to_wear_is_noted_and_not_checked():
    (finding,), missing = protection.findings(tank(product("a"), product("b", protection=None)))

    assert (finding.id, finding.severity, finding.basis) == (
        "protection.not-stated",
        Severity.NOTE,
        Basis.REGULATION,
    )
    assert finding.products == ("b",)
    assert [one.what for one in missing] == ["label.protection:b"]


def test_the_longest_re_entry_interval_counts_from_the_end_of_the_application():
    mix = tank(
        product("a", use={"re_entry": amount("12 h")}),
        product("b", use={"re_entry": amount("2 d")}),
        at=AT,
    )

    found = protection.waiting(mix)
    entry, findings, missing = found.re_entry, found.findings, found.missing

    assert entry.interval.as_json() == amount("2 d")
    assert entry.until.isoformat() == "2027-01-31T08:00:00-08:00"
    assert (findings, missing) == ((), ())


def test_without_a_time_there_is_an_interval_and_no_end():
    entry = protection.waiting(tank(product("a"))).re_entry

    assert entry.interval.as_json() == amount("12 h")
    assert entry.until is None


def test_one_unknown_re_entry_interval_leaves_the_end_open():
    mix = tank(product("a", use={"re_entry": amount("48 h")}), product("b", use={"re_entry": None}), at=AT)

    found = protection.waiting(mix)
    entry, (finding,), (missing,) = found.re_entry, found.findings, found.missing

    assert entry.interval.as_json() == amount("48 h")
    assert entry.until is None
    assert (finding.id, finding.products) == ("re-entry.not-stated", ("b",))
    assert missing.what == "label.re_entry:b"


def test_a_spreader_needs_no_re_entry_interval():
    spreader = product("s", adjuvant="surfactant", formulation="SL", use={"re_entry": None})
    found = protection.waiting(tank(product("a"), spreader, at=AT))

    assert found.re_entry.until is not None
    assert found.findings == ()


def test_harvest_is_allowed_on_day_nought_and_n():
    mix = tank(
        product("a", use={"pre_harvest": amount("21 d")}),
        product("b", use={"pre_harvest": amount("7 d")}),
        at=AT,
    )

    found = protection.waiting(mix)

    assert found.harvest.interval.as_json() == amount("21 d")
    assert found.harvest.not_before.isoformat() == "2027-02-19"
    assert found.missing == ()


def test_no_wait_means_the_day_itself():
    mix = tank(product("a", use={"pre_harvest": amount("0 d")}), at=AT)

    assert protection.waiting(mix).harvest.not_before.isoformat() == "2027-01-29"


def test_the_day_is_that_of_the_orchard():
    late = tank(product("a", use={"pre_harvest": amount("1 d")}), at="2027-01-29T23:30:00-08:00")

    assert protection.waiting(late).harvest.not_before.isoformat() == "2027-01-30"


def test_hours_before_harvest_count_as_whole_days_begun():
    mix = tank(product("a", use={"pre_harvest": amount("30 h")}), at=AT)

    assert protection.waiting(mix).harvest.not_before.isoformat() == "2027-01-31"


def test_one_unknown_wait_leaves_the_day_of_harvest_open():
    mix = tank(product("a"), product("b", use={"pre_harvest": None}), at=AT)

    found = protection.waiting(mix)

    assert found.harvest.not_before is None
    assert [one.what for one in found.missing] == ["label.pre_harvest:b"]


CODES = st.lists(st.sampled_from([*protection._gear(), "gauntlets"]), max_size=6)


@given(CODES, CODES)
def test_more_products_never_mean_less_protection(one, other):
    alone, together = worn(one), worn(one, other)
    gear = protection._gear()

    for item in alone:
        assert item in together or any(item in gear.get(stronger, ()) for stronger in together)


@given(CODES, CODES)
def test_protection_does_not_depend_on_the_order_of_the_request(one, other):
    assert worn(one, other) == worn(other, one)
