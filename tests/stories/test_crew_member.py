"""What a crew member needs, need by need, shown over HTTP by several people."""

import datetime as dt

import pytest
from uuid6 import uuid7

from tests.callers import Caller, codes
from tests.factories import CrewFactory, FarmFactory, WorkerFactory
from tests.stories.field import Field, made, q
from tests.tasks.lowbell import ZONE
from tests.web.people import at_the_pages, member

pytestmark = pytest.mark.django_db


@pytest.fixture
def field():
    return Field()


def flat(value):
    """Return every key of nested JSON."""
    if isinstance(value, dict):
        return set(value) | {key for inner in value.values() for key in flat(inner)}
    return {key for inner in value for key in flat(inner)} if isinstance(value, list) else set()


def test_c1_i_see_the_orders_of_my_crew_today_and_nobodys_prices_or_phone(field):
    others = CrewFactory(farm=field.at.farm, members=[WorkerFactory(farm=field.at.farm, name="Milo")])
    mine = field.order()
    field.do(mine, "issue")
    field.other("scouting", block=str(field.at.a1.id), crew=str(others.id))
    field.pim.patch(f"workers/{field.at.lead.id}", {"phone": "555 0100"})

    listed = field.wren.get("work-orders?mine=true&status=issued").json()["items"]
    bundle = field.wren.get("day-bundle?mine=true").json()

    assert [f"work-orders/{one['id']}" for one in listed] == [mine]
    assert [f"work-orders/{one['id']}" for one in bundle["work_orders"]] == [mine]
    assert not {key for key in flat([listed, bundle]) if "price" in key or "phone" in key or "cost" in key}
    people = {one["name"]: one["phone"] for one in field.wren.get("workers").json()["items"]}
    assert people["Teo"] is None
    assert field.wren.get(f"workers/{field.at.lead.id}/qualifications").status_code == 404
    assert Caller(field.at.farm, "crew_member").get("work-orders?mine=true").json()["items"] == []


def test_c2_the_card_the_findings_and_the_errors_speak_spanish_and_names_stay(field):
    path = field.started(field.copper(), field.oil())

    sheet = field.wren.get(f"{path}/tank-sheet", accept_language="es").json()
    report = field.wren.post(
        "mix-checks",
        {
            "block": str(field.at.a2.id),
            "sprayer": str(field.at.tank.id),
            "products": [field.copper("1.2")],
            "spray": {"total": q("196", "gal")},
            "dry_run": True,
        },
        accept_language="es",
    ).json()["report"]
    refused = field.wren.act(path, "accept", accept_language="es")
    english = field.wren.act(path, "accept", accept_language="de")

    assert sheet["language"] == "es" and sheet["wear"] == ["camisa de manga larga"]
    assert {one["name"] for one in sheet["totals"]} == {"Copper hydroxide 30 WG", "Mineral oil 98 EC"}
    assert any("etiqueta" in one for one in report["cautions"])
    assert refused.json()["title"] == "Esto no se puede hacer ahora"
    [fault] = refused.json()["errors"]
    assert fault["code"] == "state_conflict"  # codes stay as they are in every language
    assert fault["says"] == "La orden está en otro estado: vuelva a leerla."
    assert english.json()["title"] == "This cannot be done now" and "says" not in english.json()["errors"][0]


def test_c2_what_the_address_asks_wrongly_is_told_in_spanish_as_well(field):
    refused = field.wren.get("work-orders?colour=red", accept_language="es")

    [fault] = refused.json()["errors"]
    assert fault["code"] == "unknown_parameter" and "untranslated" not in fault
    assert fault["detail"].startswith("aquí no hay un campo 'colour': limit, cursor")


def test_c3_each_thing_to_wear_and_each_step_is_a_code_with_words(field):
    report = field.report(field.copper(), field.oil())
    path = field.order(field.copper(), field.oil())
    field.do(path, "issue")
    sheet = field.wren.get(f"{path}/tank-sheet").json()

    assert report["protection"]["handler"] == ["long_sleeves"] and sheet["wear"] == ["long-sleeved shirt"]
    assert report["protection"]["signal_word"] == "caution" and sheet["signal_word"]
    for load in sheet["loads"]:
        assert all(
            step["action"] in ("fill", "add", "wait", "agitate") and step["note"] for step in load["steps"]
        )
    pdf = field.wren.get(f"{path}/tank-sheet.pdf")
    assert pdf.headers["Content-Type"] == "application/pdf" and pdf.content.startswith(b"%PDF")


def test_c4_amounts_come_in_the_tool_at_hand_and_no_spoon_for_a_powder(field):
    kitchen = ["tbsp", "tsp", "cup", "fl_oz", "oz_wt", "lb"]
    path = field.order(field.copper(), field.oil(), measures=kitchen)
    field.do(path, "issue")

    first = field.wren.get(f"{path}/tank-sheet").json()["loads"][0]
    by_name = {step["name"]: step for step in first["steps"] if step["product"]}

    powder, liquid = by_name["Copper hydroxide 30 WG"], by_name["Mineral oil 98 EC"]
    assert powder["measure"] == [q("3", "lb"), q("2", "oz_wt")]
    assert powder["exact"] == q("50", "oz_wt")
    assert {one["unit"] for one in liquid["measure"]} <= {"tbsp", "tsp", "cup", "fl_oz"}
    metric = field.report(field.copper(), field.oil(), measures=["g", "mL"])["loads"][0]["products"]
    assert [{one["unit"] for one in product["measure"]} for product in metric] == [{"g"}, {"mL"}]


def test_c5_load_2_is_ticked_once_out_of_order_is_told_and_the_phones_time_stays(field):
    path = field.started()
    at = (field.at.now - dt.timedelta(minutes=50)).astimezone(ZONE).isoformat()
    second = field.load(2, "50", at=at)

    ticked = field.wren.act(path, "record_load", second, if_match="*")
    again = field.wren.act(path, "record_load", second, if_match="*")
    other = field.wren.act(path, "record_load", {**second, "id": str(uuid7())}, if_match="*")
    [load] = field.wren.get(f"{path}/loads").json()["items"]

    assert [ticked.status_code, again.status_code] == [200, 200]
    assert codes(other) == ["load_exists"]
    assert load["at"] == at and load["received_at"] > at
    told = [one["code"] for one in ticked.json()["cautions"]]
    assert told == ["loads_out_of_order"]
    field.wren.act(path, "record_load", field.load(1, "50", at=field.ago(60)), if_match="*")
    assert field.wren.get(path).json()["cautions"] == []


def test_c6_what_really_happened_is_taken_and_nothing_unusual_is_said_in_so_many_words(field):
    path = field.started()
    body = field.load(1, "48", trees_done=30, trees_skipped=4, leftover=q("2", "gal"), note="gap in row 3")
    field.wren.act(path, "record_load", body, if_match="*")

    silent = field.wren.act(path, "finish", {"leftover": None}, if_match="*")
    incident = made(field.wren.post("incidents", {"kind": "spill", "place": "gate"}))["id"]
    rest = {"volume": q("2", "gal"), "fate": "kept_labelled"}
    done = field.wren.act(path, "finish", {"incidents": [incident], "leftover": rest}, if_match="*")

    assert silent.status_code == 422 and "required" in codes(silent)
    record = field.pim.get(f"application-records/{done.json()['application_record']}").json()
    assert record["incidents"] == [incident] and record["leftover"]["fate"] == "kept_labelled"
    assert (record["spray"]["total"], record["spray"]["trees"]) == (q("46", "gal"), 30)
    [load] = field.wren.get(f"{path}/loads").json()["items"]
    assert (load["trees_skipped"], load["note"]) == (4, "gap in row 3")


@pytest.mark.parametrize("who", ["pim", "odalys", "teo", "wren", "juniper"])
def test_c7_anybody_reports_a_danger_at_once_and_nobody_takes_it_away(field, who):
    path = field.order()
    field.do(path, "cancel", {"reason": "not needed"})
    caller = getattr(field, who)

    told = made(caller.post("incidents", {"kind": "exposure", "place": "A2, row 4"}))
    closed = caller.post("incidents", {"kind": "spill", "place": "store", "work_order": path[12:]})

    assert told["at"] and told["kind"] == "exposure"
    assert closed.status_code == 201
    for other in (field.pim, field.teo):
        assert other.call("DELETE", f"incidents/{told['id']}").status_code == 405
        assert other.call("PATCH", f"incidents/{told['id']}", {"kind": "other"}).status_code == 405


def test_c8_where_and_when_i_may_go_in_is_one_plain_answer(field):
    path = field.started()
    field.mixed(path, "50", "50", "50", "46")
    open_before = field.wren.get(f"blocks/{field.at.a1.id}/entry").json()
    sprayed_now = field.wren.get(f"blocks/{field.at.a2.id}/entry").json()

    field.finished(path, finished_at=field.ago(5))
    answer = field.wren.get(f"blocks/{field.at.a2.id}/entry", accept_language="es").json()

    assert open_before["may_enter"] is True and open_before["until"] is None
    assert (sprayed_now["may_enter"], sprayed_now["state"]) == (False, "being_sprayed")
    assert (answer["may_enter"], answer["zone"]) == (False, "America/Los_Angeles")
    until = dt.datetime.fromisoformat(answer["until"])
    assert until - dt.datetime.fromisoformat(field.ago(5)) == dt.timedelta(hours=48)
    assert until.utcoffset() == until.astimezone(ZONE).utcoffset()
    assert answer["says"].startswith("Nadie entra en A2 antes de ")
    assert answer["because"][0]["products"] == ["Copper hydroxide 30 WG"]
    assert field.wren.get(f"blocks/{uuid7()}/entry").status_code == 404


def test_c8_the_answer_names_what_to_wear_for_who_must_go_in(field):
    label = {
        "name": "Demo copper 20 WP",
        "active_ingredients": [{"name": "copper oxychloride", "content": q("35", "percent_ww")}],
        "formulation": "WP",
        "protection": {"handler": ["long_sleeves"], "early_entry": ["coveralls", "waterproof_gloves"]},
        "uses": [{"crops": ["peach"], "rate": {"maximum": q("2", "oz_wt/gal")}, "re_entry": q("24", "h")}],
    }
    product = field.product(label)
    field.put_on_paper(product, q("8", "lb"), days=0)

    gear = field.wren.get(f"blocks/{field.at.a2.id}/entry").json()["gear"]

    assert gear == [
        {"code": "coveralls", "says": "coveralls"},
        {"code": "waterproof_gloves", "says": "waterproof gloves"},
    ]


def test_c9_the_emergency_card_tells_whom_to_call_where_and_of_what_and_of_nobody(field):
    """That a phone shows it with nobody signed in is shown by `tests/browser/test_without_a_signal.py`."""
    ring = [[-120.0, 38.0], [-119.999, 38.0], [-119.999, 38.001], [-120.0, 38.001], [-120.0, 38.0]]
    field.pim.patch("", {"emergency": "911; poison centre 1-800-222-1222; gate on Clover Lane"})
    field.pim.patch(f"blocks/{field.at.a2.id}", {"outline": {"type": "Polygon", "coordinates": [ring]}})
    path = field.order()
    field.do(path, "issue")
    wren = member(field.at.farm, "crew_member", worker=field.at.wren, name="Wren Ashby")
    teo = member(field.at.farm, "crew_lead", worker=field.at.lead, name="Teo Marsh")

    card, other = (
        at_the_pages(one).get(f"/farms/{field.at.farm.id}/emergency").content.decode() for one in (wren, teo)
    )
    sheet = field.wren.get(f"{path}/tank-sheet").json()
    bundle = field.wren.get("day-bundle").json()

    assert "1-800-222-1222" in card and "38.00050, -119.99950" in card
    assert "Copper hydroxide 30 WG" in card and "demo-0001" in card and "CAUTION" in card
    assert card == other  # the same for everybody: nothing in it is anybody's
    for secret in ("Wren", "Teo", field.at.farm.name, sheet["title"], "csrf"):
        assert secret not in card
    assert "1-800-222-1222" in sheet["emergency"] and bundle["emergency"] == sheet["emergency"]
    assert sheet["handlers"] == []  # nobody is named unless the order names them


def test_c10_i_cannot_do_this_goes_back_to_the_lead_with_its_note(field):
    path = field.order()
    field.do(path, "issue")

    back = field.wren.act(
        path, "hold", {"reason": "other", "note": "I do not understand load 4"}, if_match="*"
    )
    seen = field.teo.get("work-orders?status=held").json()["items"]
    by_wren = field.wren.act(path, "resume", {})
    on = field.teo.act(path, "resume", {"note": "talked it through"})

    assert (back.status_code, back.json()["status"], back.json()["held_from"]) == (200, "held", "issued")
    assert [one["pauses"][-1]["note"] for one in seen] == ["I do not understand load 4"]
    assert not {key for key in flat(seen) if "penalty" in key or "score" in key}
    assert by_wren.status_code == 403
    assert (on.status_code, on.json()["status"]) == (200, "issued")


def test_c11_i_read_my_own_training_and_hours_and_change_neither(field):
    path = field.started()
    field.mixed(path, "50", "50", "50", "46")
    field.teo.act(path, "hold", {"reason": "wind", "at": field.ago(50)}, if_match="*")
    field.do(path, "resume", {"at": field.ago(35)})
    field.finished(path, finished_at=field.ago(0))
    me, teo = field.at.wren.id, field.at.lead.id

    trainings = field.wren.get(f"workers/{me}/qualifications").json()["items"]
    hours = field.wren.get(f"workers/{me}/hours").json()

    assert [one["kind"] for one in trainings] == ["handler_training"]
    assert hours["total"] == "1.75"  # two hours less a quarter
    assert [(one["kind"], one["hours"]) for one in hours["items"]] == [("spray", "1.75")]
    own = {"kind": "licence", "obtained_on": field.day(-1), "expires_on": field.day(1)}
    assert field.wren.post(f"workers/{me}/qualifications", own).status_code == 403
    assert field.wren.get(f"workers/{teo}/hours").status_code == 404
    assert field.teo.get(f"workers/{me}/hours").status_code == 200
    stranger = Caller(FarmFactory(), "manager")
    assert stranger.get(field.wren.at(f"workers/{me}/hours")).status_code == 404
