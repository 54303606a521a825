"""From an empty farm to a record, over HTTP alone, with the example bodies of the documentation."""

import datetime as dt

import pytest
from django.utils import timezone

from orchard.farms.actors import SYSTEM
from orchard.tasks.models import Load
from orchard.tasks.services import loads
from tests.callers import Caller
from tests.factories import FarmFactory

pytestmark = pytest.mark.django_db
LABEL = {
    "name": "Copper hydroxide 30 WG",
    "active_ingredients": [
        {
            "name": "copper hydroxide",
            "content": {"value": "46", "unit": "percent_ww"},
            "metal": {"of": "copper", "content": {"value": "30", "unit": "percent_ww"}},
        }
    ],
    "formulation": "WG",
    "uses": [
        {
            "crops": ["peach", "nectarine"],
            "rate": {"maximum": {"value": "1.6", "unit": "oz_wt/gal"}},
            "stages": [{"from": 93, "to": 53}],
            "re_entry": {"value": "48", "unit": "h"},
        },
        {"crops": ["peach", "nectarine"], "rate": {"maximum": {"value": "12", "unit": "lb/acre"}}},
    ],
}
SEEN = {
    "wind": {"value": "5", "unit": "mph"},
    "temperature": {"value": "52", "unit": "degF"},
    "people_out": True,
}


def made(caller, path, body):
    response = caller.post(path, body)
    assert response.status_code == 201, response.json()
    return response.json()["id"]


def test_a_farm_that_begins_today_can_spray_and_show_its_record():
    manager = Caller(FarmFactory(), "manager")
    now = timezone.now()
    today = now.astimezone(dt.timezone(-dt.timedelta(hours=8))).date()
    block = made(
        manager,
        "blocks",
        {
            "name": "Lower Peach",
            "crop": "peach",
            "trees": 140,
            "row_spacing": {"value": "18", "unit": "ft"},
            "tree_spacing": {"value": "18", "unit": "ft"},
        },
    )
    made(manager, f"blocks/{block}/stages", {"bbch": 97, "observed_on": today.isoformat()})
    worker = made(manager, "workers", {"name": "Teo", "adult": True})
    made(
        manager,
        f"workers/{worker}/qualifications",
        {"kind": "handler_training", "obtained_on": "2026-01-01", "expires_on": "2099-01-01"},
    )
    crew = made(manager, "crews", {"name": "Field crew", "members": [worker]})
    sprayer = made(
        manager, "sprayers", {"name": "S-50", "kind": "handgun", "tank": {"value": "50", "unit": "gal"}}
    )
    made(manager, f"sprayers/{sprayer}/calibrations", {"on": "2026-01-01", "due_on": "2099-01-01"})
    product = made(manager, "products", {"name": "Copper hydroxide 30 WG", "stock_unit": "lb"})
    made(manager, f"products/{product}/labels", {"label": LABEL, "effective_from": "2026-01-01"})
    lot = made(manager, "lots", {"product": product, "number": "C-2305", "expires_on": "2099-05-31"})
    made(
        manager, "stock-movements", {"kind": "receive", "lot": lot, "quantity": {"value": "20", "unit": "lb"}}
    )
    order = "work-orders/" + made(
        manager,
        "work-orders",
        {
            "kind": "spray",
            "block": block,
            "sprayer": sprayer,
            "crew": crew,
            "starts_at": now.isoformat(),
            "spray": {"total": {"value": "196", "unit": "gal"}},
            "targets": ["leaf curl"],
            "products": [{"product": product, "rate": {"value": "1.0", "unit": "oz_wt/gal"}}],
        },
    )
    assert manager.get(order).json()["blocked_by"] == []
    for action, body in (("issue", {}), ("accept", {"revision": 1}), ("start", {"observed": SEEN})):
        response = manager.act(order, action, body)
        assert response.status_code == 200, response.json()
    for number, gallons in ((1, "50"), (2, "50"), (3, "50"), (4, "46")):
        response = manager.act(
            order,
            "record_load",
            {
                "number": number,
                "spray": {"value": gallons, "unit": "gal"},
                "products": [
                    {
                        "product": product,
                        "lots": [{"lot": lot, "amount": {"value": gallons, "unit": "oz_wt"}}],
                    }
                ],
            },
            if_match="*",
        )
        assert response.status_code == 200, response.json()
    loads.deduct_load(load=Load.objects.get(number=1), by=SYSTEM, now=now)

    done = manager.act(order, "finish", {"nothing_unusual": True}, if_match="*")

    assert done.status_code == 200, done.json()
    record = manager.get(f"application-records/{done.json()['application_record']}").json()
    assert record["products"][0]["amount"] == {"value": "196", "unit": "oz_wt"}
    assert record["flags"] == []
    stock = manager.get("stock").json()["items"][0]
    assert (stock["on_hand"], stock["reserved"]) == (
        {"value": "7.75", "unit": "lb"},
        {"value": "0", "unit": "lb"},
    )
    assert manager.get(f"blocks/{block}").json()["last_application"] == record["id"]
    assert manager.get("blocks?in_re_entry=true").json()["items"] != []
    voided = manager.act(f"application-records/{record['id']}", "void", {"reason": "a trial run"})
    assert voided.status_code == 201, voided.json()
    assert manager.get("stock").json()["items"][0]["on_hand"] == {"value": "20", "unit": "lb"}
    assert manager.get("blocks?in_re_entry=true").json()["items"] == []
