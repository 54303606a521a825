"""One farm's ids in the hands of another: nothing of them is there, in addresses, bodies and filters.

Everything is taken from the document and from a planted farm, so that a new operation is asked as well.
"""

import copy
import json
import re

import pytest
from django.db import transaction
from django.test import override_settings
from uuid6 import uuid7

from orchard.farms.models import Change
from tests import factories as made
from tests.callers import Caller, codes
from tests.factories import FarmFactory
from tests.fuzz import farm as planting

pytestmark = pytest.mark.xdist_group("planted")
DOCUMENT = "/api/v1/openapi.json"
FARM = "/api/v1/farms/{}"
OWN = {
    "blocks": made.BlockFactory,
    "crews": made.CrewFactory,
    "workers": made.WorkerFactory,
    "sprayers": made.SprayerFactory,
    "products": made.ProductFactory,
    "lots": made.LotFactory,
}
NO_ID_OF_A_THING = {"id"}
"""What a phone makes itself: another farm's is as good as a fresh one, and tells nothing."""


class Theirs:
    """A planted farm: its ids by kind of address, its document, and a caller of another farm."""

    def __init__(self, patches):
        self.farm = planting.planted(patches)
        self.head = self.farm.head
        self.document = self.head.client.get(DOCUMENT).json()
        self.kinds = {bare(path): item for path, item in self.document["paths"].items()}
        self.ids = self._ids()
        self.stranger = Caller(FarmFactory(), "owner")
        rows = {kind: factory(farm=self.stranger.farm) for kind, factory in OWN.items()}
        self.foreign = {kind: str(row.id) for kind, row in rows.items()}
        self.own = {ids[-1]: str(rows[kind].id) for kind in OWN for ids in self.ids[f"{FARM}/{kind}/{{}}"]}
        self.all = {id for found in self.ids.values() for ids in found for id in ids[1:]}

    def _ids(self):
        found = {FARM: [(str(self.farm.farm.id),)]}
        for kind in sorted(self.kinds, key=lambda kind: kind.count("{}")):
            above = kind[: kind.rfind("{}") + 2]
            if not kind.startswith(FARM) or above not in found:
                continue
            if f"{kind}/{{}}" in self.kinds and "get" in self.kinds[kind]:
                found[f"{kind}/{{}}"] = [
                    (*ids, one["id"])
                    for ids in found[above]
                    for one in self.head.get(kind.format(*ids)).json()["items"]
                    if planting.ID.fullmatch(str(one.get("id")))  # what ships with the service has names
                ]
        return found

    def operations(self):
        """Yield method, kind of address and operation of all that stands below a farm."""
        for kind, item in self.kinds.items():
            for method in ("get", "post", "patch", "delete"):
                if method in item and kind.startswith(FARM):
                    yield method.upper(), kind, item[method]

    def schema(self, content):
        """Return the schema of a body."""
        found = next(iter(content.values()))["schema"]
        while "$ref" in found:
            found = self.document["components"]["schemas"][found["$ref"].rpartition("/")[2]]
        return found


@pytest.fixture(scope="module")
def theirs(django_db_setup, django_db_blocker):
    """Plant once for the whole module: nothing in it is changed."""
    patches = pytest.MonkeyPatch()
    with django_db_blocker.unblock(), override_settings(RATE_LIMIT_PER_MINUTE=0), transaction.atomic():
        yield Theirs(patches)
        transaction.set_rollback(True)
    patches.undo()


def bare(path):
    return re.sub(r"{[^}]*}", "{}", path)


def unlike(answer, *ids):
    """Return an answer's status and body without the ids that were asked for."""
    said = answer.content
    for id in ids:
        said = said.replace(id.encode(), b"ID")
    return answer.status_code, said


def places(value, at=()):
    """Yield where in a body an id stands, and which."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from places(inner, (*at, name))
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from places(inner, (*at, number))
    elif isinstance(value, str) and planting.ID.fullmatch(value) and at[-1] not in NO_ID_OF_A_THING:
        yield at, value


def put(value, at, id):
    """Return the body with another id in one place."""
    whole = inner = copy.deepcopy(value)
    for step in at[:-1]:
        inner = inner[step]
    inner[at[-1]] = id
    return whole


def test_no_id_of_another_farm_opens_finds_or_joins_anything(theirs):
    stranger, asked = theirs.stranger, {"address": 0, "body": 0, "filter": 0}
    ours = str(stranger.farm.id)
    for method, kind, operation in theirs.operations():
        above = kind[: kind.rfind("{}") + 2]
        if kind.count("{}") > 1 and theirs.ids.get(above):
            ids = theirs.ids[above][0][1:]
            never = [str(uuid7()) for _ in ids]
            answers = [
                stranger.call(method, kind.format(ours, *some), {}, if_match="*") for some in (ids, never)
            ]
            assert [one.status_code for one in answers] == [404, 404], (method, kind)
            assert unlike(answers[0], *ids) == unlike(answers[1], *never)
            asked["address"] += 1
        if method == "GET" and kind.count("{}") == 1:
            asked["filter"] += filters_find_nothing(theirs, kind, operation)
        if method == "POST" and kind.count("{}") == 1:
            asked["body"] += bodies_join_nothing(theirs, kind)

    assert asked["address"] > 60 and asked["body"] > 40 and asked["filter"] > 15, asked


def filters_find_nothing(theirs, kind, operation):
    """Ask a list for each id that it may be narrowed to."""
    stranger, done = theirs.stranger, 0
    for name in ids_that_narrow(operation):
        of_its_kind = theirs.ids.get(f"{FARM}/{name.replace('_', '-')}s/{{}}")
        id, never = of_its_kind[0][-1] if of_its_kind else min(theirs.all), str(uuid7())
        answers = [stranger.get(f"{kind.format(stranger.farm.id)}?{name}={one}") for one in (id, never)]
        assert answers[0].status_code in (200, 400, 404), (kind, name)
        if answers[0]["Content-Type"] != "application/pdf":  # it tells the minute it was made in
            assert unlike(answers[0], id) == unlike(answers[1], never), (kind, name)
        done += 1
    return done


def ids_that_narrow(operation):
    wanted = [one for one in operation.get("parameters", []) if one["in"] == "query"]
    return [one["name"] for one in wanted if one["schema"].get("format") == "uuid"]


def bodies_join_nothing(theirs, kind):
    """Send what they made with our own ids in it, but for one of theirs at a time."""
    stranger, done = theirs.stranger, 0
    path = kind.format(stranger.farm.id)
    for body in theirs.farm.bodies.get(kind, []):
        own = body
        for at, id in places(body):
            own = put(own, at, theirs.own.get(id, id))
        for at, id in places(body):
            never = str(uuid7())
            before = rows_of(stranger)
            answers = [stranger.post(path, put(own, at, one)) for one in (id, never)]
            assert answers[0].status_code in (404, 409, 422), (kind, at, answers[0].content)
            assert unlike(answers[0], id) == unlike(answers[1], never), (kind, at)
            assert rows_of(stranger) == before
            done += 1
    return done


def test_nothing_of_another_farm_is_joined_to_a_thing_by_a_change_an_action_or_below_it(theirs):
    """The other way about: somebody of the planted farm names what another farm has."""
    head, asked, sought = theirs.head, 0, set()
    for method, kind, operation in theirs.operations():
        of = kind.partition("/actions/")[0]
        at = theirs.ids.get(of[: of.rfind("{}") + 2])
        if method not in ("POST", "PATCH") or "requestBody" not in operation or not at:
            continue
        takes = theirs.schema(operation["requestBody"]["content"])
        for body, where in with_ids(theirs, takes):
            path = kind.format(*at[0])
            tag = head.get(path.partition("/actions/")[0]).headers.get("ETag", "*")
            foreign, never = theirs.foreign[of_kind(where)], str(uuid7())
            answers = [head.call(method, path, put(body, where, id), if_match=tag) for id in (foreign, never)]
            assert answers[0].status_code in (404, 409, 422), (method, kind, where, answers[0].content[:300])
            assert unlike(answers[0], foreign) == unlike(answers[1], never), (method, kind, where)
            asked += 1
            pointer = "/" + "/".join(map(str, where))
            told = {(one["pointer"], one["code"]) for one in answers[0].json()["errors"]}
            if (pointer, "not_found") in told:
                sought.add((method, kind, pointer))

    assert asked > 60 and len(sought) > 40, (asked, len(sought))


def of_kind(where):
    """Return the kind of thing that the field at a place names; workers go by many names."""
    name = next(step for step in reversed(where) if isinstance(step, str)).rstrip("s")
    return f"{name}s" if f"{name}s" in OWN else "workers"


def with_ids(theirs, schema, depth=0):
    """Yield bodies that hold nothing but one id, for each field that takes one, and where it stands."""
    while "$ref" in schema:
        schema = theirs.document["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    for choice in [*schema.get("oneOf", ()), *schema.get("anyOf", ()), *schema.get("allOf", ())]:
        yield from with_ids(theirs, choice, depth)
    if schema.get("format") == "uuid":
        yield "", ()
    if depth > 5:
        return
    for name, inner in schema.get("properties", {}).items():
        if not (depth == 0 and name in NO_ID_OF_A_THING):
            for body, where in with_ids(theirs, inner, depth + 1):
                yield {name: body}, (name, *where)
    if "items" in schema:
        for body, where in with_ids(theirs, schema["items"], depth + 1):
            yield [body], (0, *where)


def rows_of(caller):
    return Change.objects.for_farm(caller.farm).count()


def test_no_field_that_is_only_read_can_be_set(theirs):
    refused = 0
    for method, kind, operation in theirs.operations():
        at = theirs.ids.get(kind[: kind.rfind("{}") + 2])
        answer = next((operation["responses"][s] for s in ("201", "200") if s in operation["responses"]), {})
        if method not in ("POST", "PATCH") or "requestBody" not in operation or not at:
            continue
        takes = theirs.schema(operation["requestBody"]["content"])
        shows = theirs.schema(answer["content"]) if "content" in answer else {}
        only_read = set(shows.get("properties", {})) - set(takes.get("properties", {}))
        only_read |= {"farm", "farm_id", "key", "version", "created_by_id", "digest"} - set(
            takes.get("properties", {})
        )
        if "properties" not in takes or takes.get("additionalProperties") not in (None, False):
            continue
        path = kind.format(*at[0])
        tag = theirs.head.get(path.partition("/actions/")[0]).headers.get("ETag", "*")
        body = dict.fromkeys(sorted(only_read), "x")

        told = theirs.head.call(method, path, body, if_match=tag)

        assert told.status_code in (422, 409, 400), (method, kind, told.content[:300])
        if told.status_code == 409:  # the state forbids it before a word of the body is read
            continue
        unknown = {one["pointer"] for one in told.json()["errors"] if one["code"] == "unknown_field"}
        assert unknown == {f"/{name}" for name in only_read}, (method, kind, json.dumps(told.json())[:600])
        refused += len(unknown)

    assert refused > 300, refused


def test_nothing_is_changed_by_whoever_has_not_read_it_or_has_read_what_is_old(theirs):
    asked = 0
    for method, kind, operation in theirs.operations():
        at = theirs.ids.get(kind.partition("/actions/")[0])
        wanted = [one["name"] for one in operation.get("parameters", []) if one["in"] == "header"]
        if not at or "If-Match" not in wanted:
            assert method != "PATCH" or not at, kind
            continue
        path = kind.format(*at[0])

        unread, old = (theirs.head.call(method, path, {}, **tag) for tag in ({}, {"if_match": '"old"'}))

        assert (unread.status_code, codes(unread)) == (428, ["if_match_required"]), (method, kind)
        assert (old.status_code, codes(old)) == (412, ["stale"]), (method, kind)
        asked += 1

    assert asked > 40, asked
