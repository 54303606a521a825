"""What an adviser needs, need by need, shown over HTTP."""

import datetime as dt
from decimal import Decimal

import pytest
from django.test import Client

from tests.callers import Caller, codes
from tests.factories import FarmFactory, MembershipFactory, PersonFactory
from tests.stories.farm import Hollow, q
from tests.tasks.test_rotation import Summer, fungicide
from tests.tasks.test_season_review import Winter

pytestmark = pytest.mark.django_db
GROUND = {"name": "Lower Peach", "crop": "peach", "trees": 140, "area": q("1", "acre")}


@pytest.fixture
def hollow():
    return Hollow()


@pytest.fixture
def evander(hollow):
    return Caller(hollow.farm, "adviser")


def test_A1_an_adviser_reads_the_farms_that_asked_him_writes_advice_alone_and_leaves_at_once():
    lowbell, tallow, clover = (FarmFactory() for _ in range(3))
    juniper = PersonFactory(email="juniper@advice.example")
    here = [MembershipFactory(farm=farm, person=juniper, role="adviser") for farm in (lowbell, tallow)]
    her = Client()
    her.force_login(juniper)

    def reads(farm):
        return her.get(f"{farm.path}/blocks").status_code

    assert [reads(farm) for farm in (lowbell, tallow, clover)] == [200, 200, 404]
    assert her.post(f"{lowbell.path}/blocks", GROUND, "application/json").status_code == 403
    advice = {"name": "Spring", "from": "2027-01-01", "until": "2027-06-30", "lines": [], "status": "advice"}
    assert her.post(f"{lowbell.path}/programmes", advice, "application/json").status_code == 201
    owner = Caller(lowbell, "owner")
    assert owner.delete(f"members/{here[0].id}").status_code == 204
    assert [reads(farm) for farm in (lowbell, tallow)] == [404, 200]


def test_A2_a_count_keeps_how_it_was_made_and_nothing_found_is_not_nothing_looked_at(hollow, evander):
    block = hollow.pim.post("blocks", GROUND).json()["id"]
    at = f"blocks/{block}/scouting"
    count = {"target": "leaf curl", "method": "visual", "sample_size": 200, "count": 0,
             "observed_at": "2026-04-20T09:00:00-07:00"}  # fmt: skip

    assert evander.get(at).json()["items"] == []
    made = evander.post(at, count)

    assert made.status_code == 201
    [seen] = evander.get(at).json()["items"]
    assert (seen["count"], seen["per_sample"], seen["method"], seen["sample_size"]) == (0, "0", "visual", 200)
    for name in ("method", "sample_size", "count", "observed_at"):
        less = {key: value for key, value in count.items() if key != name}
        assert codes(evander.post(at, less)) == ["required"]


def test_A3_degree_days_say_what_they_rest_on_and_turn_from_celsius_by_nine_fifths(evander):
    def asked(unit, days, base, upper):
        body = {
            "days": [{"minimum": q(low, unit), "maximum": q(high, unit)} for low, high in days],
            "base": q(base, unit),
            "upper": q(upper, unit),
            "method": "single_sine",
        }
        answer = evander.post("/api/v1/calculations/degree_days", body)
        assert answer.status_code == 200, answer.json()
        return answer.json()

    celsius = asked("degC", [("5", "20"), ("10", "30")], "10", "30")
    fahrenheit = asked("degF", [("41", "68"), ("50", "86")], "50", "86")

    told = str(celsius)
    assert "degC_day" in told and "baskerville" in told.lower()
    results = [one.get("results", one)["total"] for one in (celsius, fahrenheit)]
    c, f = (Decimal(one["value"]) for one in results)
    assert abs(c * 9 / 5 - f) < Decimal("0.01")
    assert c > 0


def test_A4_advice_becomes_a_plan_when_a_manager_takes_it(hollow, evander):
    copper = hollow.copper()
    line = {"title": "Leaf-fall copper", "kind": "spray", "crops": ["peach"], "targets": ["leaf curl"],
            "stage": {"from": 93, "to": 0},
            "products": [{"product": copper, "rate": q("1.0", "oz_wt/gal")}]}  # fmt: skip
    body = {"name": "Winter", "from": "2026-11-01", "until": "2027-03-01", "lines": [line]}

    assert evander.post("programmes", {**body, "status": "active"}).status_code in (403, 409, 422)
    advice = evander.post("programmes", {**body, "status": "advice"})

    assert (advice.status_code, advice.json()["status"]) == (201, "advice")
    path = f"programmes/{advice.json()['id']}"
    assert evander.patch(path, {"status": "active"}).status_code == 403
    taken = hollow.pim.patch(path, {"status": "active"})
    assert (taken.status_code, taken.json()["status"]) == (200, "active")
    assert taken.json()["lines"][0]["targets"] == ["leaf curl"]


def test_A4_advice_is_valid_until_its_day_and_not_taken_after_it(hollow, evander):
    line = {"title": "Leaf-fall copper", "kind": "spray", "crops": ["peach"], "note": "bad in spring",
            "targets": ["leaf curl"], "stage": {"from": 93, "to": 0},
            "products": [{"product": hollow.copper(), "rate": q("1.0", "oz_wt/gal")}]}  # fmt: skip
    body = {"name": "Winter", "from": "2026-11-01", "until": "2027-03-01", "status": "advice",
            "lines": [line]}  # fmt: skip
    today, yesterday = (evander.post("programmes", {**body, "valid_until": hollow.day(n)}) for n in (0, -1))
    assert (today.status_code, today.json()["valid_until"]) == (201, hollow.day(0))

    taken = hollow.pim.patch(f"programmes/{today.json()['id']}", {"status": "active"})
    late = hollow.pim.patch(f"programmes/{yesterday.json()['id']}", {"status": "active"})

    assert (taken.status_code, taken.json()["created_by"]["name"]) == (200, "adviser token")
    assert (late.status_code, codes(late)) == (409, ["advice_expired"])
    assert hollow.pim.get(f"programmes/{yesterday.json()['id']}").json()["status"] == "advice"


def mix(hollow, rate="1.2", **more):
    where = hollow.ready_to_spray()
    copper = hollow.copper()
    return {
        "block": where["block"],
        "sprayer": where["sprayer"],
        "spray": {"total": q("196", "gal")},
        "products": [{"product": copper, "rate": q(rate, "oz_wt/gal")}],
        "targets": ["leaf curl"],
        **more,
    }


def test_A5_each_finding_names_its_rule_and_source_and_an_old_verdict_stays_as_it_was(hollow, evander):
    body = mix(hollow, rate="1.9")
    made = evander.post("mix-checks", body).json()
    label = hollow.odalys.get(f"products/{body['products'][0]['product']}/labels").json()["items"][0]["label"]
    label["uses"][0]["rate"]["maximum"] = q("2.5", "oz_wt/gal")
    hollow.odalys.post(
        f"products/{body['products'][0]['product']}/labels",
        {"label": label, "effective_from": hollow.day(0)},
    )

    later = evander.get(f"mix-checks/{made['id']}").json()

    assert later["report"] == made["report"]
    for finding in made["report"]["findings"]:
        assert finding["id"] and finding["basis"] in ("label", "regulation", "published", "practice", "farm")
    assert "label.rate-above-maximum" in [one["id"] for one in made["report"]["findings"]]


def test_A6_what_was_seen_of_a_pair_makes_checks_stricter_until_the_owner_says_otherwise(hollow, evander):
    body = mix(hollow, rate="1.0", dry_run=True)
    body["products"].append({"product": hollow.oil(), "rate": q("1", "percent_vv")})
    pair = [one["product"] for one in body["products"]]
    note = {"products": pair, "seen_in": "jar_test", "judged": "stop", "seen": "it curdled",
            "seen_on": hollow.day(0)}  # fmt: skip

    def found():
        report = evander.post("mix-checks", body).json()["report"]
        return [(one["id"], one["severity"]) for one in report["findings"]]

    before = found()
    made = evander.post("pair-notes", note)
    assert [one for one in found() if one not in before] == [
        (f"farm.own-experience:{made.json()['id']}", "stop")
    ]

    refused = evander.act(f"pair-notes/{made.json()['id']}", "lift", {"reason": "it went well elsewhere"})
    owner = Caller(hollow.farm, "owner")
    lifted = owner.act(f"pair-notes/{made.json()['id']}", "lift", {"reason": "softer water now"})

    assert (made.status_code, refused.status_code, lifted.status_code) == (201, 403, 200)
    assert found() == before


def test_A7_a_what_if_says_the_same_and_writes_nothing(hollow, evander):
    body = mix(hollow, at=(dt.datetime.now(dt.UTC)).isoformat())

    tried = evander.post("mix-checks", {**body, "dry_run": True})
    before = evander.get("mix-checks").json()["items"]
    kept = evander.post("mix-checks", body)

    assert (tried.status_code, tried.json()["id"], before) == (200, None, [])
    assert kept.status_code == 201
    assert tried.json()["report"] == kept.json()["report"]


def test_A8_applications_of_each_resistance_group_are_counted_and_the_labels_limit_is_told():
    summer = Summer().of(fungicide("Azoxystrobin 50 WG", group="11", most=2))
    adviser = Caller(summer.farm, "adviser")
    summer.spray("2026-04-01", 60)
    assert summer.rotation(who=adviser)[0]["groups"][0]["limits"][0]["state"] == "open"
    summer.spray("2026-04-15", 65)

    [block] = summer.rotation(who=adviser)

    [group] = block["groups"]
    assert (group["scheme"], group["code"], group["applications"]) == ("FRAC", "11", 2)
    assert (group["limits"][0]["basis"], group["limits"][0]["state"]) == ("label", "reached")
    assert "use another group" in group["says"][0]


def test_A9_copper_per_area_is_the_hand_sum_of_the_records():
    winter = Winter()
    winter.spray("2025-12-12", 97, pounds="6")
    winter.spray("2026-02-12", 51, pounds="4")

    [block] = winter.review(who=Caller(winter.farm, "adviser"))["blocks"]

    [metal] = block["metal"]
    by_hand = (Decimal(6) + Decimal(4)) * Decimal("0.30")  # 30 % of it is copper, on one acre
    assert metal["of"] == "copper"
    assert (Decimal(metal["per_area"]["value"]), metal["per_area"]["unit"]) == (by_hand, "lb/acre")


def test_A10_what_came_of_a_spray_is_read_beside_it():
    winter = Winter()
    winter.spray("2026-02-12", 51, pounds="6")
    winter.count(6, 200, "2026-04-20")
    winter.count(80, 200, "2026-04-20", untreated=True)
    adviser = Caller(winter.farm, "adviser")

    [block] = winter.review(who=adviser)["blocks"]
    export = adviser.get(f"season-review.csv?programme={winter.programme['id']}").content.decode()

    [result] = block["results"]
    assert (result["target"], result["efficacy_percent"]) == ("leaf curl", "92.5")
    kinds = {line.split(",")[2] for line in export.splitlines()[1:]}
    assert {"spray", "result"} <= kinds
