"""An invented farm of a TOML file, set up over HTTP by its own people, and the words to work it with."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from orchard.blocks.models import Block
from orchard.crews.models import Worker
from scheduling import outbox
from tests.callers import Caller
from tests.clock import Clock
from tests.factories import FarmFactory

HERE = Path(__file__).parent
CALM = {
    "wind": {"value": "5", "unit": "mph"},
    "wind_direction": 225,
    "temperature": {"value": "52", "unit": "degF"},
    "minimum_next_24h": {"value": "41", "unit": "degF"},
    "humidity_percent": "60",
    "rain_within_h": "60",
    "inversion": False,
    "people_out": True,
    "source": "hand-held meter",
}
LONG_AGO, FAR_AWAY = "2026-01-15", "2028-01-14"


def q(value: str, unit: str) -> dict[str, str]:
    """Return a quantity as JSON writes it."""
    return {"value": value, "unit": unit}


def table(name: str) -> dict[str, Any]:
    """Return what a file of this folder says."""
    return tomllib.loads((HERE / f"{name}.toml").read_text(encoding="utf-8"))


class Invented:
    """A farm with callers by first name (`farm.pim`), and ids of its things by their short names."""

    def __init__(self, name: str, clock: Clock, since: str = LONG_AGO) -> None:
        self.said, self.clock, self.since = table(name), clock, since
        columns = {key: self.said[key] for key in ("name", "zone", "units", "region", "measures")}
        self.farm = FarmFactory(**columns)
        self.head = Caller(self.farm, "owner")
        self.workers: dict[str, str] = {}
        self._people()
        self.crew = self._crew()
        self.sprayers = {key: self._sprayer(key, row) for key, row in self.said["sprayers"].items()}
        self.blocks = {
            key: self.made(self.head, "blocks", row)["id"] for key, row in self.said["blocks"].items()
        }
        self.products: dict[str, str] = {}
        self.lots: dict[str, str] = {}
        for row in self.said["lots"]:
            self.receive(**row)

    # setting up

    def _people(self) -> None:
        for key, row in self.said["people"].items():
            worker = None
            if row.get("works"):
                body = {"name": row["name"], "adult": row.get("adult", True)}
                self.workers[key] = self.made(self.head, "workers", body)["id"]
                worker = Worker.objects.get(farm=self.farm, id=self.workers[key])
            if row.get("trained"):
                training = {"kind": "handler_training", "obtained_on": self.since, "expires_on": FAR_AWAY}
                self.made(self.head, f"workers/{self.workers[key]}/qualifications", training)
            setattr(self, key, Caller(self.farm, row["role"], worker=worker))

    def _crew(self) -> str:
        row = self.said["crew"]
        members = [self.workers[key] for key in row["members"]]
        return self.made(self.head, "crews", {"name": row["name"], "members": members})["id"]

    def _sprayer(self, key: str, row: dict[str, Any]) -> str:
        id: str = self.made(self.head, "sprayers", {"name": key, **row})["id"]
        checked = {"on": self.since, "due_on": FAR_AWAY}
        self.made(self.head, f"sprayers/{id}/calibrations", checked)
        return id

    def product(self, key: str) -> str:
        """Return the id of a product of the shared table, entered with its label where it is new."""
        if key not in self.products:
            row = table("products")[key]
            unit = row["us" if self.said["units"] == "us" else "metric"]
            made = self.made(self.head, "products", {"name": row["name"], "stock_unit": unit})
            self.made(
                self.head,
                f"products/{made['id']}/labels",
                {"label": row["label"], "effective_from": self.since},
            )
            self.products[key] = made["id"]
        return self.products[key]

    def receive(self, product: str, number: str, holds: dict[str, str], **more: Any) -> None:
        """Take a lot in."""
        body = {"product": self.product(product), "number": number, **more}
        self.lots[number] = self.made(self.head, "lots", body)["id"]
        receipt = {"kind": "receive", "lot": self.lots[number], "quantity": holds, "reason": "delivery"}
        self.made(self.head, "stock-movements", receipt)

    # asking

    def made(self, who: Caller, path: str, body: Any) -> dict[str, Any]:
        """Return what was made; anything else is a fault of the test."""
        answer = who.post(path, body)
        assert answer.status_code == 201, (path, answer.json())
        found: dict[str, Any] = answer.json()
        return found

    def block(self, key: str) -> dict[str, Any]:
        """Return a block as it is read."""
        found: dict[str, Any] = self.head.get(f"blocks/{self.blocks[key]}").json()
        return found

    def lot(self, number: str) -> dict[str, str]:
        """Return what a lot holds."""
        found: dict[str, str] = self.head.get(f"lots/{self.lots[number]}").json()["on_hand"]
        return found

    def look(self, block: str, bbch: int, leaf_drop: str | None = None) -> str:
        """Write down what is seen today; return the observation's id."""
        body: dict[str, Any] = {"bbch": bbch, "observed_on": self.clock.moment()[:10]}
        if leaf_drop:
            body["leaf_drop_percent"] = leaf_drop
        return str(self.made(self.head, f"blocks/{self.blocks[block]}/stages", body)["id"])

    def mix(self, *parts: tuple[str, str, str]) -> list[dict[str, Any]]:
        """Return products with their rates: `("P1", "1.0", "oz_wt/gal")`."""
        return [{"product": self.product(key), "rate": q(value, unit)} for key, value, unit in parts]

    def check(self, block: str, sprayer: str, products: list[dict[str, Any]], spray: Any, **more: Any) -> Any:
        """Answer to a mix check of the manager."""
        body = {
            "block": self.blocks[block],
            "sprayer": self.sprayers[sprayer],
            "products": products,
            "spray": spray,
            "at": self.clock.moment(),
            **more,
        }
        return self.head.post("mix-checks", body)

    def report(self, *asked: Any, **more: Any) -> dict[str, Any]:
        """Return the report of a check that is made."""
        answer = self.check(*asked, **more)
        assert answer.status_code == 201, answer.json()
        found: dict[str, Any] = answer.json()["report"]
        return found

    # working

    def order(self, kind: str, block: str | None = None, sprayer: str | None = None, **more: Any) -> str:
        """Return the path of a draft for today."""
        body: dict[str, Any] = {"kind": kind, "crew": self.crew, "starts_at": self.clock.moment(), **more}
        if block:
            body["block"] = self.blocks[block]
        if sprayer:
            body["sprayer"] = self.sprayers[sprayer]
        return f"work-orders/{self.made(self.head, 'work-orders', body)['id']}"

    def do(self, who: Caller, path: str, action: str, body: Any = None) -> dict[str, Any]:
        """Do an action that is to succeed."""
        answer = who.act(path, action, body)
        assert answer.status_code == 200, (action, answer.json())
        outbox.drain(now=self.clock.now)
        found: dict[str, Any] = answer.json()
        return found

    def begun(self, who: Caller, path: str, **observed: Any) -> dict[str, Any]:
        """Issue, accept and start an order on a calm day."""
        self.do(self.head, path, "issue")
        self.do(who, path, "accept")
        return self.do(who, path, "start", {"observed": {**CALM, **observed}})

    def mix_all(self, who: Caller, path: str) -> None:
        """Record every planned load as it was planned."""
        order = self.head.get(path).json()
        for load in order["loads_planned"]:
            products = [{"product": one["id"]} for one in load["products"]]
            self.do(
                who,
                path,
                "record_load",
                {"number": load["number"], "spray": load["spray"], "products": products},
            )

    def spray(
        self,
        who: Caller,
        block: str,
        sprayer: str,
        products: list[dict[str, Any]],
        spray: Any,
        **more: Any,
    ) -> dict[str, Any]:
        """Do a whole spray as planned; return the finished order."""
        more.setdefault("targets", ["leaf curl"])
        path = self.order("spray", block, sprayer, products=products, spray=spray, **more)
        self.begun(who, path)
        self.mix_all(who, path)
        return self.do(who, path, "finish", {"nothing_unusual": True})

    def wash(self, who: Caller, sprayer: str) -> None:
        """Wash a sprayer."""
        path = self.order("equipment_wash", sprayer=sprayer)
        self.do(self.head, path, "issue")
        self.do(who, path, "accept")
        self.do(who, path, "start", {"observed": {}})
        self.do(who, path, "finish", {})

    def row(self, block: str) -> Block:
        """Return a block's row."""
        return Block.objects.get(farm=self.farm, id=self.blocks[block])


def findings(report: dict[str, Any], severity: str | None = None) -> list[str]:
    """Return the ids of a report's findings, of one severity where one is given."""
    return [one["id"] for one in report["findings"] if severity in (None, one["severity"])]


def total(report: dict[str, Any], product: str) -> dict[str, Any]:
    """Return the total of one product in a report."""
    found: dict[str, Any] = next(one for one in report["totals"] if one["id"] == product)
    return found
