"""The six examples of the contract, to the letter of what they expect."""

from decimal import Decimal

from mixing import check_mix
from tests.mixing.mixes import example, q


def exact(report, load, id):
    return next(dose["exact"] for dose in report["loads"][load - 1]["products"] if dose["id"] == id)


def added(report):
    return [step["product"] for step in report["order"] if step["action"] == "add"]


def test_dormant_copper_and_oil_go_in_together():
    report = check_mix(example("dormant-copper-and-oil")[0])

    assert report["verdict"] in ("ok", "caution")
    assert len(report["loads"]) == 5
    assert (exact(report, 1, "cu"), exact(report, 1, "oil")) == (q("4.5", "tbsp"), q("5.76", "fl_oz"))
    assert report["loads"][4]["spray"] == q("2", "gal")
    assert (exact(report, 5, "cu"), exact(report, 5, "oil")) == (q("3", "tbsp"), q("3.84", "fl_oz"))
    assert added(report) == ["cu", "oil"]
    copper, oil = report["totals"]
    assert (copper["exact"], copper["base"]) == (q("21", "tbsp"), q("217.4", "g"))
    assert copper["metal"][0]["amount"] == q("76.1", "g")
    assert oil["exact"] == q("26.88", "fl_oz")


def test_copper_past_bud_colour_is_stopped_by_its_label():
    report = check_mix(example("past-bud-colour")[0])

    assert report["verdict"] == "stop"
    stops = [one for one in report["findings"] if one["severity"] == "stop"]
    assert any(
        one["basis"] == "label" and one["products"] == ["cu"] and one["may_be_overridden"] is False
        for one in stops
    )


def test_a_pair_that_nobody_knows_wants_a_jar_test():
    report = check_mix(example("nobody-knows-this-pair")[0])

    assert report["verdict"] == "caution"
    (untested,) = [one for one in report["findings"] if one["basis"] == "untested"]
    assert (untested["severity"], untested["products"]) == ("caution", ["a", "b"])
    assert report["jar_test"]["needed"] is True
    assert added(report) == ["a", "b"]


def test_a_concentrate_keeps_the_dose_per_acre():
    report = check_mix(example("concentrate-airblast")[0])

    assert [load["spray"] for load in report["loads"]] == [q("500", "gal"), q("400", "gal")]
    assert (exact(report, 1, "c"), exact(report, 2, "c")) == (q("30", "lb"), q("24", "lb"))
    assert report["totals"][0]["exact"] == q("54", "lb")
    assert report["totals"][0]["per_area"] == q("4.5", "lb/acre")


def test_a_hose_end_jar_is_filled_three_times():
    report = check_mix(example("hose-end")[0])

    dial = report["dial"]
    assert dial["setting"] == q("6", "tbsp/gal")
    assert dial["premix"] == [
        {"id": "cu", "amount": q("48", "tbsp")},
        {"id": "oil", "amount": q("24", "tbsp")},
    ]
    assert dial["jars"] == 3
    neat = sum(Decimal(one["amount"]["value"]) for one in dial["premix"])
    assert neat / 2 == 36, "fl_oz of premix, from a jar of 16"
