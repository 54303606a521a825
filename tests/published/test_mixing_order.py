"""Each publisher's own sequence comes out of its profile; the cautious default keeps what all agree on."""

from __future__ import annotations

import pytest

from mixing import sequence
from tests.mixing.tanks import product, tank

OIL = {"active_ingredients": [{"name": "mineral oil"}]}


def arranged(profile: str, *made: dict) -> list[str]:
    """Return the ids in the order of a profile; ids are given so that they do not help."""
    places = [(one.id, sequence.place_of(one.label)) for one in tank(*made).products]
    placed = sequence.arrange(places, sequence.NO_EDGES, profile)
    assert placed is not None
    return placed


def adjuvant(id: str, kind: str, formulation: str = "SL") -> dict:
    return product(id, adjuvant=kind, formulation=formulation)


def test_oklahoma_awamles():
    """Herbicide Mixing Order, Oklahoma State University Extension: compatibility agent or antifoam, AMS, dry,
    microcapsules and suspensions, soluble liquids, EC, surfactants."""
    assert arranged(
        "okstate",
        adjuvant("surfactant", "surfactant"),
        product("ec", formulation="EC"),
        product("sl", formulation="SL"),
        product("cs", formulation="CS"),
        product("wp", formulation="WP"),
        adjuvant("ams", "water_conditioner", "SG"),
        adjuvant("agent", "compatibility_agent"),
    ) == ["agent", "ams", "wp", "cs", "sl", "ec", "surfactant"]


def test_south_dakota():
    """Preparing Spray Solutions: Mixing Order, South Dakota State University Extension: AMS, compatibility
    agent, dry, liquids and flowables, EC, microencapsulated after EC, surfactants and oils, drift agent."""
    assert arranged(
        "sdstate",
        adjuvant("drift", "drift_retardant"),
        product("oil", formulation="EC", **OIL),
        product("cs", formulation="CS"),
        product("ec", formulation="EC"),
        product("sc", formulation="SC"),
        product("wg", formulation="WG"),
        adjuvant("agent", "compatibility_agent"),
        adjuvant("ams", "water_conditioner", "SG"),
    ) == ["ams", "agent", "wg", "sc", "ec", "cs", "oil", "drift"]


def test_manitoba():
    """General rules for mixing pesticide, Manitoba Guide to Crop Protection, 2013: packets, fertilizer or pH
    adjuster, dry and flowables, solutions, EC, adjuvants and oils."""
    assert arranged(
        "manitoba",
        adjuvant("adjuvant", "surfactant"),
        product("ec", formulation="EC"),
        product("sn", formulation="SL"),
        product("fl", formulation="SC"),
        adjuvant("fertilizer", "nutrient"),
        product("wsp", formulation="WP", packet=True),
    ) == ["wsp", "fertilizer", "fl", "sn", "ec", "adjuvant"]


def test_utah():
    """Using a Jar Test, Utah State University Extension, 2012: pouches, WP, DF, capsules, EC, soluble
    liquids, soluble powders, surfactants, fertilizers."""
    assert arranged(
        "utah",
        adjuvant("fertilizer", "nutrient"),
        adjuvant("surfactant", "surfactant"),
        product("sp", formulation="SP"),
        product("sl", formulation="SL"),
        product("ec", formulation="EC"),
        product("cs", formulation="CS"),
        product("df", formulation="WG"),
        product("wp", formulation="WP"),
        product("pouch", formulation="WP", packet=True),
    ) == ["pouch", "wp", "df", "cs", "ec", "sl", "sp", "surfactant", "fertilizer"]


def test_ontario_wales():
    """W-A-L-E-S, Ontario Ministry of Agriculture: wettable powders, liquid flowables, EC, solutions."""
    assert arranged(
        "ontario",
        product("s", formulation="SL"),
        product("e", formulation="EC"),
        product("l", formulation="SC"),
        product("w", formulation="WP"),
    ) == ["w", "l", "e", "s"]


def test_north_dakota_apples():
    """A.P.P.L.E.S., North Dakota Weed Control Guide, 2021: soluble dry, dry, suspensions, EC, solutions."""
    assert arranged(
        "northdakota",
        product("s", formulation="SL"),
        product("ew", formulation="EW"),
        product("f", formulation="SC"),
        product("wp", formulation="WP"),
        product("sg", formulation="SG"),
    ) == ["sg", "wp", "f", "ew", "s"]


def test_sports_field_list():
    """Tank mixing, Sportsfield Management, May 2021: packets; dry; AMS and compatibility agents; dispersed
    liquids; liquid drift retardant; EC, OD, solutions; adjuvants; fertilizers."""
    assert arranged(
        "sportsfield",
        adjuvant("8", "nutrient"),
        adjuvant("7", "surfactant"),
        product("6", formulation="EC"),
        adjuvant("5", "drift_retardant"),
        product("4", formulation="SE"),
        adjuvant("3", "compatibility_agent"),
        product("2", formulation="WP"),
        product("1", formulation="SG", packet=True),
    ) == ["1", "2", "3", "4", "5", "6", "7", "8"]


PROFILES = [id for id in sequence.profiles() if id != sequence.default_profile()]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("packet", "EC"),
        ("WP", "EC"),
        ("WG", "SL"),
        ("WP", "SL"),
        ("WG", "oil"),
        ("SC", "EC"),
        ("SC", "oil"),
        ("EC", "surfactant"),
    ],
)
def test_the_default_keeps_what_all_publishers_agree_on(first, second):
    ranks = sequence.profiles()[sequence.default_profile()].ranks

    assert ranks[first] < ranks[second]
    for id in PROFILES:
        of = sequence.profiles()[id].ranks
        if first in of and second in of:
            assert of[first] <= of[second], id


def test_publishers_that_differ_are_told():
    """Oklahoma, South Dakota and Manitoba put solutions before EC; Utah, Ontario and North Dakota after."""
    assert {name.split(" ")[0] for name in sequence.dissenters("EC", "SL")} == {
        "Oklahoma",
        "South",
        "Manitoba",
    }
    assert {name.split(" ")[0] for name in sequence.dissenters("SL", "EC")} == {"Utah", "Ontario", "North"}


@pytest.mark.parametrize(
    ("profile", "low", "high"),
    [
        ("okstate", "0.5", "0.75"),
        ("sdstate", "0.3333", "0.3333"),
        ("manitoba", "0.25", "0.75"),
        ("ontario", "0.5", "0.75"),
    ],
)
def test_published_start_volumes(profile, low, high):
    """Share of the tank before the first product. Our half lies in all of them but South Dakota's third."""
    share = sequence.profiles()[profile].start_share

    assert tuple(map(str, share)) == (low, high)
    assert sequence.practice().start_share >= share[0]
