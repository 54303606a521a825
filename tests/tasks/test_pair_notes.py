"""What a farm has seen of a pair itself makes its mix checks stricter, and only its owner lifts that."""

import base64

import pytest

from tests.callers import Caller, codes, pointers
from tests.factories import FarmFactory
from tests.stories.farm import Hollow, q

pytestmark = pytest.mark.django_db


@pytest.fixture
def hollow():
    return Hollow()


@pytest.fixture
def evander(hollow):
    return Caller(hollow.farm, "adviser")


@pytest.fixture
def pair(hollow):
    return hollow.copper(), hollow.oil()


def seen(pair, hollow, **more):
    return {
        "products": list(pair),
        "seen_in": "jar_test",
        "judged": "stop",
        "seen": "it curdled within five minutes",
        "seen_on": hollow.day(0),
        **more,
    }


@pytest.fixture
def check(hollow, pair):
    where = hollow.ready_to_spray()
    rates = (q("1.0", "oz_wt/gal"), q("1", "percent_vv"))
    body = {
        "block": where["block"],
        "sprayer": where["sprayer"],
        "spray": {"total": q("196", "gal")},
        "products": [{"product": one, "rate": rate} for one, rate in zip(pair, rates, strict=True)],
        "targets": ["leaf curl"],
        "dry_run": True,
    }

    def ask(who=hollow.pim, products=None, **headers):
        answer = who.post(
            "mix-checks", body if products is None else {**body, "products": products}, **headers
        )
        assert answer.status_code == 200, answer.json()
        return answer.json()["report"]

    ask.body = body
    return ask


def own(report):
    return [one for one in report["findings"] if one["id"].startswith("farm.own-experience")]


def test_a_pair_that_curdled_is_a_stop_on_this_farm_from_now_on(hollow, evander, pair, check):
    before = check()
    made = evander.post("pair-notes", seen(pair, hollow))
    assert made.status_code == 201, made.json()

    after = check()

    assert own(before) == []
    [finding] = own(after)
    assert (finding["severity"], finding["may_be_overridden"], after["verdict"]) == ("stop", False, "stop")
    assert "it curdled within five minutes" in finding["says"]
    assert set(finding["products"]) == set(pair)
    assert [one["id"] for one in after["findings"] if one not in own(after)] == [
        one["id"] for one in before["findings"]
    ]
    assert "En esta finca" in own(check(accept_language="es"))[0]["says"]


def test_a_good_word_makes_nothing_milder(hollow, evander, pair, check):
    before = check()
    evander.post("pair-notes", seen(pair, hollow, judged="note", seen="it mixed well"))

    after = check()

    assert after["verdict"] == before["verdict"]
    assert all(one in after["findings"] for one in before["findings"])


def test_it_speaks_of_the_two_together_and_of_this_farm_alone(hollow, evander, pair, check):
    evander.post("pair-notes", seen(pair, hollow))

    alone = check(products=check.body["products"][:1])

    assert own(alone) == []
    assert Caller(FarmFactory(), "owner").get("pair-notes").json()["items"] == []


def test_the_owner_alone_lifts_it_with_a_reason_and_it_stays_on_record(hollow, evander, pair, check):
    path = f"pair-notes/{evander.post('pair-notes', seen(pair, hollow)).json()['id']}"
    owner = Caller(hollow.farm, "owner")
    lifted = {"reason": "another water, three jars stood for a day"}

    assert {who.act(path, "lift", lifted).status_code for who in (evander, hollow.pim, hollow.odalys)} == {
        403
    }
    assert codes(owner.act(path, "lift")) == ["required"]
    answer = owner.act(path, "lift", lifted)

    assert answer.status_code == 200
    assert answer.json()["lifted_because"] == lifted["reason"]
    assert own(check()) == []
    assert codes(owner.act(path, "lift", lifted)) == ["state_conflict"]
    assert len(evander.get("pair-notes").json()["items"]) == 1


def test_a_photo_of_the_jar_hangs_on_one_of_the_two(hollow, evander, pair):
    photo = {"kind": "other", "name": "jar.png", "media_type": "image/png",
             "content": base64.b64encode(b"\x89PNG jar").decode()}  # fmt: skip
    taken = evander.post(f"products/{pair[0]}/documents", photo)
    paper = evander.post(f"products/{pair[0]}/documents", {**photo, "media_type": "application/pdf",
                         "content": base64.b64encode(b"%PDF").decode()})  # fmt: skip
    assert (taken.status_code, paper.status_code) == (201, 201), taken.json()

    made = evander.post("pair-notes", seen(pair, hollow, photo=taken.json()["id"]))
    wrong = evander.post("pair-notes", seen((pair[0], pair[0]), hollow, photo=paper.json()["id"]))

    assert (made.status_code, made.json()["photo"]) == (201, taken.json()["id"])
    assert (wrong.status_code, pointers(wrong)) == (422, ["/products/1", "/photo"])
    assert evander.get(made.json()["url"]).json()["products"] == list(pair)


def test_crew_members_read_it_and_write_none(hollow, evander, pair):
    evander.post("pair-notes", seen(pair, hollow))
    member = Caller(hollow.farm, "crew_member")

    assert len(member.get("pair-notes?judged=stop").json()["items"]) == 1
    assert member.post("pair-notes", seen(pair, hollow)).status_code == 403
