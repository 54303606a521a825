"""What another system needs, need by need, shown over HTTP."""

import datetime as dt
import itertools
import json
import zipfile

import icalendar
import pytest
from django.test import override_settings
from django.urls import resolve
from django.utils import timezone
from openapi_spec_validator import OpenAPIV31SpecValidator
from standardwebhooks import Webhook as Receiver
from standardwebhooks.webhooks import WebhookVerificationError

from orchard.config import farm_import
from orchard.farms.webhooks import sending
from orchard.farms.webhooks.sending import Answer
from scheduling import outbox
from tests import database
from tests.callers import Caller, codes, pointers
from tests.factories import FarmFactory
from tests.inventory.store import at_once
from tests.stories.farm import Hollow, q

pytestmark = pytest.mark.django_db
GROUND = {"name": "Lower terrace", "crop": "peach", "trees": 40}
NEVER = "00000000-0000-7000-8000-000000000000"


@pytest.fixture
def hollow():
    return Hollow()


@pytest.fixture
def owner(hollow):
    return Caller(hollow.farm, "owner")


def partner(hollow, *scopes):
    return Caller(hollow.farm, "integration", scopes)


def scouting(hollow, title="Count the buds"):
    """Return the path of an issued order to look at a block."""
    block = hollow.pim.post("blocks", GROUND).json()["id"]
    worker = hollow.pim.post("workers", {"name": "Wren Saltmarsh", "adult": True}).json()["id"]
    crew = hollow.pim.post("crews", {"name": "Field crew", "members": [worker]}).json()["id"]
    starts = (timezone.now() + dt.timedelta(days=2)).isoformat()
    body = {"kind": "scouting", "title": title, "block": block, "crew": crew, "starts_at": starts}
    path = f"work-orders/{hollow.pim.post('work-orders', body).json()['id']}"
    hollow.do(path, "issue")
    return path


def test_T1_the_published_document_is_valid_and_every_route_of_it_exists(owner):
    document = owner.get("/api/v1/openapi.json").json()

    OpenAPIV31SpecValidator(document).validate()
    assert len(document["paths"]) > 100
    for path, methods in document["paths"].items():
        at = path
        for name in ("{name}", "{secret}"):
            at = at.replace(name, "word")
        while "{" in at:
            at = at[: at.index("{")] + NEVER + at[at.index("}") + 1 :]
        assert resolve(at).route != "api/v1/^.*$", path
        assert all("responses" in one for name, one in methods.items() if name != "parameters")


def test_T1_a_version_that_there_is_none_of_is_refused(owner):
    refused = owner.get("/api/v2/farms")

    assert refused.status_code == 404
    assert refused["Content-Type"] == "application/problem+json"


def test_T2_a_key_that_reads_stock_cannot_read_people(hollow):
    stock = partner(hollow, "inventory:read")

    assert stock.get("stock").status_code == 200
    for closed in ("workers", "members", "crews", "tokens"):
        assert (stock.get(closed).status_code, codes(stock.get(closed))) == (403, ["scope_missing"])
    refused = stock.post("products", {"name": "Oil", "stock_unit": "gal"})
    assert codes(refused) == ["scope_missing"]


def test_T2_keys_overlap_while_they_are_changed_and_a_revoked_one_fails_at_once(owner):
    asked = {"name": "reporting", "role": "integration", "scopes": ["inventory:read"]}
    old, new = (owner.post("tokens", asked).json() for _ in range(2))

    def reads(one):
        return owner.get("stock", authorization=f"Bearer {one['token']}").status_code

    assert (reads(old), reads(new)) == (200, 200)
    assert owner.delete(f"tokens/{old['id']}").status_code == 204
    assert (reads(old), reads(new)) == (401, 200)
    listed = owner.get("tokens").content.decode()
    assert new["token"] not in listed and "digest" not in listed
    assert "token" not in owner.get(f"tokens/{new['id']}").json()


def test_T3_the_same_key_and_body_give_the_first_answer_and_another_body_is_refused(owner):
    first = owner.post("blocks", GROUND, idempotency_key="crm-1")
    again = owner.post("blocks", GROUND, idempotency_key="crm-1")
    other = owner.post("blocks", {**GROUND, "trees": 41}, idempotency_key="crm-1")

    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert (other.status_code, codes(other)) == (422, ["idempotency_key_reused"])
    assert len(owner.get("blocks").json()["items"]) == 1


@pytest.mark.django_db(transaction=True)
def test_T3_of_eight_that_send_the_same_at_once_one_makes_it():
    owner = Caller(FarmFactory(), "owner")

    answers = at_once(*[lambda: owner.post("blocks", GROUND, idempotency_key="crm-2")] * 8)

    assert {one.status_code for one in answers} <= {201, 409}
    assert 201 in {one.status_code for one in answers}
    assert len(owner.get("blocks").json()["items"]) == 1


@pytest.mark.django_db(transaction=True)
def test_T4_a_reader_who_keeps_the_cursor_has_no_gap_and_no_repeat_while_others_write():
    owner = Caller(FarmFactory(), "owner")
    seen, cursor = [], None

    def write(names):
        def go():
            for name in names:
                assert owner.post("blocks", {**GROUND, "name": name}).status_code == 201

        return go

    def read():
        nonlocal cursor
        for _ in range(25):
            page = owner.get("changes?limit=7&wait=1" + (f"&after={cursor}" if cursor else "")).json()
            seen.extend((one["resource"], one["id"]) for one in page["items"])
            cursor = page["cursor"]
            if len([one for one in seen if one[0] == "block"]) == 24:
                return

    answers = at_once(*[write([f"{who}{n}" for n in range(8)]) for who in "ABC"], read)
    read()

    assert [one for one in answers if isinstance(one, Exception)] == []
    blocks = [id for resource, id in seen if resource == "block"]
    assert len(blocks) == len(set(blocks)) == 24
    assert set(blocks) == {one["id"] for one in owner.get("blocks?limit=100").json()["items"]}


@pytest.mark.django_db(transaction=True)
def test_T4_what_is_deleted_stays_in_the_feed_as_deleted():
    owner = Caller(FarmFactory(), "owner")
    block = owner.post("blocks", GROUND).json()["id"]
    database.until_all_is_final()
    cursor = owner.get("changes").json()["cursor"]

    owner.delete(f"blocks/{block}")

    database.until_all_is_final()
    [gone] = owner.get(f"changes?after={cursor}").json()["items"]
    assert (gone["resource"], gone["id"], gone["change"]) == ("block", block, "deleted")


def test_T5_events_are_signed_tried_again_and_sent_anew_on_request(hollow, owner):
    made = owner.post("webhooks", {"url": "https://93.184.216.34/x", "events": ["*"]}).json()
    scouting(hollow)
    outbox.drain()
    got, answers = [], [503, 204, 204]

    def post(url, headers, body):
        got.append((headers, body))
        return Answer(answers.pop(0))

    at = timezone.now()
    sending.send_due(post=post, clock=lambda: at)
    sending.send_due(post=post, clock=lambda: at + dt.timedelta(minutes=1))
    [delivery] = owner.get(f"webhooks/{made['id']}/deliveries").json()["items"]
    replayed = owner.act(f"webhooks/{made['id']}", "replay", {"delivery": delivery["id"]})
    sending.send_due(post=post, clock=lambda: at + dt.timedelta(minutes=2))

    assert replayed.status_code in (200, 202)
    assert [headers["webhook-id"] for headers, _ in got] == [delivery["id"]] * 3
    headers, body = got[0]
    assert Receiver(made["secret"]).verify(body, headers)["type"] == "work_order.issued"
    with pytest.raises(WebhookVerificationError):
        Receiver(made["secret"]).verify(body.replace(b"issued", b"ISSUED"), headers)


def test_T6_every_refusal_is_a_problem_document_with_code_and_pointer_and_nothing_of_the_inside(
    hollow, owner
):
    member = Caller(hollow.farm, "crew_member")
    stale = owner.post("blocks", GROUND).json()
    refusals = [
        owner.get("blocks", authorization="Bearer none"),
        member.post("blocks", GROUND),
        owner.get(f"blocks/{NEVER}"),
        owner.call("PUT", "blocks", GROUND),
        owner.call("POST", "blocks", "{"),
        owner.post("blocks", {"name": "", "crop": 7, "colour": "red"}),
        owner.call("PATCH", f"blocks/{stale['id']}", {"trees": 41}),
        owner.call("PATCH", f"blocks/{stale['id']}", {"trees": 41}, if_match='"old"'),
        owner.get("blocks?limit=many"),
        owner.get("changes?after=rubbish"),
    ]

    assert [one.status_code for one in refusals] == [401, 403, 404, 405, 400, 422, 428, 412, 400, 400]
    for one in refusals:
        assert one["Content-Type"] == "application/problem+json"
        told = one.json()
        assert set(told) == {"type", "title", "status", "detail", "errors"}
        assert told["status"] == one.status_code
        assert all(fault["code"] and fault["detail"] for fault in told["errors"])
        assert not any(word in one.content.decode() for word in ("Traceback", "django", ".py", "SELECT"))
    assert {"/name", "/crop", "/colour"} <= set(pointers(refusals[5]))


def test_T7_every_amount_is_a_decimal_as_text_with_its_unit(hollow):
    lot = hollow.lot(hollow.copper(), "C-2201")

    for _ in range(10):
        hollow.receive(lot, q("0.1", "lb"))

    assert hollow.on_hand(lot) == q("1", "lb")
    for wrong in ({"value": 0.1, "unit": "lb"}, q("0.1", "stone"), q("1e3", "lb"), q("0,1", "lb"), "0.1 lb"):
        assert hollow.receive(lot, wrong).status_code in (400, 422), wrong
    assert hollow.on_hand(lot) == q("1", "lb")


def test_T8_moments_have_offsets_days_stay_days_and_the_zone_is_named(hollow, owner):
    lot = owner.get(f"lots/{hollow.lot(hollow.copper(), 'C-2201', expires_on='2031-03-09')}").json()

    assert owner.get().json()["zone"] == "America/Los_Angeles"
    assert lot["expires_on"] == "2031-03-09"
    assert dt.datetime.fromisoformat(lot["created_at"]).utcoffset() is not None
    block = owner.post("blocks", GROUND).json()["id"]
    count = {"target": "mites", "method": "visual", "sample_size": 10, "count": 0}
    at = f"blocks/{block}/scouting"
    without = owner.post(at, {**count, "observed_at": "2026-11-01T08:00:00"})
    assert (without.status_code, pointers(without)) == (422, ["/observed_at"])
    taken = owner.post(at, {**count, "observed_at": "2026-11-01T09:00:00-08:00"}).json()
    assert dt.datetime.fromisoformat(taken["observed_at"]) == dt.datetime(2026, 11, 1, 17, tzinfo=dt.UTC)


def test_T9_blocks_are_features_wound_the_right_way_with_both_areas(owner):
    ring = [[-119.5, 36.1], [-119.5, 36.101], [-119.499, 36.101], [-119.499, 36.1], [-119.5, 36.1]]
    clockwise = {"type": "Polygon", "coordinates": [ring]}
    acre = {**GROUND, "area": q("2", "acre"), "outline": clockwise}
    assert owner.post("blocks", acre).status_code == 201
    bow_tie = [ring[0], ring[2], ring[1], ring[3], ring[0]]
    for bad in (ring[:-1], ring[:2], bow_tie, [[200, 1], [1, 100], [2, 2], [200, 1]]):
        refused = owner.post("blocks", {**GROUND, "outline": {"type": "Polygon", "coordinates": [bad]}})
        assert refused.status_code == 422
        assert pointers(refused)[0].startswith("/outline")

    answer = owner.get("blocks.geojson")

    assert answer["Content-Type"].startswith("application/geo+json")
    [feature] = answer.json()["features"]
    [out] = feature["geometry"]["coordinates"]
    turned = sum(a[0] * b[1] - b[0] * a[1] for a, b in itertools.pairwise(out))
    assert turned > 0 and sorted(out[:-1]) == sorted(ring[:-1])
    assert feature["properties"]["area"] == q("2", "acre")
    assert feature["properties"]["outline_area"]["unit"]


def test_T10_a_calendar_keeps_its_ids_counts_changes_and_can_be_taken_back(hollow, client):
    path = scouting(hollow, title="Look at the buds")
    feed = hollow.teo.post("calendar-feeds", {"name": "Teo's phone"}).json()

    def event():
        read = client.get(feed["address"].removeprefix("http://testserver"))
        [one] = icalendar.Calendar.from_ical(read.content).walk("VEVENT")
        return one

    first = event()
    hollow.do(path, "cancel", {"reason": "rain all week, ask Wren at 555 0100"})
    second = event()

    assert first["UID"] == second["UID"]
    assert path.rpartition("/")[2] in str(first["UID"])
    assert int(second["SEQUENCE"]) > int(first["SEQUENCE"])
    assert str(second["STATUS"]) == "CANCELLED"
    assert "555 0100" not in second.to_ical().decode()
    assert hollow.teo.delete(f"calendar-feeds/{feed['id']}").status_code == 204
    assert client.get(feed["address"].removeprefix("http://testserver")).status_code == 404


def test_T11_a_whole_farm_is_taken_along_and_put_into_an_empty_farm_with_equal_totals(
    hollow, owner, tmp_path
):
    copper, where = hollow.copper(), hollow.ready_to_spray()
    hollow.lot(copper, "C-2201", q("20", "lb"), expires_on=hollow.day(60))
    order = hollow.draft(where, copper, q("1.0", "oz_wt/gal"), "196")
    hollow.do(order, "issue")
    hollow.spray(order, [{"product": copper}], "196")
    file = tmp_path / "farm.zip"

    file.write_bytes(b"".join(owner.get("export.zip").streaming_content))
    elsewhere = farm_import.take_over(source=file, farm=None, now=timezone.now())

    there = Caller(elsewhere, "owner")
    assert there.get("stock").json()["items"][0]["on_hand"] == hollow.in_stock(copper)["on_hand"]
    assert [one["id"] for one in there.get("stock-movements").json()["items"]] == [
        one["id"] for one in owner.get("stock-movements").json()["items"]
    ]
    with zipfile.ZipFile(file) as archive:
        manifest = json.loads(archive.read("manifest.json"))
        assert {name.rpartition(".")[2] for name in manifest["files"]} == {"csv", "json", "geojson"}


def test_T12_limits_are_told_kept_and_are_each_callers_own(owner, hollow):
    rates_before = owner.get("blocks")
    assert rates_before["RateLimit"] and rates_before["RateLimit-Policy"]
    other = Caller(hollow.farm, "manager")
    with override_settings(RATE_LIMIT_PER_MINUTE=3):
        answers = [owner.get("blocks") for _ in range(5)]
        beside = other.get("blocks")

    assert answers[-1].status_code == 429
    assert int(answers[-1]["Retry-After"]) >= 1
    assert beside.status_code == 200
    assert owner.get("blocks?limit=501").status_code == 400
