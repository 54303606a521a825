"""Lowbell Hollow on a spray day, worked over HTTP by a manager, a storekeeper, a lead and a crew member."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.utils import timezone
from uuid6 import uuid7

from orchard.farms import journal
from orchard.farms.actors import SYSTEM
from orchard.tasks.models import WorkOrder
from scheduling import outbox
from tests.callers import Caller
from tests.stories.farm import CALM, q
from tests.tasks.lowbell import ZONE, Lowbell, lowbell

__all__ = ["CALM", "SULFUR", "Field", "label", "q"]


def label(name: str, formulation: str, *ingredients: dict[str, Any], **use: Any) -> dict[str, Any]:
    """Return a label for peach, nectarine and apple with one row of uses."""
    row = {"crops": ["peach", "nectarine", "apple"], "re_entry": q("4", "h"), **use}
    return {
        "name": name,
        "active_ingredients": list(ingredients),
        "formulation": formulation,
        "signal_word": "caution",
        "protection": {"handler": ["long_sleeves"], "early_entry": ["coveralls", "waterproof_gloves"]},
        "uses": [row],
    }


SULFUR = label(
    "Sulfur 80 WG",
    "WG",
    {"name": "sulfur", "content": q("80", "percent_ww")},
    rate={"maximum": q("4", "kg/ha")},
)


class Field:
    """`pim` manages, `odalys` keeps the store, `teo` leads the crew, `wren` is in it."""

    def __init__(self) -> None:
        self.at: Lowbell = lowbell(now=timezone.now())
        farm = self.at.farm
        self.pim, self.odalys = Caller(farm, "manager"), Caller(farm, "storekeeper")
        self.teo = Caller(farm, "crew_lead", worker=self.at.lead)
        self.wren = Caller(farm, "crew_member", worker=self.at.wren)
        self.juniper = Caller(farm, "adviser")

    def day(self, days: int = 0) -> str:
        """Return the day so many days from today, on the farm."""
        return (self.at.now.astimezone(ZONE).date() + dt.timedelta(days=days)).isoformat()

    def ago(self, minutes: float) -> str:
        """Return the moment so many minutes back."""
        return (self.at.now - dt.timedelta(minutes=minutes)).isoformat()

    # the store and the land

    def product(self, label: dict[str, Any], stock_unit: str = "lb", holds: str | None = None) -> str:
        """Return the id of a product with its label, and a lot of it where it holds any."""
        body = {"name": label["name"], "stock_unit": stock_unit}
        id = made(self.odalys.post("products", body))["id"]
        made(self.odalys.post(f"products/{id}/labels", {"label": label, "effective_from": "2026-01-01"}))
        if holds:
            lot = made(self.odalys.post("lots", {"product": id, "number": f"L-{label['name'][:10]}"}))["id"]
            receipt = {"kind": "receive", "lot": lot, "quantity": q(holds, stock_unit), "reason": "delivery"}
            made(self.odalys.post("stock-movements", receipt))
        return id

    def copper(self, rate: str = "1.0") -> dict[str, Any]:
        """Return the copper of the farm at a rate [oz_wt/gal]."""
        return {"product": str(self.at.copper.id), "rate": q(rate, "oz_wt/gal")}

    def oil(self, percent: str = "1") -> dict[str, Any]:
        """Return the oil of the farm."""
        return {"product": str(self.at.oil.id), "rate": q(percent, "percent_vv")}

    def see(self, block: Any, bbch: int, days: int = 0, **more: Any) -> dict[str, Any]:
        """Return an observation that the lead enters."""
        body = {"bbch": bbch, "observed_on": self.day(days), **more}
        return made(self.teo.post(f"blocks/{block.id}/stages", body))

    def report(self, *products: dict[str, Any], block: Any = None, **more: Any) -> dict[str, Any]:
        """Return the report of a check that writes nothing."""
        body = {
            "block": str((block or self.at.a2).id),
            "sprayer": str(self.at.tank.id),
            "products": list(products),
            "spray": {"total": q("196", "gal")},
            "targets": ["leaf curl"],
            "dry_run": True,
            **more,
        }
        answer = self.pim.post("mix-checks", body)
        assert answer.status_code == 200, answer.json()
        return answer.json()["report"]

    def put_on_paper(self, product: str, amount: dict[str, str], *, days: int, block: Any = None) -> Any:
        """Return the record of a spray that was done so many days ago, entered from paper."""
        end = self.at.now - dt.timedelta(days=days)
        body = {
            "block": str((block or self.at.a2).id),
            "sprayer": str(self.at.tank.id),
            "started_at": (end - dt.timedelta(hours=1)).isoformat(),
            "finished_at": end.isoformat(),
            "spray": {"total": q("196", "gal"), "area": q("1.0413", "acre")},
            "products": [{"product": product, "amount": amount}],
            "targets": ["leaf curl"],
        }
        return made(self.pim.post("application-records", body))

    # the work

    def order(self, *products: dict[str, Any], **more: Any) -> str:
        """Return the path of a new spray order, copper on Lower Peach unless said."""
        body = {
            "kind": "spray",
            "block": str(self.at.a2.id),
            "sprayer": str(self.at.tank.id),
            "crew": str(self.at.crew.id),
            "starts_at": (self.at.now + dt.timedelta(minutes=1)).isoformat(),
            "spray": {"total": q("196", "gal")},
            "products": list(products) or [self.copper()],
            "targets": ["leaf curl"],
            **more,
        }
        return f"work-orders/{made(self.pim.post('work-orders', body))['id']}"

    def other(self, kind: str, **more: Any) -> str:
        """Return the path of an order that is no spray."""
        body = {"kind": kind, "crew": str(self.at.crew.id), "starts_at": self.ago(0), **more}
        return f"work-orders/{made(self.pim.post('work-orders', body))['id']}"

    def do(self, path: str, action: str, body: dict[str, Any] | None = None) -> dict[str, Any]:
        """Do an action that is to succeed: the manager issues and cancels, the lead does the rest."""
        who = self.pim if action in ("issue", "cancel") else self.teo
        answer = who.act(path, action, body)
        assert answer.status_code == 200, answer.json()
        return answer.json()

    def issued_before(self, path: str, minutes: float) -> None:
        """Let an order have been issued so long ago."""
        order = WorkOrder.objects.get(id=path.split("/")[1])
        since = self.at.now - dt.timedelta(minutes=minutes)
        journal.change(order, by=SYSTEM, now=self.at.now, issued_at=since)

    def accepted(self, *products: dict[str, Any], **more: Any) -> str:
        """Return an order that was issued five hours ago and is accepted."""
        path = self.order(*products, **more)
        self.do(path, "issue")
        self.issued_before(path, 300)
        self.do(path, "accept")
        return path

    def started(self, *products: dict[str, Any], **more: Any) -> str:
        """Return an order that was started two hours ago."""
        path = self.accepted(*products, **more)
        self.do(path, "start", {"observed": CALM, "at": self.ago(120)})
        return path

    def load(self, number: int, gallons: str, **more: Any) -> dict[str, Any]:
        """Return what is told of a load of copper."""
        return {
            "id": str(uuid7()),
            "number": number,
            "spray": q(gallons, "gal"),
            "products": [{"product": str(self.at.copper.id)}],
            **more,
        }

    def mixed(self, path: str, *gallons: str) -> None:
        """Tell of the loads, in their order, and let the background work be done."""
        for number, one in enumerate(gallons, 1):
            at = self.ago(100 - 10 * number)
            answer = self.wren.act(path, "record_load", self.load(number, one, at=at), if_match="*")
            assert answer.status_code == 200, answer.json()
        outbox.drain()

    def one_more(self, path: str, number: int, gallons: str) -> None:
        """Tell of a load that was not planned, an ounce of copper a gallon from the second lot."""
        lots = [{"lot": str(self.at.second_lot.id), "amount": q(gallons, "oz_wt")}]
        products = [{"product": str(self.at.copper.id), "lots": lots}]
        body = self.load(number, gallons, products=products, at=self.ago(30))
        answer = self.wren.act(path, "record_load", body, if_match="*")
        assert answer.status_code == 200, answer.json()

    def finished(self, path: str, **told: Any) -> dict[str, Any]:
        """Return the record of an order that is ended."""
        done = self.do(path, "finish", {"nothing_unusual": True, **told})
        return self.pim.get(f"application-records/{done['application_record']}").json()

    def washed(self, sprayer: Any = None) -> None:
        """Wash a sprayer, by an order of its own."""
        path = self.other("equipment_wash", sprayer=str((sprayer or self.at.tank).id))
        for action in ("issue", "accept", "start", "finish"):
            self.do(path, action)


def made(answer: Any) -> dict[str, Any]:
    """Return what was made."""
    assert answer.status_code == 201, answer.json()
    return answer.json()


def stops(answer: Any) -> set[str]:
    """Return the findings that a refusal names."""
    return {fault["finding"]["id"] for fault in answer.json()["errors"] if fault["code"] == "mix_stop"}


def found(report: dict[str, Any], severity: str | None = None) -> set[str]:
    """Return the ids of a report's findings."""
    return {one["id"] for one in report["findings"] if severity in (None, one["severity"])}
