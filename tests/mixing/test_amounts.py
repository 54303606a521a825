"""What each load takes, in every kind of rate, and what the whole job takes."""

from decimal import Decimal

import pytest

from mixing import check_mix
from tests.mixing.mixes import gaps, ids, label, mix, powder, product, q, use

JOB = {"total": q("10", "gal")}


def load_doses(report, id="a"):
    return [next(dose["exact"] for dose in load["products"] if dose["id"] == id) for load in report["loads"]]


def total(report, id="a"):
    return next(total for total in report["totals"] if total["id"] == id)


def test_full_loads_come_first_and_the_last_is_what_is_left():
    report = check_mix(mix(product(rate=q("1", "fl_oz/gal")), spray=JOB))

    assert [load["number"] for load in report["loads"]] == [1, 2, 3]
    assert [load["spray"] for load in report["loads"]] == [q("4", "gal"), q("4", "gal"), q("2", "gal")]
    assert load_doses(report) == [q("4", "fl_oz"), q("4", "fl_oz"), q("2", "fl_oz")]


def test_a_job_that_fills_whole_tanks_has_no_partial_load():
    report = check_mix(mix(product(), spray={"total": q("8", "gal")}))

    assert [load["spray"] for load in report["loads"]] == [q("4", "gal"), q("4", "gal")]


def test_loads_are_in_the_marks_of_the_tank_and_the_doses_in_the_unit_of_the_rate():
    metric = {"kind": "backpack", "tank": q("15", "L"), "residue": [], "materials": []}

    report = check_mix(
        mix(product(rate=q("100", "mL/100L")), sprayer=metric, spray={"total": q("10", "gal")})
    )

    assert [load["spray"]["unit"] for load in report["loads"]] == ["L", "L", "L"]
    assert report["loads"][2]["spray"] == q("7.85411784", "L")
    assert load_doses(report)[2] == q("7.85411784", "mL")


@pytest.mark.parametrize(
    ("rate", "spray", "wanted"),
    [
        (q("1.5", "tbsp/gal"), JOB, q("15", "tbsp")),
        (q("2", "lb/100gal"), JOB, q("0.2", "lb")),
        (q("1", "g/L"), {"total": q("20", "L")}, q("20", "g")),
        (q("4", "lb/acre"), {"total": q("10", "gal"), "area": q("0.25", "acre")}, q("1", "lb")),
        (q("2", "L/ha"), {"area": q("0.5", "ha"), "volume_per_area": q("100", "L/ha")}, q("1", "L")),
        (q("15", "mL/tree"), {"trees": 6, "volume_per_tree": q("2", "gal")}, q("90", "mL")),
        (
            q("50", "g/100m"),
            {"row_length": q("300", "m"), "volume_per_length": q("10", "L/100m")},
            q("150", "g"),
        ),
        (q("1", "percent_vv"), JOB, q("12.8", "fl_oz")),
        (q("1", "percent_vv"), {"total": q("20", "L")}, q("200", "mL")),
        (q("1", "percent_vv"), {"total": q("20", "imp_gal")}, q("909.218", "mL")),
    ],
)
def test_every_kind_of_rate_gives_its_amount(rate, spray, wanted):
    report = check_mix(mix(product(rate=rate), spray=spray))

    assert total(report)["exact"] == wanted


@pytest.mark.parametrize(
    ("changes", "wanted"),
    [
        # 200 ppm in 100 L is 20 g of active
        ({"formulation": "WP", "content": q("50", "percent_ww")}, q("40", "g")),
        ({"formulation": "SL", "content": q("400", "g/L")}, q("50", "mL")),
        ({"formulation": "SL", "content": q("40", "percent_wv")}, q("50", "mL")),
        (
            {"formulation": "SL", "content": q("40", "percent_ww"), "density": q("1.25", "kg/L")},
            q("40", "mL"),
        ),
        ({"formulation": "SL", "content": q("40", "percent_ww"), "density": None}, q("50", "g")),
    ],
)
def test_parts_per_million_are_of_active_ingredient(changes, wanted):
    content = changes.pop("content")
    request = mix(
        product(
            rate=q("200", "ppm"), active_ingredients=[{"name": "streptomycin", "content": content}], **changes
        ),
        spray={"total": q("100", "L")},
    )

    assert total(check_mix(request))["exact"] == wanted


def test_parts_per_million_without_a_content_are_not_worked_out():
    request = mix(product(rate=q("200", "ppm"), active_ingredients=[{"name": "streptomycin"}]))

    report = check_mix(request)

    assert total(report)["exact"] is None
    assert "label.content:a" in gaps(report)
    assert "dose.content-unknown" in ids(report)


@pytest.mark.parametrize(
    ("rate", "missing"),
    [
        (q("4", "lb/acre"), "spray.area"),
        (q("15", "mL/tree"), "spray.trees"),
        (q("5", "g/100m"), "spray.row_length"),
    ],
)
def test_a_rate_by_what_the_spray_does_not_say_has_no_dose(rate, missing):
    report = check_mix(mix(product(rate=rate), spray={"total": q("10", "gal")}))

    assert total(report)["exact"] is None
    assert load_doses(report) == [None, None, None]
    assert missing in gaps(report)


def test_without_a_spray_nothing_is_worked_out():
    report = check_mix(mix(product(), spray=None))

    assert report["loads"] == []
    assert total(report) == {"id": "a", "exact": None, "base": None, "per_area": None, "metal": []}
    assert "spray" in gaps(report)


def test_concentrate_spraying_keeps_the_dose_per_area_of_the_dilute_rate():
    spray = {
        "area": q("12", "acre"),
        "volume_per_area": q("75", "gal/acre"),
        "dilute_volume_per_area": q("225", "gal/acre"),
    }
    sprayer = {"kind": "airblast", "tank": q("500", "gal"), "residue": [], "materials": []}
    spreader = product(
        "s",
        q("1", "pt/100gal"),
        name="Spreader",
        adjuvant="surfactant",
        active_ingredients=[],
        formulation="SL",
    )

    report = check_mix(mix(powder("c", q("2", "lb/100gal")), spreader, spray=spray, sprayer=sprayer))

    assert load_doses(report, "c") == [q("30", "lb"), q("24", "lb")]
    assert total(report, "c")["per_area"] == q("4.5", "lb/acre")
    assert load_doses(report, "s") == [q("5", "pt"), q("4", "pt")], (
        "an adjuvant's rate is of the spray as made"
    )


def test_a_share_of_the_spray_is_the_published_amount_per_gallon():
    for unit, wanted in (("fl_oz", "1.28"), ("tbsp", "2.56")):
        report = check_mix(mix(product(rate=q("1", "percent_vv")), spray={"total": q("1", "gal")}))
        exact = total(report)["exact"]

        assert exact["unit"] == "fl_oz"
        assert Decimal(exact["value"]) * (2 if unit == "tbsp" else 1) == Decimal(wanted)


def test_the_base_of_a_powder_by_volume_is_grams_where_its_bulk_density_is_known():
    report = check_mix(mix(powder("p", q("1.5", "tbsp/gal"), bulk_density=q("0.7", "kg/L")), spray=JOB))

    assert report["loads"][0]["products"][0]["base"] == q("62.1", "g")
    assert total(report, "p")["base"] == q("155.3", "g")


def test_a_powder_by_volume_without_its_density_is_dosed_and_said_not_to_turn():
    report = check_mix(mix(powder("p", q("1.5", "tbsp/gal"), bulk_density=None), spray=JOB))

    assert total(report, "p")["exact"] == q("15", "tbsp")
    assert total(report, "p")["base"]["unit"] == "mL"
    assert "dose.cannot-be-turned" in ids(report)
    assert "label.density:p" in gaps(report)


def test_a_liquid_by_weight_turns_into_millilitres_by_its_density():
    report = check_mix(
        mix(product(rate=q("110", "g/100L"), density=q("1.1", "kg/L")), spray={"total": q("200", "L")})
    )

    assert total(report)["exact"] == q("220", "g")
    assert total(report)["base"] == q("200.0", "mL")


def test_a_liquid_by_weight_without_its_density_is_dosed_and_said_not_to_turn():
    report = check_mix(mix(product(rate=q("110", "g/100L"), density=None), spray=JOB))

    assert total(report)["base"]["unit"] == "g"
    assert "dose.cannot-be-turned" in ids(report)
    assert "label.density:a" in gaps(report)


def test_water_is_the_whole_load_where_liquids_take_one_percent_or_less():
    report = check_mix(mix(product(rate=q("1", "percent_vv")), spray=JOB))

    assert report["loads"][0]["water"] == q("4", "gal")


def test_water_is_the_load_less_the_liquids_where_they_take_more():
    report = check_mix(mix(product(rate=q("2", "percent_vv")), spray=JOB))

    assert report["loads"][0]["water"] == q("3.92", "gal")
    assert report["loads"][2]["water"] == q("1.96", "gal")


def test_liquids_are_added_up_before_their_share_is_judged():
    report = check_mix(
        mix(
            product("a", q("0.6", "percent_vv")),
            product("b", q("0.6", "percent_vv")),
            spray={"total": q("1", "gal")},
        )
    )

    assert report["loads"][0]["water"] == q("0.988", "gal")


def test_powders_take_no_room_from_the_water():
    report = check_mix(mix(powder("p", q("10", "tbsp/gal")), spray=JOB))

    assert report["loads"][0]["water"] == q("4", "gal")


def test_metal_is_the_labels_figure_where_it_gives_one():
    copper = [
        {
            "name": "copper hydroxide",
            "content": q("53.8", "percent_ww"),
            "metal": {"of": "copper", "content": q("35", "percent_ww")},
        }
    ]

    report = check_mix(
        mix(powder("p", q("100", "g/100L"), active_ingredients=copper), spray={"total": q("1000", "L")})
    )

    assert total(report, "p")["metal"] == [{"of": "copper", "amount": q("350.0", "g"), "from": "label"}]


def test_metal_comes_from_the_formula_where_the_label_gives_none():
    copper = [{"name": "copper hydroxide", "content": q("77", "percent_ww")}]

    report = check_mix(
        mix(powder("p", q("100", "g/100L"), active_ingredients=copper), spray={"total": q("1000", "L")})
    )

    (metal,) = total(report, "p")["metal"]
    assert (metal["of"], metal["from"]) == ("copper", "formula")
    assert abs(Decimal(metal["amount"]["value"]) - Decimal("501.5")) <= Decimal("0.1")


def test_metal_of_a_liquid_by_volume_needs_a_density():
    copper = [{"name": "copper octanoate", "content": q("10", "percent_ww")}]

    report = check_mix(mix(product(active_ingredients=copper, density=None), spray=JOB))

    assert total(report)["metal"] == [{"of": "copper", "amount": None, "from": "formula"}]
    assert "label.density:a" in gaps(report)


def test_metal_of_a_content_by_weight_in_volume_needs_none():
    copper = [{"name": "copper octanoate", "metal": {"of": "copper", "content": q("20", "g/L")}}]

    report = check_mix(
        mix(
            product(rate=q("1", "L/100L"), active_ingredients=copper, density=None),
            spray={"total": q("100", "L")},
        )
    )

    assert total(report)["metal"] == [{"of": "copper", "amount": q("20.0", "g"), "from": "label"}]


def test_per_area_is_in_the_rates_amount_over_the_given_area():
    spray = {"total": q("10", "gal"), "area": q("5000", "ft2")}

    assert total(check_mix(mix(product(), spray=spray)))["per_area"] == q("0.002", "fl_oz/ft2")
    assert total(check_mix(mix(product(), spray=JOB)))["per_area"] is None


PACKET = {"packet": True, "packet_content": q("0.5", "lb"), "formulation": "WP"}


def test_whole_packets_are_measured_as_what_they_hold():
    report = check_mix(mix(powder("p", q("0.25", "lb/gal"), **PACKET), spray={"total": q("8", "gal")}))

    assert "dose.part-packet" not in ids(report)
    assert report["loads"][0]["products"][0]["measure"] == [q("1", "lb")]


def test_part_of_a_packet_is_a_finding():
    report = check_mix(mix(powder("p", q("0.25", "lb/gal"), **PACKET), spray={"total": q("9", "gal")}))

    (finding,) = [one for one in report["findings"] if one["id"] == "dose.part-packet"]
    assert finding["severity"] == "caution"
    assert finding["products"] == ["p"]
    assert "0.5 packets" in finding["says"]


@pytest.mark.parametrize("spray", ["9", "0.5"])
def test_nobody_is_told_to_weigh_out_part_of_a_packet_that_may_not_be_opened(spray):
    tank = mix(powder("p", q("0.25", "lb/gal"), **PACKET), spray={"total": q(spray, "gal")}, measures=["lb"])

    told = ids(check_mix(tank))

    assert "dose.part-packet" in told
    assert not {"dose.measuring-error", "dose.below-smallest-mark"} & set(told)


def test_a_packet_of_unknown_content_is_a_finding():
    report = check_mix(mix(powder("p", packet=True)))

    assert "dose.packet-content-unknown" in ids(report)
    assert "label.packet_content:p" in gaps(report)


def test_without_a_tank_there_are_no_loads_but_the_total_stands():
    report = check_mix(mix(product(), sprayer={"kind": "backpack"}))

    assert report["loads"] == []
    assert total(report)["exact"] == q("10", "fl_oz")
    assert "sprayer.tank" in gaps(report)


def test_two_hundred_loads_are_the_most():
    assert len(check_mix(mix(product(), spray={"total": q("800", "gal")}))["loads"]) == 200


def measured(amount_per_gal, measures, unit="tbsp", maximum=None, make=product, **changes):
    uses = [use(rate={"maximum": maximum})] if maximum else [use()]
    one = make("a", q(amount_per_gal, f"{unit}/gal"), uses=uses, **changes)
    report = check_mix(mix(one, spray={"total": q("1", "gal")}, measures=measures))
    (dose,) = report["loads"][0]["products"]
    return dose["measure"], dose["error_percent"], ids(report)


SPOONS = ["tbsp", "tsp", "cup", "fl_oz"]


@pytest.mark.parametrize(
    ("amount", "unit", "measures", "shown", "error"),
    [
        ("6", "tbsp", SPOONS, [q("6", "tbsp")], "0.0"),
        ("5.76", "fl_oz", SPOONS, [q("5.75", "fl_oz")], "-0.2"),
        ("3.84", "fl_oz", SPOONS, [q("3.75", "fl_oz"), q("0.5", "tsp")], "-0.2"),
        ("1.1", "tsp", SPOONS, [q("1", "tsp")], "-9.1"),
        ("48", "tbsp", SPOONS, [q("3", "cup")], "0.0"),
        ("10", "mL", ["tsp"], [q("2", "tsp")], "-1.4"),
        ("10.4", "mL", ["mL"], [q("10", "mL")], "-3.8"),
        ("1.02", "tsp", ["tsp", "mL"], [q("5", "mL")], "-0.5"),
        ("0.1", "tsp", ["tsp"], [], "-100.0"),
        ("1.1", "tsp", [], None, None),
        ("1.1", "tsp", None, None, None),
    ],
)
def test_liquids_are_measured_to_the_nearest_mark_largest_first(amount, unit, measures, shown, error):
    assert measured(amount, measures, unit)[:2] == (shown, error)


@pytest.mark.parametrize(
    ("amount", "unit", "measures", "shown"),
    [
        ("1.4", "lb", ["lb", "oz_wt"], [q("1", "lb"), q("6.5", "oz_wt")]),
        ("1.4", "lb", ["lb"], [q("1", "lb")]),
        ("40", "oz_wt", ["lb", "oz_wt"], [q("2", "lb"), q("8", "oz_wt")]),
        ("10.6", "g", ["g"], [q("11", "g")]),
        ("22.18", "g", ["tbsp"], [q("3", "tbsp")]),
    ],
)
def test_powders_are_weighed_or_spooned_by_their_bulk_density(amount, unit, measures, shown):
    assert measured(amount, measures, unit, make=powder)[0] == shown


def test_the_nearest_mark_is_not_taken_where_it_would_pass_the_labels_maximum():
    shown, error, _ = measured("1.45", ["tbsp"], "tbsp", maximum=q("1.45", "tbsp/gal"))

    assert shown == [q("1.25", "tbsp")]
    assert error == "-13.8"


def test_an_error_above_five_percent_is_one_finding_for_the_product():
    assert "dose.measuring-error" in measured("1.1", ["tbsp"])[2]
    assert "dose.measuring-error" not in measured("1.04", ["tbsp"])[2]


def test_a_powder_by_weight_cannot_be_spooned_without_its_density():
    shown, error, found = measured("10", ["tbsp"], "g", make=powder, bulk_density=None)

    assert (shown, error) == ([], None)
    assert "dose.no-measure" in found


def test_a_weight_is_not_turned_by_the_density_of_another_label():
    other = label("Other 10 SC", density=q("2", "kg/L"))
    request = mix(product("a", density=None), {"id": "b", "rate": q("1", "g/L"), "label": other})

    assert total(check_mix(request))["base"]["unit"] == "mL"


def test_a_scale_stands_in_for_spoons_that_are_further_off():
    powder_by_spoon = powder(rate=q("1.5", "tbsp/gal"), bulk_density=q("0.7", "kg/L"))

    dose = check_mix(mix(powder_by_spoon, spray={"total": q("4", "gal")}, measures=["cup", "g"]))["loads"][0][
        "products"
    ][0]

    assert dose["exact"] == q("6", "tbsp")
    assert dose["measure"] == [q("62", "g")]  # a quarter cup would be a third too little


def test_spoons_stand_in_for_a_scale_only_where_it_is_too_coarse():
    by_weight = powder(rate=q("0.31", "oz_wt/gal"))

    def measured(total: str, *measures: str) -> list[dict[str, str]]:
        report = check_mix(mix(by_weight, spray={"total": q(total, "gal")}, measures=list(measures)))
        return report["loads"][0]["products"][0]["measure"]

    assert measured("4", "oz_wt", "tsp") == [q("1.25", "oz_wt")]  # 1.24 wanted
    assert measured("1", "lb", "tsp")[0]["unit"] == "tsp"
