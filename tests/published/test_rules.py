"""What publications say of pairs, stages, weather, water and years, beside what the rules make of it.

Each line names its source. Pages were read as stored copies; "(excerpt)" where only a part was seen.
"""

from __future__ import annotations

from typing import Any

import pytest

from mixing import rulebook
from mixing.findings import Severity
from tests.mixing import casebook

RULES = rulebook.load()
CU, OIL, LIME = "copper hydroxide", "mineral oil", "hydrated lime"


def worst(short: dict[str, Any], *prefixes: str) -> Severity | None:
    """Return the worst severity of the published findings whose id begins so; None where there is none."""
    return min(
        (
            one.severity
            for one in casebook.findings(short, RULES)
            if one.id.startswith(prefixes) and one.source_key is not None
        ),
        default=None,
    )


STOP, CAUTION, NOTE = Severity.STOP, Severity.CAUTION, Severity.NOTE

# "Copper formulations for fruit crops" (Shane, Sundin), Michigan State University Extension, 2011
MSU_WITH_LIME = [
    "azinphos-methyl",
    "phosmet",
    "carbaryl",
    "endosulfan",
    "triadimefon",
    "captan",
    "ferbam",
    "dodine",
    "phosphorous acid",
    "fosetyl-aluminium",
]


@pytest.mark.parametrize("partner", MSU_WITH_LIME)
def test_fixed_copper_plus_lime_is_incompatible_with(partner: str):
    """Michigan State University Extension, 2011: incompatible with fixed copper plus lime."""
    assert worst({"products": [CU, LIME, partner]}, "pair.") is STOP


@pytest.mark.parametrize("partner", [LIME, OIL])
def test_copper_sulfate_is_compatible_with_lime_and_with_oil_when_mixed_properly(partner: str):
    """The same page, 2011."""
    assert worst({"products": ["copper sulfate", partner]}, "pair.") is NOTE


def test_copper_salts_of_fatty_acids_are_not_compatible_with_lime():
    """Source: Copper products, characteristics and uses, Michigan State University Extension, no year."""
    assert worst({"products": ["copper salts of fatty and rosin acids", LIME]}, "pair.") is STOP


def test_captan_and_oil_not_in_combination():
    """British Columbia Tree Fruit Production Guide, 15 mm green to tight cluster, no year."""
    assert worst({"products": ["captan", OIL], "crop": "apple", "bbch": 55}, "pair.") is STOP


@pytest.mark.parametrize(("days", "expected"), [(29, STOP), (30, None)])
def test_oil_and_lime_sulfur_thirty_days_apart_in_growth(days: int, expected: Severity | None):
    """Source: When to apply dormant oil or lime sulphur?, Jardin botanique de Montreal, no year: 30 days."""
    short = {"bbch": 73, "products": [OIL], "history": [{"days_ago": days, "ai": "lime sulfur"}]}

    assert worst(short, "interval.") is expected


def test_oil_and_lime_sulfur_may_be_combined_in_full_dormancy():
    """The same page: may be combined as the label says."""
    assert worst({"bbch": 0, "products": [OIL, "lime sulfur"]}, "pair.") is NOTE


def test_no_frost_within_a_day_of_dormant_oil():
    """The same page: 24 hours without rain or frost."""
    frost = {"bbch": 0, "products": [OIL], "weather": {"minimum": "-0.1 degC"}}
    rain = {"bbch": 0, "products": [OIL], "weather": {"rain_within": "23"}}

    assert worst(frost, "weather.") is STOP
    assert worst(rain, "weather.") is CAUTION


@pytest.mark.parametrize(
    ("wind", "expected"),
    [
        ("0 km/h", CAUTION),  # high: the air is still
        ("8 km/h", None),  # low
        ("15.1 km/h", CAUTION),  # moderate to high
        ("25 km/h", STOP),  # high
        ("35 km/h", STOP),  # very high
        ("45 km/h", STOP),  # extreme
    ],
)
def test_drift_risk_by_wind(wind: str, expected: Severity | None):
    """Source: A guide to estimating wind speed, Agriculture Victoria, no year: risk classes by wind."""
    assert worst({"products": ["pyrafenol"], "weather": {"wind": wind}}, "weather.") is expected


@pytest.mark.parametrize(
    ("wind", "expected"), [("3 mph", None), ("8 mph", None), ("9 mph", CAUTION), ("10.1 mph", STOP)]
)
def test_wind_between_three_and_eight_or_ten(wind: str, expected: Severity | None):
    """Source: Evaluate the weather conditions, Pesticide Environmental Stewardship: 3 to 8 mph, also 10."""
    assert worst({"products": ["pyrafenol"], "weather": {"wind": wind}}, "weather.wind") is expected


@pytest.mark.parametrize(
    ("bbch", "expected"), [(0, None), (53, NOTE), (55, CAUTION), (57, CAUTION), (60, STOP), (73, STOP)]
)
def test_full_rate_copper_on_peach_is_for_closed_buds(bbch: int, expected: Severity | None):
    """Virginia Tech, 27 January 2025: best in late winter, up to and during bud swell. UC, as quoted by the
    Napa Master Gardeners, 2013: while dormant only, not in the growing season."""
    assert worst({"bbch": bbch, "products": [CU]}, "stage.") is expected


def test_half_an_ounce_of_copper_an_acre_after_bloom_is_published_with_warnings():
    """Do's and don'ts for using copper, Rutgers, 2018: 0.5 oz metallic copper an acre from shuck split."""
    assert worst({"bbch": 73, "low": True, "products": [CU]}, "stage.") is CAUTION


@pytest.mark.parametrize(("ph", "expected"), [("5.9", STOP), ("6", CAUTION), ("6.5", None)])
def test_water_for_copper(ph: str, expected: Severity | None):
    """Rutgers, 2018: 6.0 or more. Copper hydroxide label (name left out): not below 6.5."""
    assert worst({"products": [CU], "water": {"ph": ph}}, "water.") is expected


def test_copper_with_ziram_when_dormant_but_not_at_bud_swell():
    """Virginia Tech, 27 January 2025."""
    assert worst({"bbch": 97, "products": [CU, "ziram"]}, "pair.") is NOTE
    assert worst({"bbch": 51, "products": [CU, "ziram"]}, "pair.") is STOP


@pytest.mark.parametrize(("bbch", "expected"), [(53, None), (54, CAUTION), (56, STOP), (65, STOP)])
def test_copper_on_apple_ends_with_half_inch_green(bbch: int, expected: Severity | None):
    """Copper label: discontinue at half-inch green. Virginia and West Virginia guide: not after foliage
    appears. Rosenberger, Good Fruit Grower, 15 March 2013: copper in bloom almost always russets."""
    assert (
        worst(
            {"crop": "apple", "bbch": bbch, "products": [CU]},
            "stage.copper-apple-half",
            "stage.copper-apple-after",
            "stage.copper-apple-in",
        )
        is expected
    )


@pytest.mark.parametrize("crop", ["almond", "apricot", "plum", "prune", "sweet cherry"])
def test_no_copper_on_stone_fruit_and_almond_after_full_bloom(crop: str):
    """Copper sulfate pentahydrate label tables (name left out): do not apply after full bloom."""
    assert worst({"crop": crop, "bbch": 67, "products": [CU]}, "stage.") is STOP


def test_sour_cherry_is_the_exception_and_carries_a_warning():
    """The same tables: leaf spot of sour cherry from petal fall, with a warning of injury."""
    assert (
        worst({"crop": "sour cherry", "bbch": 71, "copper_lb_acre": "0.2", "products": [CU]}, "stage.")
        is CAUTION
    )


def test_never_sulfur_on_apricot_nor_captan_on_its_fruit():
    """Source: Apricot: general properties of fungicides, UC IPM, no year."""
    assert worst({"crop": "apricot", "bbch": 0, "products": ["sulfur"]}, "stage.") is STOP
    assert worst({"crop": "apricot", "bbch": 75, "products": ["captan"]}, "stage.") is STOP


@pytest.mark.parametrize(
    ("warmth", "expected"),
    [
        ("29 degF", STOP),
        ("38 degF", CAUTION),
        ("45 degF", CAUTION),
        ("60 degF", None),
        ("87 degF", CAUTION),
        ("91 degF", STOP),
    ],
)
def test_oil_between_cold_and_heat(warmth: str, expected: Severity | None):
    """UC IPM, "Oil burn", 2017: not below 30 F or above 90 F. Washington State, 2022: 50 to 85 F."""
    short = {"bbch": 0, "products": [OIL], "weather": {"temperature": warmth}}

    assert worst(short, "weather.oil") is expected


@pytest.mark.parametrize(("days", "expected"), [(4, CAUTION), (3, STOP), (13, CAUTION), (14, None)])
def test_captan_and_oil_days_apart(days: int, expected: Severity | None):
    """Utah State, question 1817: 4 days. Ontario, 2006: 10 to 12. Michigan, relayed: 14."""
    short = {"products": ["captan"], "history": [{"days_ago": days, "ai": OIL}]}

    assert worst(short, "interval.") is expected


@pytest.mark.parametrize(("days", "expected"), [(9, STOP), (11, CAUTION), (12, None)])
def test_chlorothalonil_and_oil_days_apart_either_way(days: int, expected: Severity | None):
    """Australian chlorothalonil label (name left out): 10 days either way. Ontario, 2006: 10 to 12 days."""
    for first, second in ((OIL, "chlorothalonil"), ("chlorothalonil", OIL)):
        short = {"products": [second], "history": [{"days_ago": days, "ai": first}]}
        assert worst(short, "interval.") is expected


@pytest.mark.parametrize("partner", [OIL, "boric acid"])
def test_dissolvable_bags_do_not_dissolve_with_oil_or_boron(partner: str):
    """Source: Getting the most from fungicide sprays, Western Farm Press, no year."""
    packet = {"ai": "pyrafenol", "form": "WP", "packet": True}

    assert worst({"products": [packet, partner]}, "formulation.") is STOP


def test_no_insecticide_hazardous_to_bees_with_any_bloom_open():
    """Washington State University, bee protection, no year."""
    assert worst({"crop": "apple", "bbch": 60, "products": ["imidacloprid"]}, "stage.") is STOP
    assert worst({"crop": "apple", "bbch": 71, "products": ["imidacloprid"]}, "stage.") is None


@pytest.mark.parametrize(("used", "expected"), [("3", STOP), ("2", None)])
def test_twenty_eight_kilograms_of_copper_in_seven_years(used: str, expected: Severity | None):
    """Commission Implementing Regulation (EU) 2018/1981: at most 28 kg a hectare over 7 years."""
    history = [{"days_ago": 365 * year, "ai": CU, "copper_kg_ha": "4"} for year in range(1, 7)]
    history.append({"days_ago": 30, "ai": CU, "copper_kg_ha": used})
    short = {"region": "DE", "products": [CU], "copper_lb_acre": "1.5", "history": history}  # 1.68 kg/ha

    assert worst(short, "yearly.eu-copper-seven") is expected


@pytest.mark.parametrize(
    ("code", "before", "expected"),
    [("azoxystrobin", 1, CAUTION), ("myclobutanil", 1, None), ("myclobutanil", 2, CAUTION)],
)
def test_modes_of_action_in_a_row(code: str, before: int, expected: Severity | None):
    """UC IPM, pistachio and kiwifruit: groups 1, 4, 9, 11, 17 once, then another; others at most twice."""
    history = [{"days_ago": 10 * place, "ai": code} for place in range(1, before + 1)]

    assert worst({"products": [code], "history": history}, "resistance.") is expected


@pytest.mark.parametrize(
    ("wind", "rain", "expected"),
    [("5 mph", "72", None), ("11 mph", "72", CAUTION), ("2 mph", "72", CAUTION), ("5 mph", "47", CAUTION)],
)
def test_dormant_insecticides_in_california(wind: str, rain: str, expected: Severity | None):
    """3 CCR 6960: 3 to 10 mph, no storm within 48 hours, where runoff is not held."""
    short = {
        "region": "US-CA",
        "bbch": 0,
        "products": ["esfenvalerate"],
        "weather": {"wind": wind, "rain_within": rain},
    }

    assert worst(short, "weather.california") is expected


def test_dormant_oil_is_outside_the_california_rule():
    """3 CCR 6960 (a)(1): only a dormant oil or a biocontrol agent."""
    assert (
        worst(
            {"region": "US-CA", "bbch": 0, "products": [OIL], "weather": {"wind": "11 mph"}},
            "weather.california",
        )
        is None
    )


@pytest.mark.parametrize(
    "partner", ["malathion", "carbaryl", "maneb", "mancozeb", "folpet", "captan", "thiram"]
)
def test_a_greek_label_does_not_combine_bordeaux_mixture_with(partner: str):
    """Label text of a Bordeaux mixture 20 WP, Greece, reprinted by geoponiki-marathona.gr, no year."""
    assert worst({"products": ["bordeaux mixture", partner]}, "pair.") is STOP


@pytest.mark.parametrize(("bbch", "expected"), [(73, STOP), (0, CAUTION)])
def test_a_greek_label_combines_bordeaux_mixture_with_oil_in_dormancy_only(bbch: int, expected: Severity):
    """The same label; in dormancy an older source warns, and the stricter holds."""
    assert worst({"products": ["bordeaux mixture", OIL], "bbch": bbch}, "pair.bordeaux") is expected


def test_a_mexican_label_keeps_oxytetracycline_from_bordeaux_mixture():
    """Label text of an oxytetracycline hydrochloride, Mexico, reprinted by sentauroagro.odoo.com, no year."""
    assert worst({"products": ["bordeaux mixture", "oxytetracycline"], "crop": "pear"}, "pair.") is CAUTION


@pytest.mark.parametrize("sulfur", ["sulfur", "lime sulfur"])
def test_sulfur_and_lime_sulfur_weaken_the_codling_moth_virus(sulfur: str):
    """Compatibility of CpGV with fungicides and Btk, IOBC-WPRS Bulletin, abstract, no year."""
    assert worst({"products": [sulfur, "cydia pomonella granulovirus"], "crop": "apple"}, "pair.") is CAUTION


@pytest.mark.parametrize(("days", "expected"), [(45, CAUTION), (60, None)])
def test_in_spain_oil_waits_two_months_after_sulfur(days: int, expected: Severity | None):
    """Rules to follow where insecticidal mineral oils are used (citrus), Phytoma, no year."""
    sprayed = {"products": [OIL], "region": "ES", "history": [{"days_ago": days, "ai": "sulfur"}]}

    assert worst(sprayed, "interval.") is expected


def test_oil_with_leaf_feed_is_warned_of():
    """The same rules, Phytoma, no year: never add micronutrients or leaf feeds to oil."""
    assert worst({"products": [OIL, "adj:nutrient"]}, "pair.") is CAUTION


def test_oil_with_a_thinner_may_russet_apples():
    """Another chance for thinning applications, Virginia Tech Tree Fruit Horticulture, 7 May 2019."""
    tank = {"crop": "apple", "bbch": 71, "products": [OIL, "6-benzyladenine"]}

    assert worst(tank, "pair.") is CAUTION


def test_naa_in_heat_is_warned_of():
    """Apple Postbloom Thinning, Crop Protection Guide, Washington State University, 2018; 85 F is ours."""
    hot = {"temperature": "32 degC"}

    assert worst({"crop": "apple", "bbch": 71, "products": ["naa"], "weather": hot}, "weather.naa") is CAUTION
