"""What was put on a block: complete for the law, frozen, corrected and voided openly."""

import csv
import datetime as dt
import io
import zoneinfo

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from mixing.quantities import Quantity
from orchard.api.refusals import Conflict
from orchard.farms.actors import SYSTEM
from orchard.farms.models import Change, Farm
from orchard.inventory.models import Movement
from orchard.tasks import elements, intervals, resolving
from orchard.tasks.models import ApplicationRecord
from orchard.tasks.services import finish, records, told
from tests.callers import Caller, codes, pointers
from tests.factories import amount
from tests.tasks.lowbell import SPRAY_DAY, ZONE, ended, lowbell, mixed, on_hand
from tests.web.people import at_the_pages, member

pytestmark = pytest.mark.django_db


@pytest.fixture
def farm():
    return lowbell()


@pytest.fixture
def today():
    return lowbell(now=timezone.now())


@pytest.fixture
def manager(today):
    return Caller(today.farm, "manager")


def paper(farm, **more):
    hour = dt.timedelta(hours=1)
    return {
        "block": str(farm.a3.id),
        "started_at": (farm.now - 3 * hour).isoformat(),
        "finished_at": (farm.now - 2 * hour).isoformat(),
        "sprayer": str(farm.backpack.id),
        "spray": {"total": {"value": "4.8", "unit": "gal"}},
        "products": [{"product": str(farm.copper.id), "amount": {"value": "4.8", "unit": "oz_wt"}}],
        "sprayed_by": [str(farm.lead.id)],
        "stage": {"bbch": 97},
        **more,
    }


def with_lot(farm, value="4.8"):
    lots = [{"lot": str(farm.first_lot.id), "amount": {"value": value, "unit": "oz_wt"}}]
    used = {"product": str(farm.copper.id), "amount": {"value": value, "unit": "oz_wt"}, "lots": lots}
    return {"products": [used]}


def test_a_record_holds_every_element_of_the_rules(farm):
    record = ended(farm, mixed(farm))

    kept = {**record.body, "started_at": record.started_at, "finished_at": record.finished_at}
    missing = [row for row in elements.table() if not elements.holds(kept, row.where)]
    assert missing == [] and record.body["not_stated"] == []
    assert len({row.rule.split(" (")[0] for row in elements.table()}) >= 3


@pytest.mark.parametrize("where", sorted({row.where for row in elements.table()}))
def test_an_element_that_nobody_gave_is_named(where):
    found = elements.not_stated(
        {"products": [{"label": {"restricted_use": True, "uses": [{"stages": [1]}]}}]}
    )

    assert where in [one["where"] for one in found]


def test_a_licence_is_asked_for_restricted_products_only():
    plain = {"products": [{"label": {}}], "people": [{"name": "Wren", "licence": None}]}
    restricted = {**plain, "products": [{"label": {"restricted_use": True}}]}

    assert "people.some.licence" not in [one["where"] for one in elements.not_stated(plain)]
    assert "people.some.licence" in [one["where"] for one in elements.not_stated(restricted)]


def test_a_record_says_with_what_weather_stage_people_lots_and_label(farm):
    order = mixed(farm)

    body = ended(farm, order).body

    assert body["weather"]["wind"] == {"value": "5", "unit": "mph"}
    assert body["stage"]["bbch"] == 97
    assert [one["name"] for one in body["people"]] == ["Teo", "Wren"]
    assert body["people"][0]["licence"] == "QAL-77"
    assert [lot["number"] for lot in body["products"][0]["lots"]] == ["C-2201", "C-2305"]
    assert body["products"][0]["label"]["registration"] == "demo-0001"
    assert body["products"][0]["metal"][0]["of"] == "copper"
    assert body["place"]["eppo"] == "PRNPS"


def test_the_database_keeps_a_record_as_it_was(farm):
    record = ended(farm, mixed(farm))

    with pytest.raises(IntegrityError), transaction.atomic():
        ApplicationRecord.objects.filter(key=record.key).update(body={})
    with pytest.raises(IntegrityError), transaction.atomic():
        record.delete()


def test_24_hours_across_the_spring_clock_change_end_an_hour_later_on_the_wall():
    tallow = Farm(zone="America/Los_Angeles", limits={})
    end = dt.datetime(2027, 3, 13, 18, 30, tzinfo=ZONE)
    captan = intervals.Interval(Quantity(amount("24", "h").value, "h"), None, False)

    until = intervals.re_entry_until([captan], farm=tallow, finished_at=end)

    assert until.astimezone(ZONE).isoformat() == "2027-03-14T19:30:00-07:00"


def test_the_farms_own_minimum_holds_where_it_is_longer():
    strict = Farm(zone="America/Los_Angeles", limits={"re_entry_minimum": {"value": "72", "unit": "h"}})
    oil = intervals.Interval(amount("4", "h"), None, False)

    until = intervals.re_entry_until([oil], farm=strict, finished_at=SPRAY_DAY)

    assert until - SPRAY_DAY == dt.timedelta(hours=72)


@given(
    days=st.integers(min_value=0, max_value=400),
    minutes=st.integers(min_value=0, max_value=4 * 366 * 24 * 60),
    zone=st.sampled_from(["America/Los_Angeles", "Europe/Madrid", "Pacific/Auckland"]),
)
def test_harvest_is_allowed_on_day_0_plus_n_of_the_farms_calendar(days, minutes, zone):
    finished_at = dt.datetime(2026, 1, 1, tzinfo=dt.UTC) + dt.timedelta(minutes=minutes)
    wait = intervals.Interval(None, amount(str(days), "d"), False)

    first = intervals.harvest_not_before([wait], farm=Farm(zone=zone), finished_at=finished_at)

    assert (first - finished_at.astimezone(zoneinfo.ZoneInfo(zone)).date()).days == days


def test_what_is_sprayed_at_the_wrong_stage_lets_nobody_in_sooner():
    label = {
        "name": "x",
        "uses": [
            {
                "crops": ["peach"],
                "stages": [{"from": 93, "to": 53}],
                "re_entry": {"value": "48", "unit": "h"},
            },
            {"crops": ["peach"], "rate": {"maximum": {"value": "12", "unit": "lb/acre"}}},
        ],
    }

    assert intervals.of_label(label, crop="peach", bbch=65).re_entry == amount("48", "h")
    assert intervals.of_label(label, crop="apple").re_entry == amount("48", "h")


def test_a_shorter_spray_later_does_not_open_the_block_sooner(farm):
    ended(farm, mixed(farm))
    farm.a2.refresh_from_db()
    closed = farm.a2.re_entry_until

    records.add_from_paper(
        farm=farm.farm,
        block=farm.a2,
        started_at=farm.now,
        finished_at=farm.now + dt.timedelta(minutes=5),
        spray={"total": {"value": "1", "unit": "gal"}, "area": None, "trees": None},
        lines=(told.Line(farm.oil, amount("1", "fl_oz")),),
        sprayer=farm.backpack,
        by=SYSTEM,
        now=farm.now + dt.timedelta(minutes=5),
    )

    farm.a2.refresh_from_db()
    assert farm.a2.re_entry_until == closed


def test_a_void_puts_the_lots_back_and_opens_the_block_and_the_history(farm):
    order = mixed(farm)
    record = ended(farm, order)
    assert resolving.history(farm=farm.farm, block=farm.a2, at=farm.now) != []

    made = records.void(record=record, reason="wrong block", by=SYSTEM, now=farm.now)

    assert (made.kind, made.status, record.status, record.corrected_by) == ("void", "void", "void", made)
    assert (on_hand(farm.first_lot), on_hand(farm.second_lot)) == ("9.5", "20")
    kinds = [Movement.objects.filter(kind=kind).count() for kind in ("use", "reverse")]
    assert kinds == [5, 5]  # four loads, the last one from two lots
    for row in (farm.a2, order):
        row.refresh_from_db()
        assert row.re_entry_until is None
    assert farm.a2.harvest_not_before is None and farm.a2.last_application is None
    assert resolving.history(farm=farm.farm, block=farm.a2, at=farm.now) == []
    with pytest.raises(Conflict) as refused:
        records.void(record=record, reason="again", by=SYSTEM, now=farm.now)
    assert refused.value.faults[0].code == "already_void"
    voided = Change.objects.filter(change="voided").get()
    assert voided.resource_id == record.id


def test_the_void_of_a_spray_leaves_used_what_its_rest_put_on_another_block(farm):
    rest = finish.Leftover(amount("3", "gal"), "sprayed_out", farm.a1)
    record = ended(farm, mixed(farm), sprayed=amount("193", "gal"), leftover=rest)
    second = ApplicationRecord.objects.get(block=farm.a1)

    records.void(record=record, reason="wrong block", by=SYSTEM, now=farm.now)
    held = amount(on_hand(farm.first_lot), "lb").value + amount(on_hand(farm.second_lot), "lb").value
    assert (
        abs(held - (amount("29.5", "lb").value - amount("3", "oz_wt").to("lb").value))
        < amount("0.000001", "lb").value
    )

    records.void(record=second, reason="that as well", by=SYSTEM, now=farm.now)
    assert (on_hand(farm.first_lot), on_hand(farm.second_lot)) == ("9.5", "20")


def test_a_correction_is_a_new_record_and_the_dates_follow(farm):
    record = ended(farm, mixed(farm))
    later = farm.now + dt.timedelta(hours=2)

    new = records.correct(
        record=record, reason="the clock was wrong", changes={"finished_at": later}, by=SYSTEM, now=later
    )

    farm.a2.refresh_from_db()
    assert (new.kind, new.status, new.corrects) == ("correction", "current", record)
    assert (record.status, record.corrected_by) == ("corrected", new)
    assert new.body["products"][0]["amount"] == record.body["products"][0]["amount"]
    assert farm.a2.re_entry_until == later + dt.timedelta(hours=48)
    assert on_hand(farm.second_lot) == "17.25"
    with pytest.raises(Conflict):
        records.correct(record=record, reason="again", changes={"note": "x"}, by=SYSTEM, now=later)


def test_a_correction_of_amounts_takes_the_difference_and_its_void_puts_all_back(farm):
    record = ended(
        farm,
        mixed(farm),
        sprayed=amount("188", "gal"),
        leftover=finish.Leftover(amount("8", "gal"), "disposed"),
    )
    first, second = (lot for lot, _ in told.said_by(record).lines[0].lots)
    lots = ((first, amount("9", "lb")), (second, amount("3", "lb")))
    line = told.Line(farm.copper, amount("12", "lb"), lots=lots)

    new = records.correct(
        record=record, reason="weighed again", changes={"lines": (line,)}, by=SYSTEM, now=farm.now
    )

    held = amount(on_hand(farm.first_lot), "lb").value + amount(on_hand(farm.second_lot), "lb").value
    mixed_and_more = amount("12.25", "lb").value + (amount("12", "lb").value - amount("11.75", "lb").value)
    assert abs(held - (amount("29.5", "lb").value - mixed_and_more)) < amount("0.000001", "lb").value
    records.void(record=new, reason="all wrong", by=SYSTEM, now=farm.now)
    assert (on_hand(farm.first_lot), on_hand(farm.second_lot)) == ("9.5", "20")


def test_a_record_from_paper_takes_stock_only_where_it_names_lots(manager, today):
    without = manager.post("application-records", paper(today))
    held = on_hand(today.first_lot)
    named = manager.post("application-records", paper(today, **with_lot(today)))

    assert (without.status_code, named.status_code) == (201, 201), named.json()
    assert held == "9.5" and on_hand(today.first_lot) == "9.2"
    shown = named.json()
    assert shown["products"][0]["rate_applied"] == {"value": "1", "unit": "oz_wt/gal"}
    assert shown["spray"]["area"]["unit"] == "acre"
    block = manager.get(f"blocks/{today.a3.id}").json()
    assert block["last_application"] == shown["id"] and block["re_entry_until"] is not None


def test_what_is_entered_after_two_weeks_is_flagged_and_keeps_both_times(manager, today):
    long_ago = today.now - dt.timedelta(days=15)
    hour = dt.timedelta(hours=1)

    record = manager.post(
        "application-records",
        paper(today, started_at=(long_ago - hour).isoformat(), finished_at=long_ago.isoformat()),
    ).json()

    assert [flag["code"] for flag in record["flags"]] == ["late_entry"]
    assert dt.datetime.fromisoformat(record["finished_at"]) == long_ago
    assert dt.datetime.fromisoformat(record["received_at"]) > long_ago


def test_a_dose_above_the_label_is_on_record_and_flagged(manager, today):
    record = manager.post("application-records", paper(today, **with_lot(today, "12"))).json()

    assert "rate_exceeded" in [flag["code"] for flag in record["flags"]]


@pytest.mark.parametrize(
    ("changed", "pointer"),
    [
        ({"finished_at": "2026-01-01T00:00:00Z"}, "/finished_at"),
        ({"products": []}, "/products"),
        ({"block": None}, "/block"),
        ({"finished_at": "2199-01-01T00:00:00Z"}, "/finished_at"),
    ],
)
def test_paper_that_cannot_be_is_refused(manager, today, changed, pointer):
    response = manager.post("application-records", paper(today, **changed))

    assert (response.status_code, pointers(response)) == (422, [pointer])


def test_correct_and_void_over_http_answer_with_the_new_record(manager, today):
    record = manager.post("application-records", paper(today, **with_lot(today))).json()
    path = f"application-records/{record['id']}"

    corrected = manager.act(path, "correct", {"reason": "half of it", "changes": with_lot(today, "2.4")})
    empty = manager.act(
        f"application-records/{corrected.json()['id']}", "correct", {"reason": "x", "changes": {}}
    )
    voided = manager.act(f"application-records/{corrected.json()['id']}", "void", {"reason": "not at all"})
    again = manager.act(f"application-records/{corrected.json()['id']}", "void", {"reason": "not at all"})

    assert (corrected.status_code, corrected.json()["corrects"]) == (201, record["id"]), corrected.json()
    assert (empty.status_code, pointers(empty)) == (422, ["/changes"])
    assert (voided.status_code, voided.json()["products"]) == (201, [])
    assert (again.status_code, codes(again)) == (409, ["already_void"])
    assert on_hand(today.first_lot) == "9.5"
    assert manager.get("application-records?status=current").json()["items"] == []
    assert Caller(today.farm, "crew_lead").act(path, "void", {"reason": "x"}).status_code == 403


def test_what_a_record_or_its_correction_lacked_in_the_store_is_not_said_of_a_load(manager, today):
    def asked():
        rows = manager.get("attention").json()["items"]
        [one] = [one for one in rows if one["code"] == "shortage_open"]
        return one["says"], one["because_of"]["id"]

    keeper = at_the_pages(member(today.farm, "storekeeper", language="es"))
    store = f"/farms/{today.farm.id}/store"
    record = manager.post("application-records", paper(today, **with_lot(today, "160"))).json()
    of_the_record = asked()
    page = keeper.get(store).content.decode()
    changes = {"reason": "weighed again", "changes": with_lot(today, "168")}
    corrected = manager.act(f"application-records/{record['id']}", "correct", changes).json()

    assert of_the_record == (
        "a record says that 0.5 lb more of Copper hydroxide 30 WG was used than the book held: find out why",
        record["id"],
    )
    assert "de un registro · " in page
    assert asked() == (
        "the correction of a record says that 1 lb more of Copper hydroxide 30 WG was used than the book "
        "held: find out why",
        corrected["id"],
    )
    assert "de la corrección de un registro · " in keeper.get(store).content.decode()


def test_records_are_found_by_block_product_and_lot_with_as_few_questions_for_many(manager, today):
    manager.post("application-records", paper(today, **with_lot(today)))
    manager.get("application-records")
    with CaptureQueriesContext(connection) as one:
        manager.get("application-records")
    for _ in range(4):
        manager.post("application-records", paper(today))

    with CaptureQueriesContext(connection) as many:
        items = manager.get("application-records").json()["items"]

    assert (len(items), len(many)) == (5, len(one))
    assert len(manager.get(f"application-records?lot={today.first_lot.id}").json()["items"]) == 1
    assert len(manager.get(f"application-records?product={today.copper.id}").json()["items"]) == 5
    assert manager.get(f"application-records?block={today.a1.id}").json()["items"] == []


def test_the_table_for_a_spreadsheet_runs_no_formula(manager, today):
    manager.post("application-records", paper(today, note="=1+1", targets=["leaf curl"]))

    response = manager.get("application-records.csv")

    rows = list(csv.DictReader(io.StringIO(response.content.decode())))
    assert response["Content-Type"].startswith("text/csv")
    assert rows[0]["note"] == "'=1+1"
    assert (rows[0]["amount_value"], rows[0]["amount_unit"], rows[0]["targets"]) == (
        "4.8",
        "oz_wt",
        "leaf curl",
    )


@pytest.mark.parametrize("role", ["owner", "manager", "storekeeper", "crew_lead", "crew_member", "adviser"])
def test_everybody_may_tell_of_a_danger_with_place_and_kind_and_nobody_takes_it_back(today, role):
    caller = Caller(today.farm, role)

    told = caller.post("incidents", {"kind": "exposure", "place": "row 7"})

    assert told.status_code == 201, told.json()
    assert told.json()["at"] is not None
    path = f"incidents/{told.json()['id']}"
    assert caller.call("DELETE", path, if_match="*").status_code == 405
    assert caller.call("PATCH", path, {"place": "row 8"}, if_match="*").status_code == 405


def test_an_incident_is_taken_for_an_order_that_is_closed(today, manager):
    order = manager.post("work-orders", {
        "kind": "scouting", "block": str(today.a1.id), "starts_at": today.now.isoformat(),
    }).json()  # fmt: skip
    manager.act(f"work-orders/{order['id']}", "cancel", {"reason": "rain"})

    told = manager.post("incidents", {"kind": "drift", "place": "gate", "work_order": order["id"]})

    assert told.status_code == 201
    assert len(manager.get(f"incidents?work_order={order['id']}").json()["items"]) == 1
