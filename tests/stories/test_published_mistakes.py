"""Mistakes that were published, each with the guard that keeps a crew from it, over HTTP (E16 to E33)."""

import datetime as dt

import pytest

from orchard.blocks import services as land
from tests.callers import codes
from tests.factories import amount
from tests.stories.field import CALM, SULFUR, Field, found, label, made, q, stops

pytestmark = pytest.mark.django_db
CAPTAN = label(
    "Captan 80 WG",
    "WG",
    {"name": "captan", "content": q("80", "percent_ww")},
    rate={"maximum": q("2.8", "kg/ha")},
    pre_harvest=q("0", "d"),
)
INTERVALS = "interval.oil-and-"
STONE_COLD = {"minimum_next_24h": q("31", "degF")}


@pytest.fixture
def field():
    return Field()


def weather(**more):
    named = ("wind", "temperature", "minimum_next_24h", "humidity_percent", "rain_within_h", "inversion")
    return {**{name: CALM[name] for name in named}, **more}


def test_e16_copper_past_bud_colour_is_refused_for_every_role_by_a_fresh_look(field):
    path = field.accepted()
    field.see(field.at.a2, 57)

    refused = field.pim.act(field.order(), "issue")
    at_the_start = field.teo.act(path, "start", {"observed": CALM})
    check = made(field.pim.post("mix-checks", {
        "block": str(field.at.a2.id), "sprayer": str(field.at.tank.id), "products": [field.copper()],
        "spray": {"total": q("196", "gal")},
    }))  # fmt: skip
    stop = next(one for one in check["report"]["findings"] if one["severity"] == "stop")
    override = field.pim.post("overrides", {
        "mix_check": check["id"], "finding": stop["id"], "products": stop["products"],
        "reason": "the adviser agrees to it", "reference": "telephone",
    })  # fmt: skip

    assert "mix_stop" in codes(refused) and "mix_stop" in codes(at_the_start)
    assert stop["basis"] == "label"  # the label's own window ends before it
    assert (override.status_code, codes(override)) == (409, ["not_overridable"])


def test_e17_leaves_that_still_hang_hold_the_dormant_spray_until_they_are_off(field):
    line = {
        "title": "Leaf curl, dormant",
        "kind": "spray",
        "blocks": [str(field.at.a1.id)],
        "stage": {"from": 93, "to": 53},
        "leaf_drop_minimum_percent": "90",
        "products": [field.copper()],
        "volume_per_tree": q("1.25", "gal"),
    }
    season = {"name": "Winter", "from": field.day(-30), "until": field.day(120), "lines": [line]}
    programme = made(field.pim.post("programmes", season))
    bound = {"programme": programme["id"], "line": programme["lines"][0]["id"]}
    spray = {"block": str(field.at.a1.id), "spray": {"total": q("120", "gal")}}
    hanging = field.see(field.at.a1, 95, leaf_drop_percent="55")
    path = field.order(**spray, **bound)

    refused = field.pim.act(path, "issue")
    by_hand = field.other("leaf_removal", block=str(field.at.a1.id))
    for action in ("issue", "accept", "start", "finish"):
        field.do(by_hand, action)
    field.see(field.at.a1, 97, leaf_drop_percent="97")

    assert codes(refused) == ["stage_condition_unmet"]
    assert refused.json()["errors"][0]["refers_to"] == {"kind": "stage_observation", "id": hanging["id"]}
    assert field.pim.act(path, "issue").status_code == 200


@pytest.mark.parametrize("first", ["oil", "sulfur"])
def test_e18_oil_and_sulfur_stay_apart_both_ways_on_their_own_block_only(field, first):
    sulfur = field.product(SULFUR, holds="30")
    mixes = {"oil": field.oil(), "sulfur": {"product": sulfur, "rate": q("3", "lb/acre")}}
    used = {"oil": (str(field.at.oil.id), q("1.96", "gal")), "sulfur": (sulfur, q("3", "lb"))}
    second = "sulfur" if first == "oil" else "oil"
    field.put_on_paper(*used[first], days=11)

    here = field.report(mixes[second], targets=[])
    there = field.report(mixes[second], block=field.at.a1, targets=[])
    in_20_days = (field.at.now + dt.timedelta(days=9)).isoformat()
    warned = field.report(mixes[second], targets=[], at=in_20_days)

    assert here["verdict"] == "stop" and any(one.startswith(INTERVALS) for one in found(here, "stop"))
    assert not any(one.startswith(INTERVALS) for one in found(there))
    assert any(one.startswith(INTERVALS) for one in found(warned, "caution"))
    assert not any(one.startswith(INTERVALS) for one in found(warned, "stop"))


def test_e19_captan_and_oil_are_never_in_one_tank_and_warn_one_after_the_other(field):
    captan = field.product(CAPTAN, holds="30")
    mix = {"product": captan, "rate": q("2", "lb/acre")}

    together = field.report(mix, field.oil(), targets=[])
    field.put_on_paper(captan, q("2", "lb"), days=5)
    after = field.report(field.oil(), targets=[])

    assert together["verdict"] == "stop"
    assert any("captan" in one for one in found(together, "stop"))
    assert any(one.startswith(INTERVALS) for one in found(after))


def test_e20_captan_in_alkaline_water_or_with_lime_is_told(field):
    mix = {"product": field.product(CAPTAN), "rate": q("2", "lb/acre")}

    alkaline = field.report(mix, targets=[], water={"ph": "9.0"})
    neutral = field.report(mix, targets=[], water={"ph": "6.0"})

    about_water = {one for one in found(alkaline) if "captan" in one or one.startswith("water.")}
    assert about_water and not about_water & found(neutral)


def test_e21_copper_in_acid_water_or_with_an_acid_partner_is_held(field):
    acid = label(
        "Demo phosphite 53 SL",
        "SL",
        {"name": "potassium phosphite", "content": q("53", "percent_ww")},
        rate={"maximum": q("2", "percent_vv")},
    )
    partner = {"product": field.product(acid, "gal"), "rate": q("0.5", "percent_vv")}

    sour = field.report(field.copper(), water={"ph": "5.0"})
    fine = field.report(field.copper(), water={"ph": "7.0"})
    unknown = field.report(field.copper())
    together = field.report(field.copper(), partner)

    in_water = {one for one in found(sour) if one.startswith("water.") or "acid" in one}
    assert in_water and not in_water & found(fine)
    assert "water.ph" in {one["what"] for one in unknown["not_checked"]}
    assert together["verdict"] in ("stop", "caution") and any("copper" in one for one in found(together))


def test_e22_copper_that_dries_slowly_on_green_is_told(field):
    field.see(field.at.a2, 54)
    damp = weather(temperature=q("45", "degF"), humidity_percent="92")

    slow = field.report(field.copper("0.2"), weather=damp)
    dry = field.report(field.copper("0.2"), weather=weather())

    assert "weather.copper-slow-drying" in found(slow, "caution")
    assert "weather.copper-slow-drying" not in found(dry)


def test_e23_oil_before_a_frost_night_is_held_and_the_start_says_so(field):
    path = field.accepted(field.oil())

    refused = field.teo.act(path, "start", {"observed": {**CALM, **STONE_COLD}})
    warmer = field.teo.act(path, "start", {"observed": {**CALM, "minimum_next_24h": q("41", "degF")}})

    assert "weather.oil-frost-within-24-h" in stops(refused)
    assert warmer.status_code == 200


def test_e23_a_frost_that_is_forecast_holds_the_issue(field):
    rows = [
        {
            "at": field.at.now + dt.timedelta(hours=hour),
            "kind": "forecast",
            "temperature": amount("31" if hour == 15 else "48", "degF"),
            "wind": amount("4", "mph"),
            "rain": amount("0", "in"),
        }
        for hour in range(-1, 40)
    ]
    land.store_hours(farm=field.at.farm, station="", rows=rows, now=field.at.now)

    refused = field.pim.act(field.order(field.oil()), "issue")

    assert "weather.oil-frost-within-24-h" in stops(refused)


def test_e24_oil_in_heat_is_held(field):
    hot = field.report(field.oil(), weather=weather(temperature=q("95", "degF")))
    warm = field.report(field.oil(), weather=weather(temperature=q("86", "degF")))

    assert "weather.oil-above-90-f" in found(hot, "stop")
    assert "weather.oil-above-85-f" in found(warm, "caution")


def test_e25_rain_within_the_dry_hours_of_the_label_closes_the_start_and_nothing_resprays_by_itself(field):
    dry = label(
        "Copper with dry hours",
        "WG",
        {"name": "copper hydroxide", "content": q("46", "percent_ww")},
        rate={"maximum": q("1.6", "oz_wt/gal")},
        rain_free=q("24", "h"),
    )
    path = field.accepted({"product": field.product(dry, holds="30"), "rate": q("1", "oz_wt/gal")})

    soon = field.teo.act(path, "start", {"observed": {**CALM, "rain_within_h": "20"}})
    later = field.teo.act(path, "start", {"observed": {**CALM, "rain_within_h": "60"}})

    assert {one for one in stops(soon) if one.startswith("label.")}
    assert later.status_code == 200
    assert len(field.pim.get("work-orders").json()["items"]) == 1


def test_e26_wind_too_high_and_dead_calm_are_told_and_the_reading_is_fresh(field):
    path = field.accepted()
    read_at = (field.at.now - dt.timedelta(minutes=45)).isoformat()

    high = field.teo.act(path, "start", {"observed": {**CALM, "wind": q("12", "mph")}})
    still = field.teo.act(path, "start", {"observed": {**CALM, "wind": q("0", "mph"), "inversion": True}})
    stale = field.teo.act(path, "start", {"observed": {**CALM, "read_at": read_at}})
    calm = field.report(field.copper(), weather=weather(wind=q("1", "mph")))

    assert any(one.startswith("label.") for one in stops(high))
    assert "weather.inversion" in stops(still)
    assert (stale.status_code, codes(stale)) == (422, ["out_of_range"])
    assert any("calm" in one for one in found(calm, "caution"))


def test_e27_people_in_the_zone_close_the_start_pause_the_work_and_clear_it(field):
    path = field.accepted()
    inside = field.teo.act(path, "start", {"observed": {**CALM, "people_out": False}})
    looking = field.other("scouting", block=str(field.at.a2.id))
    for action in ("issue", "accept", "start"):
        field.do(looking, action)
    at_work = field.teo.act(path, "start", {"observed": CALM})
    field.do(looking, "finish")
    order = field.do(path, "start", {"observed": CALM})

    field.wren.act(path, "hold", {"reason": "people"}, if_match="*")
    still = field.teo.act(path, "resume", {"people_out": False})

    assert codes(inside) == ["people_in_block"] and codes(at_work) == ["people_in_block"]
    assert at_work.json()["errors"][0]["refers_to"]["id"] == looking.split("/")[1]
    assert order["exclusion_zone"]["distance"] == q("100", "ft")  # nobody said how fine the droplets are
    assert codes(still) == ["people_in_block"]
    assert field.do(path, "resume", {"people_out": True})["status"] == "under_way"


def test_e27_larger_droplets_need_25_feet_and_a_neighbour_within_them_counts(field):
    def square(west):
        east = west + 0.0005
        ring = [[west, 38.0], [east, 38.0], [east, 38.0005], [west, 38.0005], [west, 38.0]]
        return {"type": "Polygon", "coordinates": [ring]}

    # 0.0002 degrees of longitude at 38 degrees north are 17.5 m: within 100 ft, beyond 25 ft
    field.pim.patch(f"blocks/{field.at.a1.id}", {"outline": square(-120.0)})
    field.pim.patch(f"blocks/{field.at.a2.id}", {"outline": square(-119.9993)})
    looking = field.other("scouting", block=str(field.at.a1.id))
    for action in ("issue", "accept", "start"):
        field.do(looking, action)
    path = field.accepted()

    near = field.teo.act(path, "start", {"observed": CALM})
    field.pim.patch(f"sprayers/{field.at.tank.id}", {"droplets": "medium_or_larger"})
    far = field.teo.act(path, "start", {"observed": CALM})

    assert codes(near) == ["people_in_block"] and "100 ft" in near.json()["errors"][0]["detail"]
    assert far.status_code == 200, far.json()
    assert far.json()["exclusion_zone"]["distance"] == q("25", "ft")


def test_e28_what_harms_bees_waits_for_the_crops_flowers_and_for_the_weeds(field):
    killer = label(
        "Demo contact insecticide 20 SC",
        "SC",
        {"name": "spinosad", "content": q("20", "percent_ww")},
        rate={"maximum": q("0.5", "L/ha")},
    )
    mix = {"product": field.product(killer, "gal", holds="2"), "rate": q("0.35", "L/ha")}
    field.see(field.at.a1, 65)
    in_bloom = field.pim.act(field.order(mix, block=str(field.at.a1.id), targets=[]), "issue")
    field.see(field.at.a2, 75)
    path = field.accepted(mix, targets=[])

    weeds = field.teo.act(path, "start", {"observed": {**CALM, "flowers_open": True}})
    mown = field.teo.act(path, "start", {"observed": {**CALM, "flowers_open": False}})

    assert "stage.bee-hazard-in-bloom" in stops(in_bloom)
    assert (weeds.status_code, stops(weeds)) == (409, {"farm.weeds-in-bloom"})
    assert mown.status_code == 200, mown.json()


def test_e29_a_volume_more_than_a_tenth_off_asks_for_a_new_calibration(field):
    path = field.started(spray={"total": q("100", "gal")})
    field.mixed(path, "50", "50")
    field.one_more(path, 3, "15")
    field.finished(path)

    drafted = field.pim.get("work-orders?kind=calibration").json()["items"]

    [order] = drafted
    assert (order["status"], order["sprayer"]) == ("draft", str(field.at.tank.id))
    assert "15 % more" in order["instructions"]


def test_e29_a_tenth_is_no_reason_and_a_worn_nozzle_is_told(field):
    path = field.started(spray={"total": q("100", "gal")})
    field.mixed(path, "50", "50")
    field.one_more(path, 3, "10")
    field.finished(path)
    for days, flow in ((-60, "40"), (-1, "45")):
        measured = {
            "on": field.day(days), "due_on": field.day(300), "nozzle": "D3", "flow": q(flow, "fl_oz/min")
        }  # fmt: skip
        made(field.teo.post(f"sprayers/{field.at.tank.id}/calibrations", measured))

    told = field.pim.get(field.order(block=str(field.at.a1.id))).json()["cautions"]

    assert field.pim.get("work-orders?kind=calibration").json()["items"] == []
    assert [one["code"] for one in told] == ["nozzle_worn"] and "12.5 %" in told[0]["detail"]


def test_e30_a_dial_that_draws_a_third_more_asks_for_a_new_calibration_and_is_not_hidden(field):
    octanoate = label(
        "Copper octanoate 10 SL",
        "SL",
        {"name": "copper octanoate", "content": q("10", "percent_ww")},
        rate={"minimum": q("0.5", "fl_oz/gal"), "maximum": q("2", "fl_oz/gal")},
    )
    product = field.product(octanoate, "fl_oz", holds="32")
    dial = {
        "name": "Hose end", "kind": "hose_end_dial", "dial_max": q("8", "fl_oz/gal"),
        "dial_step": q("1", "fl_oz/gal"), "jar": q("32", "fl_oz"),
    }  # fmt: skip
    sprayer = made(field.pim.post("sprayers", dial))["id"]
    measured = {"on": field.day(-1), "due_on": field.day(300)}
    made(field.teo.post(f"sprayers/{sprayer}/calibrations", measured))
    path = field.started(
        {"product": product, "rate": q("2", "fl_oz/gal")},
        block=str(field.at.a3.id),
        sprayer=sprayer,
        spray={"total": q("6", "gal")},
    )
    assert field.pim.get(path).json()["totals"][0]["exact"] == q("12", "fl_oz")
    [lot] = field.pim.get(f"lots?product={product}").json()["items"]
    used = [{"product": product, "lots": [{"lot": lot["id"], "amount": q("15.5", "fl_oz")}]}]
    field.wren.act(path, "record_load", field.load(1, "6", products=used, at=field.ago(60)), if_match="*")

    record = field.finished(path)

    assert record["products"][0]["amount"] == q("15.5", "fl_oz")
    assert "rate_exceeded" in {one["code"] for one in record["flags"]}
    [order] = field.pim.get("work-orders?kind=calibration").json()["items"]
    assert "29.2 % more" in order["instructions"]


def test_e31_a_sprayer_goes_from_dirty_to_clean_and_a_weed_killers_own_is_never_lent(field):
    path = field.started()
    field.mixed(path, "50")
    dirty = field.pim.get(f"sprayers/{field.at.tank.id}").json()
    field.do(path, "hold", {"reason": "wind"})
    field.washed()
    kept = {"name": "HB-4", "kind": "backpack", "tank": q("4", "gal"), "dedicated_to": "herbicide"}
    sprayer = made(field.pim.post("sprayers", kept))["id"]
    made(field.teo.post(f"sprayers/{sprayer}/calibrations", {"on": field.day(-1), "due_on": field.day(9)}))

    small = {"sprayer": sprayer, "block": str(field.at.a3.id), "spray": {"total": q("4", "gal")}}
    lent = field.pim.act(field.order(**small), "issue")

    assert dirty["residue"] == ["copper hydroxide"]
    assert field.pim.get(f"sprayers/{field.at.tank.id}").json()["residue"] == []
    assert codes(lent) == ["sprayer_dedicated"]


def test_e32_copper_in_brass_is_washed_the_same_day_and_not_left_overnight(field):
    path = field.started()
    field.mixed(path, "50", "50", "50", "46")
    field.finished(path)

    [wash] = field.pim.get("work-orders?kind=equipment_wash").json()["items"]
    tomorrow = (field.at.now + dt.timedelta(days=1)).isoformat()
    overnight = field.pim.act(
        field.order(block=str(field.at.a1.id), spray={"total": q("60", "gal")}, starts_at=tomorrow), "issue"
    )
    cleaning = field.report(field.copper())["cleaning"]
    for action in ("issue", "accept", "start", "finish"):
        field.do(f"work-orders/{wash['id']}", action)
    after = field.pim.act(
        field.order(block=str(field.at.a1.id), spray={"total": q("60", "gal")}, starts_at=tomorrow), "issue"
    )

    assert (wash["status"], wash["starts_at"][:10]) == ("draft", field.day(0))
    assert "brass" in wash["instructions"]
    assert "sprayer_not_clean" in codes(overnight)
    assert any("brass" in one["says"] for one in cleaning)
    assert "sprayer_not_clean" not in (codes(after) if after.status_code != 200 else [])


def test_e33_what_is_left_in_the_tank_has_a_fate_before_the_order_closes(field):
    path = field.started()
    field.mixed(path, "50", "50", "50", "46")
    told = {"nothing_unusual": True, "sprayed": q("188", "gal")}

    open_ = field.teo.act(path, "finish", told, if_match="*")
    none = field.teo.act(
        path, "finish", {**told, "leftover": {"volume": q("8", "gal"), "fate": "none"}}, if_match="*"
    )
    kept = {"volume": q("8", "gal"), "fate": "disposed"}
    record = field.finished(path, sprayed=q("188", "gal"), leftover=kept)

    assert codes(open_) == ["leftover_fate_required"] and codes(none) == ["leftover_fate_required"]
    assert (record["leftover"]["fate"], record["leftover"]["volume"]) == ("disposed", q("8", "gal"))
    assert record["products"][0]["amount"] == q("188", "oz_wt")
