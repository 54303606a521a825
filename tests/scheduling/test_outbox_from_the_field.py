"""One load, told by a phone over HTTP, followed to the ledger and to what crew and store see of it."""

import datetime as dt

import pytest
from django.utils import timezone

from orchard.blocks.models import StageObservation
from orchard.crews.models import Calibration
from scheduling import outbox
from tests.callers import Caller
from tests.factories import (
    BlockFactory,
    CrewFactory,
    FarmFactory,
    LabelVersionFactory,
    ProductFactory,
    QualificationFactory,
    SprayerFactory,
)
from tests.inventory.store import lot, new_id

pytestmark = pytest.mark.django_db


def q(value, unit):
    return {"value": value, "unit": unit}


LABEL = {
    "name": "Copper hydroxide 46 WG",
    "active_ingredients": [{"name": "copper hydroxide", "content": q("46", "percent_ww")}],
    "formulation": "WG",
    "uses": [
        {
            "crops": ["peach"],
            "rate": {"maximum": q("1.6", "oz_wt/gal")},
            "stages": [{"from": 93, "to": 53}],
            "re_entry": q("48", "h"),
        }
    ],
}


@pytest.fixture
def farm():
    return FarmFactory()


@pytest.fixture
def order(farm):
    """The body of a spray of 96 gal in two loads, with 9.5 lb and 20 lb of its product in the store."""
    block = BlockFactory(farm=farm, crop="peach")
    worker = QualificationFactory(farm=farm).worker
    sprayer = SprayerFactory(farm=farm)
    common = {"farm": farm, "created_at": timezone.now(), "updated_at": timezone.now()}
    StageObservation.objects.create(
        block=block, bbch=95, observed_on=timezone.now().date() - dt.timedelta(days=1), **common
    )
    on = timezone.now().date() - dt.timedelta(days=10)
    Calibration.objects.create(sprayer=sprayer, on=on, due_on=on + dt.timedelta(days=300), **common)
    product = ProductFactory(farm=farm, name=LABEL["name"])
    LabelVersionFactory(farm=farm, product=product, label=LABEL)
    lot(product, "2", number="C-2201", expires_on=dt.date(2150, 1, 1))
    lot(product, "20", number="C-2305", expires_on=dt.date(2160, 1, 1))
    return {
        "kind": "spray",
        "block": str(block.id),
        "sprayer": str(sprayer.id),
        "crew": str(CrewFactory(farm=farm, members=[worker]).id),
        "starts_at": timezone.now().isoformat(),
        "spray": {"total": q("96", "gal")},
        "products": [{"product": str(product.id), "rate": q("1.0", "oz_wt/gal")}],
        "targets": ["leaf curl"],
    }


def test_a_load_from_the_field_is_in_the_ledger_once_and_the_promise_is_kept(farm, order):
    office, crew, keeper = (Caller(farm, role) for role in ("manager", "crew_lead", "storekeeper"))
    made = office.post("work-orders", order)
    path = f"work-orders/{made.json()['id']}"

    issued = office.act(path, "issue")
    assert issued.status_code == 200, issued.json()
    stock = keeper.get("stock").json()["items"][0]
    assert (stock["on_hand"], stock["reserved"], stock["available"]) == (
        q("22", "lb"),
        q("6", "lb"),
        q("16", "lb"),
    )
    assert [row["quantity"] for row in keeper.get("reservations").json()["items"]] == [
        q("2", "lb"),
        q("4", "lb"),
    ]

    crew.act(path, "accept")
    observed = {
        "wind": q("4", "mph"),
        "temperature": q("55", "degF"),
        "people_out": True,
        "rain_within_h": "72",
    }
    started = crew.act(path, "start", {"observed": observed})
    assert started.status_code == 200, started.json()
    load = {
        "id": str(new_id()),
        "number": 1,
        "spray": q("50", "gal"),
        "products": [{"product": order["products"][0]["product"]}],
    }
    for _ in range(2):
        told = crew.act(path, "record_load", load, if_match="*")
        assert told.status_code == 200, told.json()
    assert crew.get(f"{path}/loads").json()["items"][0]["stock"] == "pending"

    outbox.drain()
    outbox.drain()

    assert crew.get(f"{path}/loads").json()["items"][0]["stock"] == "posted"
    used = keeper.get(f"stock-movements?kind=use&work_order={made.json()['id']}").json()["items"]
    assert sorted((row["change"]["value"], row["change"]["unit"]) for row in used) == [
        ("-18", "oz_wt"),
        ("-32", "oz_wt"),
    ]
    assert {row["load"] for row in used} == {load["id"]}
    stock = keeper.get("stock").json()["items"][0]
    assert (stock["on_hand"], stock["reserved"]) == (q("18.875", "lb"), q("2.875", "lb"))
