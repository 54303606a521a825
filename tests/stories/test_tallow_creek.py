"""Apple, pear and peach in metric units, through bloom, clock change and July heat, to the last digit."""

from decimal import Decimal

import pytest

from tests import database
from tests.callers import codes
from tests.clock import Clock
from tests.invented.farm import Invented, findings, q, total

pytestmark = pytest.mark.django_db
SIX_HUNDRED = {"volume_per_area": q("600", "L/ha")}
EIGHT_HUNDRED = {"volume_per_area": q("800", "L/ha")}
SULFUR, CAPTAN, OIL = ("P3", "4", "kg/ha"), ("P4", "2.8", "kg/ha"), ("P2", "1.5", "percent_vv")
INSECTICIDE, BACILLUS = ("P7", "0.35", "L/ha"), ("P6", "1.1", "kg/ha")


@pytest.fixture
def clock(monkeypatch):
    return Clock(monkeypatch, "2027-03-22 10:00")


@pytest.fixture
def farm(clock):
    made = Invented("tallow_creek", clock)
    for block in made.blocks:
        made.look(block, 53)
    return made


def checked(farm, block, *parts, spray=SIX_HUNDRED, **more):
    return farm.report(block, "T-200", farm.mix(*parts), spray, **more)


def parts_of(report, product):
    """Return what each load takes of a product, exactly."""
    return [
        Decimal(one["exact"]["value"])
        for load in report["loads"]
        for one in load["products"]
        if one["id"] == product
    ]


def to_the_gram(parts):
    """Return the parts to a gram, the last taking what is left, as a scale of 1 g weighs them."""
    first = [part.quantize(Decimal("0.001")) for part in parts[:-1]]
    return [*map(str, first), str(sum(parts) - sum(first))]


def test_5b_each_block_takes_its_water_in_whole_tanks_and_a_rest(farm):
    loads = {
        block: [one["spray"]["value"] for one in checked(farm, block, OIL, spray=spray)["loads"]]
        for block, spray in (("B1", SIX_HUNDRED), ("B2", EIGHT_HUNDRED), ("B3", SIX_HUNDRED))
    }

    assert loads == {"B1": ["200", "200", "80"], "B2": ["200", "160"], "B3": ["200", "160"]}


def test_5b_1_sulfur_over_the_loads_adds_up_to_the_gram(farm):
    sulfur = farm.product("P3")

    apple, peach = (checked(farm, block, SULFUR) for block in ("B1", "B3"))

    assert total(apple, sulfur)["exact"] == q("3.2", "kg") and sum(parts_of(apple, sulfur)) == Decimal("3.2")
    assert [str(one.quantize(Decimal("0.0001"))) for one in parts_of(apple, sulfur)] == [
        "1.3333",
        "1.3333",
        "0.5333",
    ]
    assert Decimal(to_the_gram(parts_of(apple, sulfur))[-1]) == Decimal("0.534")
    assert to_the_gram(parts_of(apple, sulfur))[:2] == ["1.333", "1.333"]
    assert total(peach, sulfur)["exact"] == q("2.4", "kg")
    assert [str(one.quantize(Decimal("0.001"))) for one in parts_of(peach, sulfur)] == ["1.333", "1.067"]


def test_5b_2_oil_by_percent_of_the_spray(farm):
    oil = farm.product("P2")

    pear, apple = checked(farm, "B2", OIL, spray=EIGHT_HUNDRED), checked(farm, "B1", OIL)

    assert (total(pear, oil)["exact"], parts_of(pear, oil)) == (
        q("5400", "mL"),
        [Decimal(3000), Decimal(2400)],
    )
    assert total(apple, oil)["exact"] == q("7200", "mL")


def oil_on_the_apples(farm):
    farm.spray(farm.saoirse, "B1", "T-200", farm.mix(OIL), SIX_HUNDRED, targets=["scale"])
    farm.wash(farm.saoirse, "T-200")


def test_5b_3_sulfur_waits_two_weeks_after_oil_and_is_warned_of_for_four(farm, clock):
    oil_on_the_apples(farm)

    def on(day, block="B1"):
        clock.set(f"{day} 12:00")
        return checked(farm, block, SULFUR)

    blocked = on("2027-04-02")
    stop = next(one for one in blocked["findings"] if one["id"] == "label.interval-partner")
    assert "2027-03-22" in stop["says"] and "2027-04-05" in stop["says"] + stop["do"]
    assert findings(on("2027-04-02", "B3"), "stop") == []
    assert "label.interval-partner" in findings(on("2027-04-04"), "stop")
    assert findings(on("2027-04-05"), "stop") == []
    four_weeks = "interval.oil-and-sulfur-four-weeks"
    assert four_weeks in findings(on("2027-04-05"), "caution")
    assert four_weeks in findings(on("2027-04-18"), "caution")
    assert four_weeks not in findings(on("2027-04-19"))


def test_5b_3_oil_waits_after_sulfur_in_the_same_way(farm, clock):
    farm.spray(farm.saoirse, "B1", "T-200", farm.mix(SULFUR), SIX_HUNDRED, targets=["scab"])
    farm.wash(farm.saoirse, "T-200")

    def on(day):
        clock.set(f"{day} 12:00")
        return findings(checked(farm, "B1", OIL), "stop")

    assert "label.interval-partner" in on("2027-04-02")
    assert "label.interval-partner" in on("2027-04-04")
    assert on("2027-04-05") == []


def test_5b_4_captan_and_oil_never_in_one_tank(farm):
    assert "label.do-not-mix" in findings(checked(farm, "B3", CAPTAN, OIL), "stop")


def captan_on_the_peaches(farm, clock):
    clock.set("2027-03-13 16:00")
    farm.look("B3", 53)
    path = farm.order(
        "spray", "B3", "T-200", products=farm.mix(CAPTAN), spray=SIX_HUNDRED, targets=["brown rot"]
    )
    farm.begun(farm.saoirse, path)
    farm.mix_all(farm.milo, path)
    clock.set("2027-03-13 18:30")
    return farm.do(farm.milo, path, "finish", {"nothing_unusual": True})


def test_5b_4_a_day_after_the_evening_before_the_clock_change_is_an_hour_later_by_the_clock(farm, clock):
    done = captan_on_the_peaches(farm, clock)

    assert done["finished_at"] == "2027-03-13T18:30:00-08:00"
    assert done["re_entry_until"] == "2027-03-14T19:30:00-07:00"
    assert farm.block("B3")["re_entry_until"] == "2027-03-14T19:30:00-07:00"


def test_5b_5_open_flowers_close_the_apples_to_what_harms_bees_and_not_to_bacillus(farm, clock):
    clock.set("2027-04-20 10:00")
    farm.look("B1", 60)

    assert "stage.bee-hazard-in-bloom" in findings(checked(farm, "B1", INSECTICIDE), "stop")
    assert findings(checked(farm, "B1", BACILLUS), "stop") == []


def test_5b_5_dandelions_in_the_alley_close_the_peaches_until_they_are_mown_and_looked_at_again(farm, clock):
    clock.set("2027-05-10 10:00")
    farm.look("B3", 72)
    looked = {"target": "open flowers", "method": "visual", "sample_size": 20, "observed_at": clock.moment()}
    seen = farm.made(farm.zuri, f"blocks/{farm.blocks['B3']}/scouting", {**looked, "count": 14})
    order = {"spray": SIX_HUNDRED, "targets": ["fruit moth"]}
    path = farm.order("spray", "B3", "T-200", products=farm.mix(INSECTICIDE), **order)
    kind = farm.order("spray", "B3", "T-200", products=farm.mix(BACILLUS), **order)

    refused = farm.bartholomea.act(path, "issue")
    clock.wait(hours=3)
    farm.made(
        farm.zuri,
        f"blocks/{farm.blocks['B3']}/scouting",
        {**looked, "observed_at": clock.moment(), "count": 0},
    )

    assert codes(refused) == ["mix_stop"]
    [fault] = refused.json()["errors"]
    assert fault["finding"]["id"] == "farm.weeds-in-bloom"
    assert fault["refers_to"] == {"kind": "scouting_count", "id": seen["id"]}
    assert farm.bartholomea.act(kind, "issue").status_code == 200
    assert farm.bartholomea.act(path, "issue").status_code == 200


@pytest.mark.parametrize(
    ("day", "goes"), [("2027-07-06", True), ("2027-07-07", False), ("2027-07-08", False)]
)
def test_5b_6_twelve_days_before_picking_are_too_few(farm, clock, day, goes):
    clock.set(f"{day} 10:00")
    farm.look("B3", 81)
    farm.bartholomea.patch(f"blocks/{farm.blocks['B3']}", {"harvest_from": "2027-07-20"})
    path = farm.order(
        "spray", "B3", "T-200", products=farm.mix(INSECTICIDE), spray=SIX_HUNDRED, targets=["fruit moth"]
    )

    answer = farm.bartholomea.act(path, "issue")

    assert (answer.status_code == 200) is goes
    if not goes:
        assert codes(answer) == ["pre_harvest"]
        assert "2027-07-06" in answer.json()["errors"][0]["detail"]


def test_5b_7_the_weed_killers_backpack_is_for_weed_killers_only(farm):
    path = farm.order(
        "spray", "B3", "HB-15", products=farm.mix(BACILLUS), spray=SIX_HUNDRED, targets=["fruit moth"]
    )

    assert codes(farm.bartholomea.act(path, "issue")) == ["sprayer_dedicated"]


def test_5b_7_a_tank_that_held_sulfur_is_washed_before_oil(farm):
    farm.spray(farm.saoirse, "B3", "T-200", farm.mix(SULFUR), SIX_HUNDRED, targets=["mildew"])
    path = farm.order("spray", "B2", "T-200", products=farm.mix(OIL), spray=EIGHT_HUNDRED, targets=["scale"])

    refused = farm.bartholomea.act(path, "issue")
    farm.wash(farm.saoirse, "T-200")

    assert "sprayer_not_clean" in codes(refused)
    assert farm.bartholomea.act(path, "issue").status_code == 200


def test_5b_8_a_comma_is_no_decimal_point_and_28_kg_is_above_the_label(farm):
    comma = [{"product": farm.product("P4"), "rate": q("2,8", "kg/ha")}]

    assert codes(farm.check("B3", "T-200", comma, SIX_HUNDRED)) == ["not_a_decimal"]
    assert "label.rate-above-maximum" in findings(checked(farm, "B3", ("P4", "28", "kg/ha")), "stop")


@pytest.mark.django_db(transaction=True)
def test_5b_9_a_void_is_seen_by_who_follows_gives_the_captan_back_and_opens_the_block(farm, clock):
    before = farm.lot("CAP-4")
    done = captan_on_the_peaches(farm, clock)
    used = farm.lot("CAP-4")
    database.until_all_is_final()
    cursor = farm.evander.get("changes").json()["cursor"]
    record = done["application_record"]

    farm.bartholomea.act(f"application-records/{record}", "void", {"reason": "it was another block"})

    database.until_all_is_final()
    seen = farm.evander.get(f"changes?after={cursor}").json()["items"]
    assert ("application_record", record, "voided") in [
        (one["resource"], one["id"], one["change"]) for one in seen
    ]
    assert (before, used, farm.lot("CAP-4")) == (q("10", "kg"), q("8.32", "kg"), q("10", "kg"))
    assert farm.block("B3")["re_entry_until"] is None


def test_5b_10_four_people_in_36_degrees_for_six_hours_take_24_quarts(farm, clock):
    clock.set("2027-07-08 15:00")
    fourth = farm.made(farm.head, "workers", {"name": "Evander Mosswick", "adult": True})["id"]
    crew = farm.made(farm.head, "crews", {"name": "All", "members": [*farm.workers.values(), fourth]})
    day = {"on": "2027-07-09", "kind": "forecast", "maximum": q("36", "degC"), "minimum": q("18", "degC")}
    assert farm.bartholomea.post("weather/days", {"items": [day]}).status_code == 200
    path = farm.order(
        "scouting",
        "B3",
        crew=crew["id"],
        starts_at=clock.moment("2027-07-09 05:30"),
        ends_at=clock.moment("2027-07-09 11:30"),
    )

    heat = farm.saoirse.get(f"{path}/heat").json()["heat"]

    assert (heat["people"], heat["hours"], heat["water"]) == (4, "6", q("24", "qt"))
    litres = Decimal(24) * Decimal("0.946352946")
    assert str(litres.quantize(Decimal("0.1"))) == "22.7"
    assert "cool_down" in [one["code"] for one in heat["points"]]
    assert "every 2 hours" in next(one["says"] for one in heat["points"] if one["code"] == "cool_down")


def test_5b_11_the_count_before_harvest_agrees_with_the_book_to_ten_millilitres(farm, clock):
    clock.set("2027-07-06 07:00")
    farm.look("B3", 81)
    farm.spray(farm.saoirse, "B3", "T-200", farm.mix(INSECTICIDE), SIX_HUNDRED, targets=["fruit moth"])
    assert farm.lot("CI-7") == q("1.79", "L")

    counts = [{"lot": farm.lots["CI-7"], "counted": q("1785", "mL")}]
    [line] = farm.made(farm.hob, "stocktakes", {"counts": counts})["counts"]

    assert line["difference"] == q("-5", "mL")
    assert abs(Decimal(line["difference"]["value"])) <= 10
    assert line["uses_since_last_count"] == 2  # one for each load
