"""Labels that wait for a manager's word, and the papers that they were copied from."""

import base64
import datetime as dt
import hashlib
from importlib import import_module

import pytest
from django.db import DatabaseError, IntegrityError, connection, connections, transaction

from orchard.farms.models import AuditEntry
from orchard.inventory import queries
from orchard.inventory.models import LabelVersion, ProductDocument
from tests.callers import Caller, codes, pointers
from tests.factories import FarmFactory, LabelVersionFactory, ProductFactory
from tests.inventory.store import COPPER, NOON, new_id

pytestmark = pytest.mark.django_db
MAY = dt.date(2026, 5, 1)
PAPER = b"%PDF-1.7 copper hydroxide, label of 2026"


@pytest.fixture
def farm():
    return FarmFactory(labels_need_approval=True)


@pytest.fixture
def keeper(farm):
    return Caller(farm, "storekeeper")


@pytest.fixture
def manager(farm):
    return Caller(farm, "manager")


@pytest.fixture
def product(farm):
    return ProductFactory(farm=farm, name="Copper hydroxide 46 WG")


def entered(who, product, **more):
    body = {"label": COPPER, "effective_from": "2026-01-01", **more}
    made = who.post(f"products/{product.id}/labels", body)
    assert made.status_code == 201, made.json()
    return made.json()


def in_force(product):
    return queries.label_in_force(product=product, on=dt.date(2026, 6, 1))


def test_what_the_storekeeper_copied_is_in_force_only_once_a_manager_approves(keeper, manager, product):
    label = entered(keeper, product)
    path = f"products/{product.id}/labels/{label['id']}"
    assert (label["status"], in_force(product)) == ("proposed", None)
    assert keeper.get(f"products/{product.id}").json()["label"] is None

    refused = keeper.act(path, "approve")
    done = manager.act(path, "approve", {"reason": "compared with the can"})

    assert refused.status_code == 403
    assert (done.status_code, done.json()["status"]) == (200, "approved")
    assert (done.json()["decided_by"], done.json()["decision_reason"]) == (
        "manager token",
        "compared with the can",
    )
    assert str(in_force(product).id) == label["id"]
    entry = AuditEntry.objects.get(resource="label_version", action="approve")
    assert (entry.before["status"], entry.after["status"]) == ("proposed", "approved")
    assert codes(manager.act(path, "approve")) == ["state_conflict"]


def test_what_a_manager_enters_is_approved_by_that(manager, product):
    assert entered(manager, product)["status"] == "approved"


def test_where_the_farm_does_not_ask_for_it_every_label_holds_at_once():
    farm = FarmFactory()
    keeper, product = Caller(farm, "storekeeper"), ProductFactory(farm=farm)

    assert entered(keeper, product)["status"] == "approved"


def test_the_farm_says_whether_labels_want_approval(farm, manager, keeper):
    assert manager.get("").json()["labels_need_approval"] is True
    assert manager.patch("", {"labels_need_approval": False}).json()["labels_need_approval"] is False
    assert keeper.patch("", {"labels_need_approval": False}).status_code == 403


def test_a_withdrawn_label_never_held_and_the_one_before_it_does(keeper, manager, product):
    first = entered(manager, product)
    wrong = entered(manager, product, effective_from="2026-03-01")
    path = f"products/{product.id}/labels/{wrong['id']}"
    assert codes(manager.act(path, "withdraw")) == ["required"]

    done = manager.act(path, "withdraw", {"reason": "copied from another strength"})

    assert done.json()["status"] == "withdrawn"
    assert str(in_force(product).id) == first["id"]
    assert codes(manager.act(path, "approve")) == ["state_conflict"]
    assert codes(manager.act(path, "withdraw", {"reason": "again"})) == ["state_conflict"]


def test_of_two_labels_from_the_same_day_only_one_can_be_approved(keeper, manager, product):
    first = entered(manager, product)
    again = {"label": COPPER, "effective_from": "2026-01-01"}
    corrected = entered(keeper, product)
    path = f"products/{product.id}/labels"

    refused = manager.post(f"products/{product.id}/labels", again)
    too_soon = manager.act(f"{path}/{corrected['id']}", "approve")

    for answer in (refused, too_soon):
        assert (answer.status_code, codes(answer)) == (409, ["label_exists"])
        [fault] = answer.json()["errors"]
        assert "in force from 2026-01-01 already: withdraw that one first" in fault["detail"]
        assert fault["refers_to"] == {"kind": "label_version", "id": first["id"]}
    assert str(in_force(product).id) == first["id"]
    manager.act(f"{path}/{first['id']}", "withdraw", {"reason": "copied from another strength"})
    assert manager.act(f"{path}/{corrected['id']}", "approve").status_code == 200
    assert str(in_force(product).id) == corrected["id"]


def test_the_database_takes_no_second_label_from_the_same_day(product):
    LabelVersionFactory(farm=product.farm, product=product)

    with pytest.raises(IntegrityError, match="one_approved_label_from_a_day"), transaction.atomic():
        LabelVersionFactory(farm=product.farm, product=product)


@pytest.mark.django_db(transaction=True, databases=["default", "owner"])
def test_an_upgrade_keeps_of_two_labels_from_a_day_the_one_that_was_in_force(product):
    migration = import_module("orchard.inventory.migrations.0009_one_label_a_day")
    with connections["owner"].cursor() as owner:
        owner.execute(f"DROP INDEX {migration.NAME}")
        _, newest, other_day = (
            LabelVersionFactory(farm=product.farm, product=product, effective_from=day, created_at=at)
            for day, at in ((MAY, NOON), (MAY, NOON + dt.timedelta(hours=1)), (MAY.replace(day=2), NOON))
        )
        before = queries.label_in_force(product=product, on=MAY)

        executed(owner, migration.Migration.operations)

        kept = LabelVersion.objects.filter(product=product, status="approved").order_by("effective_from")
        assert list(kept) == [newest, other_day]
        assert before == queries.label_in_force(product=product, on=MAY) == newest
        withdrawn = LabelVersion.objects.get(product=product, status="withdrawn")
        assert "is the one in force" in withdrawn.decision_reason
        owner.execute("SELECT indisvalid FROM pg_index WHERE indexrelid = %s::regclass", [migration.NAME])
        assert owner.fetchone() == (True,)


def executed(cursor, operations):
    """Run the statements of a migration."""
    for step in operations:
        if hasattr(step, "database_operations"):
            executed(cursor, step.database_operations)
        else:
            cursor.execute(step.sql)


def test_the_database_lets_nobody_change_what_a_label_says(farm, product):
    version = LabelVersionFactory(farm=farm, product=product)

    for statement in (
        "UPDATE inventory_labelversion SET label = '{}'",
        "UPDATE inventory_labelversion SET effective_from = '2001-01-01'",
        "DELETE FROM inventory_labelversion",
    ):
        with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement)
    assert LabelVersion.objects.get().label == version.label


def paper(**more):
    return {"kind": "label", "name": "label 2026.pdf", **more}


def content():
    return base64.b64encode(PAPER).decode()


def test_a_paper_is_known_by_its_hash_and_read_back_whole(keeper, product):
    label = entered(keeper, product)
    body = paper(content=content(), media_type="application/pdf", label=label["id"], language="en")

    made = keeper.post(f"products/{product.id}/documents", body)

    assert made.status_code == 201, made.json()
    shown = made.json()
    assert (shown["sha256"], shown["size"]) == (hashlib.sha256(PAPER).hexdigest(), len(PAPER))
    read = keeper.get(shown["content_url"])
    assert (read.content, read.headers["X-Content-Type-Options"]) == (PAPER, "nosniff")
    assert read.headers["Content-Disposition"] == 'attachment; filename="label_2026.pdf"'
    [beside] = keeper.get(f"products/{product.id}/labels/{label['id']}").json()["documents"]
    assert beside == {"id": shown["id"], "kind": "label", "sha256": shown["sha256"]}


def test_of_a_paper_that_is_kept_elsewhere_the_hash_is_enough(keeper, product):
    body = paper(sha256="AB" * 32, address="https://labels.example/1.pdf")

    made = keeper.post(f"products/{product.id}/documents", body).json()

    assert (made["sha256"], made["size"], made["content_url"]) == ("ab" * 32, None, None)
    there = keeper.get(f"products/{product.id}/documents/{made['id']}/content")
    assert (there.status_code, codes(there)) == (404, ["not_found"])


@pytest.mark.parametrize(
    ("more", "code", "pointer"),
    [
        ({}, "required", "/sha256"),
        ({"content": "%%%"}, "invalid", "/content"),
        ({"content": ""}, "out_of_range", "/content"),
        ({"sha256": "12"}, "invalid", "/sha256"),
        ({"content": content(), "sha256": "0" * 64}, "hash_mismatch", "/sha256"),
        ({"sha256": "0" * 64, "label": str(new_id())}, "not_found", "/label"),
        ({"sha256": "0" * 64, "media_type": "a file"}, "invalid", "/media_type"),
    ],
)
def test_a_paper_that_is_none_is_refused_and_nothing_is_kept(keeper, product, more, code, pointer):
    refused = keeper.post(f"products/{product.id}/documents", paper(**more))

    assert (refused.status_code, codes(refused), pointers(refused)) == (422, [code], [pointer])
    assert not ProductDocument.objects.exists()


def test_a_label_of_another_product_is_not_this_ones(keeper, farm, product):
    other = entered(keeper, ProductFactory(farm=farm))
    body = paper(sha256="0" * 64, label=other["id"])

    assert codes(keeper.post(f"products/{product.id}/documents", body)) == ["not_found"]


def test_the_same_paper_is_kept_once(keeper, product):
    first = keeper.post(f"products/{product.id}/documents", paper(content=content())).json()

    again = keeper.post(f"products/{product.id}/documents", paper(content=content(), name="copy.pdf"))

    assert (again.status_code, codes(again)) == (409, ["document_exists"])
    assert again.json()["errors"][0]["refers_to"] == {"kind": "product_document", "id": first["id"]}
    assert ProductDocument.objects.count() == 1


def test_what_a_can_is_like_is_measured_as_its_stock(keeper):
    body = {
        "name": "Oil",
        "stock_unit": "gal",
        "container": {"value": "2.5", "unit": "lb"},
        "safety_stock": {"value": "1", "unit": "gal"},
        "store_minimum": {"value": "90", "unit": "degF"},
        "store_maximum": {"value": "5", "unit": "degC"},
    }

    refused = keeper.post("products", body)

    assert sorted(zip(codes(refused), pointers(refused), strict=True)) == [
        ("out_of_range", "/store_minimum"),
        ("unit_kind", "/container/unit"),
    ]


def test_a_caked_or_frozen_lot_sets_itself_aside(keeper, product):
    held = keeper.post("lots", {"product": str(product.id), "number": "C-1"}).json()
    path = f"lots/{held['id']}"
    assert (held["condition"], held["usable"], held["opened_on"], held["price"]) == ("good", True, None, None)

    caked = keeper.patch(path, {"condition": "caked", "opened_on": "2026-01-05"}).json()

    assert (caked["quarantined"], caked["quarantine_reason"], caked["usable"]) == (True, "caked", False)
    assert caked["opened_on"] == "2026-01-05"
    kept = keeper.patch(path, {"condition": "good"}).json()
    assert (kept["condition"], kept["quarantined"]) == ("good", True)
    assert keeper.patch(path, {"quarantined": False}).json()["usable"] is True
    assert keeper.get("lots?quarantined=true").json()["items"] == []


def test_a_price_is_for_an_amount_and_no_crew_member_sees_it(farm, keeper, product):
    price = {"amount": "42.50", "currency": "USD", "per": {"value": "5", "unit": "lb"}}
    body = {"product": str(product.id), "number": "C-1", "price": price}

    made = keeper.post("lots", body).json()

    assert made["price"] == {**price, "amount": "42.5"}
    assert Caller(farm, "crew_member").get(f"lots/{made['id']}").json()["price"] is None
    wrong = {**price, "per": {"value": "5", "unit": "gal"}}
    refused = keeper.post("lots", {**body, "number": "C-2", "price": wrong})
    assert (codes(refused), pointers(refused)) == (["unit_kind"], ["/price/per/unit"])
    refused = keeper.patch(f"lots/{made['id']}", {"price": {**price, "amount": "-1", "currency": "usd"}})
    assert codes(refused) == ["out_of_range", "invalid"]
