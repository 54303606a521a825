"""Published season plans, taken over with the farm's own products under their labels."""

import io
import json
from decimal import Decimal

import pytest
from django.core.management import CommandError, call_command

from mixing import chemistry
from mixing.quantities import Quantity, parse_quantity
from orchard.tasks.examples import shipped
from orchard.tasks.models import Programme
from tests.callers import Caller, codes
from tests.factories import BlockFactory, FarmFactory, LabelVersionFactory, ProductFactory, amount

pytestmark = pytest.mark.django_db
SEASON = {"from": "2026-11-01", "until": "2027-05-31"}
CHLOROTHALONIL = {
    "name": "Chlorothalonil 720 SC",
    "active_ingredients": [
        {"name": "chlorothalonil", "content": {"value": "720", "unit": "g/L"}},
    ],
    "formulation": "SC",
    "uses": [{"crops": ["stone fruit"], "rate": {"maximum": {"value": "0.5", "unit": "gal/acre"}}}],
}


def copper(*crops, per_area="20", metal="30"):
    return {
        "name": f"Copper hydroxide {metal} WG",
        "active_ingredients": [
            {
                "name": "copper hydroxide",
                "content": {"value": "46", "unit": "percent_ww"},
                "metal": {"of": "copper", "content": {"value": metal, "unit": "percent_ww"}},
            }
        ],
        "formulation": "WG",
        "uses": [{"crops": list(crops), "rate": {"maximum": {"value": per_area, "unit": "lb/acre"}}}],
    }


def oil(*crops, most="3"):
    return {
        "name": "Mineral oil 98 EC",
        "active_ingredients": [{"name": "mineral oil", "content": {"value": "98", "unit": "percent_vv"}}],
        "formulation": "EC",
        "uses": [{"crops": list(crops), "rate": {"maximum": {"value": most, "unit": "percent_vv"}}}],
    }


def product(farm, label, unit="lb"):
    made = ProductFactory(
        farm=farm, name=label["name"], stock_unit=unit, base_unit="g" if unit == "lb" else "mL"
    )
    LabelVersionFactory(farm=farm, product=made, label=label)
    return made


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def manager(farm):
    return Caller(farm, "manager")


def adopt(who, example="leaf-curl-peach-nectarine", **more):
    return who.post(f"programme-examples/{example}/actions/adopt", {**SEASON, **more})


# what is shipped


def test_three_published_plans_are_shipped_each_line_with_its_sources():
    assert set(shipped()) == {"leaf-curl-peach-nectarine", "stone-fruit-dormant", "apple-pear-copper-oil"}
    for example in shipped().values():
        for line in example.lines:
            assert line.sources and set(line.sources) <= set(example.sources)
        for source in example.sources.values():
            assert source["title"] and source["publisher"] and source["where"]


def test_every_ingredient_and_crop_of_the_shipped_plans_is_known_to_the_engine():
    for example in shipped().values():
        assert set(example.crops) <= chemistry.known_crops()
        for line in example.lines:
            assert set(line.crops) <= set(example.crops)
            for mix in (line.mix, *line.alternatives) if line.mix else ():
                assert {part.what for part in mix.parts} <= chemistry.known_groups()


def test_published_figures_stand_as_they_were_published():
    """Copper 4 lb metallic an acre (Virginia Tech, Peach leaf curl, 2025); oil 2 % at 200 and 300 gal an acre
    (Rutgers, Early season tree fruit pest control in 2018); copper 2 lb metallic on apple (Farm Press,
    Early copper application protects apples, 2012).
    """
    leaf_curl, stone, pome = (
        {line.key: line for line in shipped()[name].lines}
        for name in ("leaf-curl-peach-nectarine", "stone-fruit-dormant", "apple-pear-copper-oil")
    )

    def metal(line):
        return next(part.metal_rate for part in line.mix.parts if part.metal)

    assert metal(leaf_curl["leaf-fall"]) == Quantity(Decimal(4), "lb/acre")
    assert metal(pome["apple-copper"]) == Quantity(Decimal(2), "lb/acre")
    assert stone["delayed-dormant-oil"].mix.parts[0].rate == Quantity(Decimal(2), "percent_vv")
    assert stone["delayed-dormant-oil"].volume_per_area == Quantity(Decimal(200), "gal/acre")
    assert pome["delayed-dormant-oil"].volume_per_area == Quantity(Decimal(300), "gal/acre")


# taking one over


def test_a_farm_with_copper_and_oil_gets_its_own_products_at_the_published_rate(farm, manager):
    block = BlockFactory(farm=farm, crop="peach")
    BlockFactory(farm=farm, crop="apple")
    mine, oiled = product(farm, copper("peach")), product(farm, oil("peach"), "gal")

    made = adopt(manager)

    assert made.status_code == 201, made.json()
    leaf_fall, bud_swell, look = made.json()["lines"]
    assert leaf_fall["blocks"] == bud_swell["blocks"] == look["blocks"] == [str(block.id)]
    assert leaf_fall["products"] == [
        {"product": str(mine.id), "rate": {"value": "13.33", "unit": "lb/acre"}},
        {"product": str(oiled.id), "rate": {"value": "1", "unit": "percent_vv"}},
    ]
    assert (leaf_fall["stage"], leaf_fall["leaf_drop_minimum_percent"]) == ({"from": 93, "to": 0}, "90")
    assert look["kind"] == "scouting"
    assert "Virginia Tech" in leaf_fall["note"] and "2025" in leaf_fall["note"]


def test_a_label_that_allows_less_than_was_published_holds(farm, manager):
    BlockFactory(farm=farm, crop="peach")
    product(farm, copper("peach", per_area="12"))
    product(farm, oil("peach", most="0.75"), "gal")

    [copper_part, oil_part] = adopt(manager).json()["lines"][0]["products"]

    assert copper_part["rate"] == {"value": "12", "unit": "lb/acre"}
    assert oil_part["rate"] == {"value": "0.75", "unit": "percent_vv"}


def test_a_limit_per_gallon_holds_with_the_spray_that_a_tree_gets(farm, manager):
    BlockFactory(farm=farm, crop="peach", trees=140, area=amount("1.0413", "acre"))
    label = copper("peach")
    label["uses"][0]["rate"] = {"maximum": {"value": "1", "unit": "oz_wt/gal"}}
    product(farm, label)
    product(farm, oil("peach"), "gal")

    made = adopt(manager, volume_per_tree={"value": "1.4", "unit": "gal"})

    line = made.json()["lines"][0]
    assert line["volume_per_tree"] == {"value": "1.4", "unit": "gal"}
    # 140 x 1.4 gal on 1.0413 acre are 188.23 gal an acre: 188.23 oz or 11.76 lb of it at one ounce a gallon
    assert line["products"][0]["rate"] == {"value": "11.76", "unit": "lb/acre"}


def test_what_the_farm_lacks_is_named_and_nothing_is_made(farm, manager):
    BlockFactory(farm=farm, crop="peach")
    product(farm, copper("apple"))

    refused = adopt(manager)

    assert refused.status_code == 409
    assert set(codes(refused)) == {"product_missing"}
    said = " ".join(fault["detail"] for fault in refused.json()["errors"])
    assert "mineral oil: the farm has no product of it" in said
    assert "Copper hydroxide 30 WG does not name peach" in said
    assert not Programme.objects.for_farm(farm).exists()


def test_lines_that_are_not_wanted_are_left_out(farm, manager):
    BlockFactory(farm=farm, crop="apple")
    product(farm, oil("apple", "pear"), "gal")

    assert codes(adopt(manager, "apple-pear-copper-oil")) == ["product_missing"]
    made = adopt(manager, "apple-pear-copper-oil", without=["apple-copper"])

    assert [line["title"].split()[0] for line in made.json()["lines"]] == ["Oil", "Oil"]
    assert codes(adopt(manager, "apple-pear-copper-oil", without=["cider"])) == ["not_found"]


def test_an_alternative_that_the_farm_can_make_comes_with_it_and_another_is_named_in_the_note(farm, manager):
    BlockFactory(farm=farm, crop="nectarine")
    product(farm, copper("nectarine"))
    product(farm, oil("nectarine"), "gal")
    other = product(farm, CHLOROTHALONIL, "gal")

    leaf_fall = adopt(manager).json()["lines"][0]

    [alternative] = leaf_fall["alternatives"]
    assert alternative["products"] == [
        {"product": str(other.id), "rate": {"value": "0.5", "unit": "gal/acre"}}
    ]
    assert "Not taken over, for the farm has none with a label for it: ziram." in leaf_fall["note"]


def test_a_product_may_be_chosen_by_name(farm, manager):
    BlockFactory(farm=farm, crop="peach")
    product(farm, copper("peach", metal="30"))
    strong = product(farm, copper("peach", metal="50"))
    product(farm, oil("peach"), "gal")

    made = adopt(manager, products={"copper": str(strong.id)})

    assert made.json()["lines"][0]["products"][0] == {
        "product": str(strong.id),
        "rate": {"value": "8", "unit": "lb/acre"},
    }


def test_a_farm_without_those_crops_is_told_so(farm, manager):
    BlockFactory(farm=farm, crop="apple")

    assert codes(adopt(manager)) == ["crop_missing"]


def test_an_adviser_takes_one_over_as_advice_and_a_crew_member_not_at_all(farm):
    BlockFactory(farm=farm, crop="peach")
    product(farm, copper("peach"))
    product(farm, oil("peach"), "gal")
    adviser = Caller(farm, "adviser")

    assert adopt(adviser).status_code == 422
    assert adopt(adviser, status="advice").json()["status"] == "advice"
    assert adopt(Caller(farm, "crew_member")).status_code == 403


def test_the_list_shows_what_of_the_farms_own_would_be_taken_and_what_is_lacking(farm, manager):
    BlockFactory(farm=farm, crop="peach")
    mine = product(farm, copper("peach"))

    seen = {one["id"]: one for one in manager.get("programme-examples").json()["items"]}

    leaf_curl = seen["leaf-curl-peach-nectarine"]
    assert leaf_curl["lacking"] == ["mineral oil"]
    assert leaf_curl["lines"][0]["mix"]["products"][0]["products"] == [str(mine.id)]
    assert seen["apple-pear-copper-oil"]["lacking"] == []
    one = manager.get("programme-examples/leaf-curl-peach-nectarine").json()
    assert one == leaf_curl
    assert manager.get("programme-examples/no-such").status_code == 404


def test_the_command_adopts_and_lists(farm):
    BlockFactory(farm=farm, crop="peach")
    product(farm, copper("peach"))
    product(farm, oil("peach"), "gal")

    def run(*args):
        out = io.StringIO()
        call_command("adopt_programme", *args, stdout=out)
        return json.loads(out.getvalue())

    assert len(run("--list")["examples"]) == 3
    where = ("--farm", str(farm.id), "--from", SEASON["from"], "--until", SEASON["until"])
    made = run(*where, "--example", "leaf-curl-peach-nectarine", "--volume-per-tree", "1.4 gal")
    row = Programme.objects.for_farm(farm).get(id=made["id"])
    assert parse_quantity(row.lines[0]["volume_per_tree"]) == Quantity(Decimal("1.4"), "gal")
    with pytest.raises(CommandError, match="there is no example"):
        run(*where, "--example", "nothing")
