"""One December on an invented farm, with its published numbers: from the draft to the entry of the block."""

import datetime as dt

import pytest

from orchard.api.refusals import Conflict, Unprocessable
from orchard.farms.actors import SYSTEM
from orchard.tasks.models import ApplicationRecord
from orchard.tasks.services import finish, issue, orders, starting
from tests.factories import amount
from tests.tasks.lowbell import (
    CALM,
    SPRAY_DAY,
    ZONE,
    draft,
    ended,
    lowbell,
    mix,
    mixed,
    on_hand,
    reserved,
    see,
    under_way,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm():
    return lowbell()


def refusal_codes(refused) -> list[str]:
    return [fault.code for fault in refused.value.faults]


def test_196_gallons_in_a_tank_of_50_are_three_full_loads_and_one_of_46(farm):
    order = draft(farm)

    assert [load["spray"]["value"] for load in order.loads_planned] == ["50", "50", "50", "46"]
    assert [load["products"][0]["exact"]["value"] for load in order.loads_planned] == ["50", "50", "50", "46"]
    assert (order.status, order.number, order.title) == ("draft", 1, "Spray, A2")


def test_a_rate_that_passes_per_gallon_and_fails_per_acre_is_not_issued(farm):
    order = draft(farm, rate="1.2")

    with pytest.raises(Conflict) as refused:
        issue.issue(order=order, by=SYSTEM, now=farm.now)

    stops = [fault for fault in refused.value.faults if fault.code == "mix_stop"]
    assert [fault.finding["id"] for fault in stops] == ["label.rate-above-maximum"]
    assert "lb/acre" in stops[0].detail
    order.refresh_from_db()
    assert order.status == "draft"


def test_issue_reserves_from_the_lot_that_expires_first(farm):
    order = draft(farm)

    issue.issue(order=order, by=SYSTEM, now=farm.now)

    assert order.status == "issued"
    assert (reserved(farm.first_lot), reserved(farm.second_lot)) == ("9.5", "2.75")
    assert on_hand(farm.first_lot) == "9.5"


def test_three_blocks_leave_the_oil_short_by_the_published_amount(farm):
    oil = [{"product": str(farm.oil.id), "rate": {"value": "1", "unit": "percent_vv"}}]
    plans = ((farm.a1, "120"), (farm.a2, "196"), (farm.a3, "4.8"))
    a1, a2, _ = (draft(farm, block, total=total, products=oil) for block, total in plans)
    issue.issue(order=a1, by=SYSTEM, now=farm.now)

    with pytest.raises(Conflict) as refused:
        issue.issue(order=a2, by=SYSTEM, now=farm.now)

    fault = next(f for f in refused.value.faults if f.code == "stock_short")
    assert fault.short == {"value": "0.66", "unit": "gal"}  # with A3, 0.708
    assert fault.refers_to == ("product", str(farm.oil.id))


def test_every_fault_of_an_issue_is_named_at_once(farm):
    order = draft(farm, rate="1.2", total="480")
    farm.crew.members.clear()
    farm.tank.calibrations.all()
    farm.tank.residue, farm.tank.dedicated_to = ["glyphosate"], "herbicide"
    farm.tank.save()
    order.block.harvest_from = SPRAY_DAY.date() + dt.timedelta(days=20)
    order.block.save()

    with pytest.raises(Conflict) as refused:
        issue.issue(order=order, by=SYSTEM, now=farm.now)

    assert set(refusal_codes(refused)) == {
        "mix_stop", "crew_not_qualified", "sprayer_not_clean", "sprayer_dedicated", "pre_harvest",
        "stock_short",
    }  # fmt: skip


def test_a_spray_too_near_to_the_picking_names_the_last_day(farm):
    order = draft(farm)
    order.block.harvest_from = dt.date(2027, 1, 7)  # 20 days off, 21 are wanted
    order.block.save()

    with pytest.raises(Conflict) as refused:
        issue.issue(order=order, by=SYSTEM, now=farm.now)

    assert refusal_codes(refused) == ["pre_harvest"]
    assert "2026-12-17" in refused.value.faults[0].detail


def test_bud_colour_seen_at_the_start_closes_it_for_everyone_and_is_remembered(farm):
    order = draft(farm)
    issue.issue(order=order, by=SYSTEM, now=farm.now)
    issue.accept(order=order, by=SYSTEM, now=farm.now)

    with pytest.raises(starting.StartRefused) as refused:
        starting.start(order=order, by=SYSTEM, now=farm.now, observed={**CALM, "bbch": 57})

    assert "mix_stop" in refusal_codes(refused)
    assert refused.value.bbch == 57


@pytest.mark.parametrize(
    ("seen", "code"),
    [
        ({"wind": {"value": "12", "unit": "mph"}}, "mix_stop"),
        ({"people_out": False}, "people_in_block"),
    ],
)
def test_what_is_seen_on_the_spot_closes_the_start(farm, seen, code):
    order = draft(farm)
    issue.issue(order=order, by=SYSTEM, now=farm.now)
    issue.accept(order=order, by=SYSTEM, now=farm.now)

    with pytest.raises(Conflict) as refused:
        starting.start(order=order, by=SYSTEM, now=farm.now, observed={**CALM, **seen})

    assert code in refusal_codes(refused)
    order.refresh_from_db()
    assert order.status == "accepted"


def test_the_farms_own_wind_limit_closes_the_start_below_the_labels(farm):
    farm.farm.limits = {"wind_maximum": {"value": "4", "unit": "mph"}}
    farm.farm.save()
    order = draft(farm)
    issue.issue(order=order, by=SYSTEM, now=farm.now)
    issue.accept(order=order, by=SYSTEM, now=farm.now)

    with pytest.raises(Conflict) as refused:
        starting.start(order=order, by=SYSTEM, now=farm.now, observed=CALM)

    assert refused.value.faults[0].finding["id"] == "farm.wind-above"


def test_188_of_196_gallons_sprayed_are_188_ounces_on_the_block_and_all_out_of_the_store(farm):
    order = mixed(farm)

    record = ended(
        farm, order, sprayed=amount("188", "gal"), leftover=finish.Leftover(amount("8", "gal"), "disposed")
    )

    product = record.body["products"][0]
    assert product["amount"] == {"value": "188", "unit": "oz_wt"}
    assert product["rate_applied"] == {"value": "1", "unit": "oz_wt/gal"}
    per_area = amount(product["per_area"]["value"], product["per_area"]["unit"]).to("lb/acre")
    assert round(per_area.value, 2) == round(amount("11.28", "lb/acre").value, 2)
    assert (on_hand(farm.first_lot), on_hand(farm.second_lot)) == ("0", "17.25")
    assert (reserved(farm.first_lot), reserved(farm.second_lot)) == ("0", "0")
    assert record.body["not_stated"] == []


def test_the_rest_may_go_on_the_same_rows_and_the_record_holds_it_all(farm):
    order = mixed(farm)

    record = ended(
        farm,
        order,
        sprayed=amount("188", "gal"),
        leftover=finish.Leftover(amount("8", "gal"), "sprayed_out", farm.a2),
    )

    assert record.body["products"][0]["amount"] == {"value": "196", "unit": "oz_wt"}


@pytest.mark.parametrize("name", ["a1", "a3"])
def test_the_rest_may_not_go_where_it_passes_the_limit_per_acre(farm, name):
    other, total = (farm.a1, "120") if name == "a1" else (farm.a3, "4.8")
    first = mixed(farm, other, total=total, sprayer=farm.tank)
    ended(farm, first)
    order = mixed(farm)

    with pytest.raises(Conflict) as refused:
        ended(
            farm,
            order,
            sprayed=amount("188", "gal"),
            leftover=finish.Leftover(amount("8", "gal"), "sprayed_out", other),
        )

    assert "label.rate-above-maximum" in [fault.finding["id"] for fault in refused.value.faults]
    order.refresh_from_db()
    assert order.status == "under_way"


def test_the_rest_on_another_block_is_a_second_record_there(farm):
    order = mixed(farm)

    record = ended(
        farm,
        order,
        sprayed=amount("193", "gal"),
        leftover=finish.Leftover(amount("3", "gal"), "sprayed_out", farm.a1),
    )

    second = ApplicationRecord.objects.get(block=farm.a1)
    assert record.body["products"][0]["amount"]["value"] == "193"
    assert second.body["products"][0]["amount"]["value"] == "3"
    farm.a1.refresh_from_db()
    assert farm.a1.re_entry_until == record.re_entry_until


def test_what_is_left_needs_its_fate(farm):
    order = mixed(farm)

    with pytest.raises(Unprocessable) as refused:
        ended(farm, order, sprayed=amount("188", "gal"))

    assert refusal_codes(refused) == ["leftover_fate_required"]


def test_entry_is_48_hours_after_the_real_end_and_no_pruning_before(farm):
    order = mixed(farm)
    end = dt.datetime(2026, 12, 18, 14, 20, tzinfo=ZONE)

    ended(farm, order, finished_at=end)

    farm.a2.refresh_from_db()
    assert farm.a2.re_entry_until == dt.datetime(2026, 12, 20, 14, 20, tzinfo=ZONE)
    assert farm.a2.harvest_not_before == dt.date(2027, 1, 8)
    pruning = orders.add_order(
        farm=farm.farm,
        kind="leaf_removal",
        block=farm.a2,
        crew=farm.crew,
        starts_at=dt.datetime(2026, 12, 19, 9, 0, tzinfo=ZONE),
        by=SYSTEM,
        now=end,
    )
    with pytest.raises(Conflict) as refused:
        issue.issue(order=pruning, by=SYSTEM, now=end)
    assert refusal_codes(refused) == ["block_in_re_entry"]
    assert refused.value.faults[0].earliest == "2026-12-20T14:20:00-08:00"


def test_the_sprayer_is_not_clean_for_sulfur_after_oil_until_it_was_washed(farm):
    farm.tank.residue = ["glyphosate"]
    farm.tank.save()
    order = draft(farm)
    wash = orders.add_order(
        farm=farm.farm, kind="equipment_wash", sprayer=farm.tank, crew=farm.crew, starts_at=farm.now,
        by=SYSTEM, now=farm.now,
    )  # fmt: skip
    with pytest.raises(Conflict) as refused:
        issue.issue(order=order, by=SYSTEM, now=farm.now)
    assert refusal_codes(refused) == ["sprayer_not_clean"]

    issue.issue(order=wash, by=SYSTEM, now=farm.now)
    issue.accept(order=wash, by=SYSTEM, now=farm.now)
    starting.start(order=wash, by=SYSTEM, now=farm.now)
    finish.finish(order=wash, by=SYSTEM, now=farm.now)
    order.sprayer.refresh_from_db()

    assert order.sprayer.residue == []
    assert issue.issue(order=order, by=SYSTEM, now=farm.now).status == "issued"


def test_the_last_load_leaves_its_ingredients_in_the_sprayer(farm):
    order = under_way(farm)

    mix(farm, order, 1, "50")

    farm.tank.refresh_from_db()
    assert (farm.tank.residue, farm.tank.last_load_at) == (["copper hydroxide"], farm.now)


def test_copper_is_refused_past_bud_colour_on_one_block_and_allowed_on_another(farm):
    see(farm.a1, bbch=57, now=farm.now)
    see(farm.a2, bbch=51, now=farm.now)

    with pytest.raises(Conflict) as refused:
        issue.issue(order=draft(farm, farm.a1, total="120"), by=SYSTEM, now=farm.now)

    assert "mix_stop" in refusal_codes(refused)
    assert issue.issue(order=draft(farm, farm.a2), by=SYSTEM, now=farm.now).status == "issued"
