"""What the Code of Federal Regulations says of signal words, distances and intervals."""

from __future__ import annotations

import tomllib

import pytest

from mixing import advice, cautions, protection
from tests.mixing.tanks import amount, product, tank

TABLE = tomllib.loads(protection.TABLE.read_text(encoding="utf-8"))


def lines(*products, **said) -> str:
    return "\n".join(cautions.lines(advice.tank_of(tank(*products, **said))))


@pytest.mark.parametrize(
    ("words", "strictest"),
    [
        (["danger", "warning", "caution"], "danger"),
        (["warning", "caution"], "warning"),
        (["caution"], "caution"),
        ([None], None),
    ],
)
def test_signal_words_reflect_the_highest_category(words, strictest):
    """40 CFR 156.64(a)(1)-(4): DANGER for category I, WARNING II, CAUTION III; IV need not bear one."""
    assert protection.strictest_word(words) == strictest
    assert protection.strictest_word(reversed(words)) == strictest


def test_air_blast_keeps_people_100_feet_away():
    """40 CFR 170.405(a)(1)(i)(B): 100 feet horizontally, in all directions, for air blast."""
    (row,) = (row for row in TABLE["distance"] if "airblast" in row["sprayers"])
    told = lines(product("a"), sprayer={"kind": "airblast", "tank": amount("100 gal")})

    assert row["feet"] == 100
    assert "within 100 ft of the sprayer" in told


@pytest.mark.parametrize("kind", ["hand_pump", "backpack", "handgun", "boom"])
def test_medium_drops_from_above_a_foot_keep_people_25_feet_away_and_finer_ones_100(kind):
    """40 CFR 170.405(a)(1)(i)(D), (ii): 25 feet for medium or larger from above 12 inches, else 100."""
    (row,) = (row for row in TABLE["distance"] if kind in row["sprayers"])
    told = lines(product("a"), sprayer={"kind": kind, "tank": amount("4 gal")})

    assert (row["feet"], row["feet_if_finer_than_medium"], row["above_inches"]) == (25, 100, 12)
    assert "within 25 ft of the nozzle" in told
    assert "within 100 ft if the drops are finer than medium" in told


def test_the_distances_are_those_of_the_united_states_only():
    told = lines(product("a"), region="DE-BY")

    assert "25 ft" not in told
    assert "your country's law" in told


def test_of_several_products_the_longest_re_entry_interval_holds():
    """40 CFR 170.407: two or more products at the same time, the longest interval."""
    mix = tank(
        product("a", use={"re_entry": amount("4 h")}),
        product("b", use={"re_entry": amount("48 h")}),
        product("c", use={"re_entry": amount("1 d")}),
    )

    assert protection.waiting(mix).re_entry.interval.as_json() == amount("48 h")


def test_water_for_each_handler_and_for_the_eyes():
    """40 CFR 170.509: 3 gallons a handler; 6 gallons to flush eyes where the label asks for eyewear."""
    told = lines(product("a"))

    assert "3 gal of clean water for each handler" in told
    assert "6 gal to flush eyes" in told
