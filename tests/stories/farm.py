"""An invented farm that is set up and worked over HTTP alone, as people and phones do it."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from typing import Any

from django.utils import timezone

from scheduling import outbox
from tests.callers import Caller
from tests.factories import FarmFactory

ZONE = "America/Los_Angeles"
COPPER_GTIN, OIL_GTIN = "09506000134352", "00614141000012"


def q(value: str, unit: str) -> dict[str, str]:
    """Return a quantity as JSON writes it."""
    return {"value": value, "unit": unit}


COPPER_LABEL = {
    "name": "Copper hydroxide 30 WG",
    "active_ingredients": [
        {
            "name": "copper hydroxide",
            "content": q("46", "percent_ww"),
            "metal": {"of": "copper", "content": q("30", "percent_ww")},
        }
    ],
    "formulation": "WG",
    "uses": [
        {
            "crops": ["peach", "nectarine"],
            "rate": {"maximum": q("1.6", "oz_wt/gal")},
            "stages": [{"from": 93, "to": 53}],
            "re_entry": q("48", "h"),
        },
        {"crops": ["peach", "nectarine"], "rate": {"maximum": q("12", "lb/acre")}},
    ],
}
OIL_LABEL = {
    "name": "Mineral oil 98 EC",
    "active_ingredients": [{"name": "mineral oil", "content": q("98", "percent_vv")}],
    "formulation": "EC",
    "uses": [{"crops": ["peach", "nectarine"], "rate": {"maximum": q("2", "percent_vv")}}],
}
CALM = {
    "wind": q("5", "mph"),
    "temperature": q("52", "degF"),
    "minimum_next_24h": q("41", "degF"),
    "humidity_percent": "60",
    "rain_within_h": "60",
    "inversion": False,
    "people_out": True,
}


class Hollow:
    """The farm with those who work on it: `odalys` keeps the store, `pim` manages, `teo` leads the crew."""

    def __init__(self) -> None:
        self.farm = FarmFactory(name="Lowbell Hollow Orchard", zone=ZONE)
        self.odalys = Caller(self.farm, "storekeeper")
        self.pim = Caller(self.farm, "manager")
        self.teo = Caller(self.farm, "crew_lead")
        self.today = timezone.now().astimezone(zoneinfo.ZoneInfo(ZONE)).date()

    def day(self, days: int) -> str:
        """Return the day so many days from today."""
        return (self.today + dt.timedelta(days=days)).isoformat()

    # the store

    def product(self, label: dict[str, Any], stock_unit: str, **more: Any) -> str:
        """Return the id of a new product with its label."""
        body = {"name": label["name"], "stock_unit": stock_unit, **more}
        id = _made(self.odalys.post("products", body))["id"]
        _made(self.odalys.post(f"products/{id}/labels", {"label": label, "effective_from": "2026-01-01"}))
        return id

    def copper(self) -> str:
        """Return the id of a powder kept in pounds."""
        return self.product(COPPER_LABEL, "lb", gtins=[COPPER_GTIN])

    def oil(self) -> str:
        """Return the id of a liquid kept in gallons."""
        return self.product(OIL_LABEL, "gal")

    def lot(self, product: str, number: str, holds: dict[str, str] | None = None, **more: Any) -> str:
        """Return the id of a lot that has received so much."""
        id = _made(self.odalys.post("lots", {"product": product, "number": number, **more}))["id"]
        if holds:
            _made(self.receive(id, holds))
        return id

    def receive(self, lot: str, quantity: dict[str, str], **headers: str) -> Any:
        """Answer to a receipt that is entered."""
        body = {"kind": "receive", "lot": lot, "quantity": quantity, "reason": "delivery 4471"}
        return self.odalys.post("stock-movements", body, **headers)

    def on_hand(self, lot: str) -> dict[str, str]:
        """Return what a lot holds."""
        return self.odalys.get(f"lots/{lot}").json()["on_hand"]

    def in_stock(self, product: str) -> dict[str, Any]:
        """Return the product's row of the stock view."""
        [row] = self.odalys.get(f"stock?product={product}").json()["items"]
        return row

    # the field

    def ready_to_spray(self) -> dict[str, str]:
        """Set up a block, a crew that may spray and a sprayer of 400 gal; return what an order names."""
        ground = {"name": "Lower Peach", "crop": "peach", "trees": 300, "area": q("3", "acre")}
        block = _made(self.pim.post("blocks", ground))["id"]
        _made(self.pim.post(f"blocks/{block}/stages", {"bbch": 97, "observed_on": self.day(0)}))
        worker = _made(self.pim.post("workers", {"name": "Wren Saltmarsh", "adult": True}))["id"]
        training = {
            "kind": "handler_training",
            "obtained_on": self.day(-100),
            "expires_on": self.day(200),
        }
        _made(self.pim.post(f"workers/{worker}/qualifications", training))
        crew = _made(self.pim.post("crews", {"name": "Field crew", "members": [worker]}))["id"]
        tank = {"name": "S-400", "kind": "handgun", "tank": q("400", "gal")}
        sprayer = _made(self.pim.post("sprayers", tank))["id"]
        checked = {"on": self.day(-10), "due_on": self.day(300)}
        _made(self.pim.post(f"sprayers/{sprayer}/calibrations", checked))
        return {"block": block, "crew": crew, "sprayer": sprayer}

    def draft(
        self,
        where: dict[str, str],
        product: str,
        rate: dict[str, str],
        gallons: str,
        *,
        in_minutes: int = 1,
    ) -> str:
        """Return the path of a new spray order for the next minute, or so many from now."""
        body = {
            "kind": "spray",
            **where,
            "starts_at": (timezone.now() + dt.timedelta(minutes=in_minutes)).isoformat(),
            "spray": {"total": q(gallons, "gal")},
            "products": [{"product": product, "rate": rate}],
            "targets": ["leaf curl"],
        }
        return f"work-orders/{_made(self.pim.post('work-orders', body))['id']}"

    def do(self, path: str, action: str, body: dict[str, Any] | None = None) -> Any:
        """Do an action that is to succeed: the manager issues and cancels, the lead does the rest."""
        who = self.pim if action in ("issue", "cancel") else self.teo
        answer = who.act(path, action, body)
        assert answer.status_code == 200, answer.json()
        return answer.json()

    def spray(self, path: str, products: list[dict[str, Any]], gallons: str) -> None:
        """Accept and start an issued order, tell of its one load, and let the background work be done."""
        self.do(path, "accept")
        self.do(path, "start", {"observed": CALM})
        self.do(path, "record_load", {"number": 1, "spray": q(gallons, "gal"), "products": products})
        self.drain()

    def drain(self) -> None:
        """Let the background work be done."""
        outbox.drain()


def _made(answer: Any) -> dict[str, Any]:
    assert answer.status_code == 201, answer.json()
    return answer.json()
