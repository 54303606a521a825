"""A farm with a thing of every kind and an order in every state, and what was sent to make them."""

from __future__ import annotations

import base64
import re
from collections import defaultdict
from typing import Any

import pytest

from scheduling import outbox
from tests.callers import Caller
from tests.clock import Clock
from tests.invented.farm import Invented, q

TODAY = "2026-12-03 09:00"
SPRAY = {"A1": ("S-50", "1.25"), "A2": ("S-50", "1.4"), "A3": ("BP-4", "0.4")}
CSV = {
    "products": "name,stock_unit\nSoap 50 SL,gal\n",
    "lots": "product,number\nSoap 50 SL,S-1\n",
    "opening-balances": "product,number,quantity,quantity_unit\nSoap 50 SL,S-1,2,gal\n",
}
ID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
Body = dict[str, Any]


def place(path: str) -> str:
    """Return an address with every id of it as `{}`: the key of what belongs to one kind of address."""
    return ID.sub("{}", path.partition("?")[0])


class Known(Invented):
    """Remembers each body that was taken, by the kind of address, to make others from.

    :ivar fit: by kind of address, the ids of what stands where that can be done now, where few things do
    """

    def __init__(self, patches: pytest.MonkeyPatch) -> None:
        self.bodies: dict[str, list[Body]] = defaultdict(list)
        self.fit: dict[str, tuple[str, ...]] = {}
        super().__init__("lowbell_hollow", Clock(patches, TODAY))

    def made(self, who: Caller, path: str, body: Any) -> dict[str, Any]:
        answer = who.post(path, body)
        assert answer.status_code in (200, 201, 202), (path, answer.json())
        self.bodies[place(who.at(path))].append(body)
        outbox.drain(now=self.clock.now)
        found: dict[str, Any] = answer.json()
        return found

    def do(self, who: Caller, path: str, action: str, body: Any = None) -> dict[str, Any]:
        found = super().do(who, path, action, body)
        self.bodies[place(f"{who.at(path)}/actions/{action}")].append(body or {})
        return found

    def sent(self, kind: str) -> None:
        """Send a file of the store."""
        answer = self.head.client.generic(
            "POST",
            self.head.at(f"imports/{kind}"),
            CSV[kind],
            content_type="text/csv",
            headers={"authorization": f"Bearer {self.head.secret}"},
        )
        assert answer.status_code == 201, answer.content


def planted(patches: pytest.MonkeyPatch) -> Known:
    """Return the farm, a few days into its winter.

    :param patches: what sets the clock; whoever goes on to other things undoes it
    """
    farm = Known(patches)
    for block, percent in (("A1", "92"), ("A2", "96"), ("A3", "98")):
        farm.look(block, 97, percent)
    _weather(farm)
    _store(farm)
    _plans(farm)
    _orders(farm)
    _people(farm)
    return farm


def _weather(farm: Known) -> None:
    hours = [
        {
            "at": f"2026-12-{day:02}T{hour:02}:00:00-08:00",
            "kind": "observed" if day < 3 else "forecast",
            "temperature": q("52", "degF"), "humidity_percent": "60", "wind": q("5", "mph"),
            "gust": q("7", "mph"), "wind_direction": 225, "rain": q("0", "mm"), "leaf_wet": False,
        }
        for day in range(1, 8) for hour in range(24)
    ]  # fmt: skip
    days = [
        {
            "on": f"2026-12-{day:02}",
            "kind": "observed" if day < 3 else "forecast",
            "minimum": q("4", "degC"),
            "maximum": q("16", "degC"),
            "mean": q("10", "degC"),
            "rain": q("0", "mm"),
            "wind": q("5", "mph"),
            "humidity_percent": "60",
        }
        for day in range(1, 30)
    ]
    for kind, rows in (("hours", hours), ("days", days)):
        farm.made(farm.head, f"weather/{kind}", {"items": rows})
        farm.bodies[place(farm.head.at(f"weather/{kind}"))][:] = [{"items": rows[:2]}]


def _store(farm: Known) -> None:
    head, lot = farm.head, farm.lots["C-2305"]
    farm.made(head, "store-places", {"name": "shed", "locked": False, "bund": q("4", "gal")})
    for kind in CSV:
        farm.sent(kind)
    product = f"products/{farm.product('P1')}"
    papers = f"{product}/documents"
    content = base64.b64encode(b"%PDF-1.4 label").decode()
    farm.made(
        head, papers, {"kind": "label", "name": "l.pdf", "media_type": "application/pdf", "content": content}
    )
    [label] = head.get(f"{product}/labels").json()["items"]
    farm.made(head, f"{product}/labels", {"label": label["label"], "effective_from": "2027-01-01"})
    taken = {"kind": "dispose", "lot": lot, "quantity": q("1", "lb"), "reason": "a torn bag"}
    movement = farm.made(head, "stock-movements", taken)
    farm.made(
        head, "stock-movements", {"kind": "reverse", "reverses": movement["id"], "reason": "still good"}
    )
    farm.made(head, "stock-movements", {**taken, "kind": "adjust", "quantity": q("-0.5", "lb")})
    farm.made(head, "stock-movements", {**taken, "kind": "transfer", "location": "barn"})
    farm.made(head, "stock-movements", {**taken, "kind": "receive"})
    line = {"lot": lot, "counted": q("18", "lb")}
    count = farm.made(farm.odalys, "stocktakes", {"counts": [line]})
    farm.made(farm.odalys, f"stocktakes/{count['id']}/counts", {**line, "counted": q("19", "lb")})
    farm.made(head, "container-records", {"product": farm.product("P1"), "kind": "issued", "count": 2})


def _people(farm: Known) -> None:
    head, people = farm.head, [farm.workers["teo"], farm.workers["wren"]]
    farm.made(head, "notice-rules", {"name": "the school", "to": "school", "told_before": q("1", "h")})
    farm.made(head, "briefings", {"topics": ["drift"], "present": people, "acknowledged": people[:1]})
    farm.made(head, "incidents", {"kind": "spill", "place": "at the gate"})
    farm.made(head, "webhooks", {"url": "https://93.184.216.34/orchard", "events": ["*"]})
    farm.made(head, "calendar-feeds", {"name": "phone"})
    farm.made(head, "tokens", {"name": "phone", "role": "crew_member"})
    member = {"email": "new@farm.example", "name": "New Person", "role": "adviser"}
    farm.made(head, "members", member)
    target = {"target": "leaf curl", "method": "visual", "sample_size": 100, "count": 3}
    farm.made(head, f"blocks/{farm.blocks['A1']}/scouting", {**target, "observed_at": farm.clock.moment()})


def _plans(farm: Known) -> None:
    mix = farm.mix(("P1", "1.0", "oz_wt/gal"))
    line = {
        "title": "Leaf-fall copper", "kind": "spray", "crops": ["peach", "nectarine"],
        "leaf_drop_minimum_percent": "90", "products": mix, "volume_per_tree": q("1.4", "gal"),
    }  # fmt: skip
    season = {"name": "Winter", "from": "2026-11-01", "until": "2027-05-31", "lines": [line]}
    plan = farm.made(farm.head, "programmes", season)
    when = {"from": "2026-12-04T00:00:00-08:00", "until": "2026-12-09T00:00:00-08:00"}
    farm.made(farm.head, "planning-runs", {"programme": plan["id"], **when})
    answer = farm.head.post("planning-runs", {"programme": plan["id"], **when})  # waits to be worked out
    assert answer.status_code == 202, answer.json()


def _orders(farm: Known) -> None:
    """Bring one spray to each state, and a few of the other kinds along."""
    mix, head, teo = farm.mix(("P1", "1.0", "oz_wt/gal")), farm.head, farm.teo
    checked = {
        "block": farm.blocks["A1"], "sprayer": farm.sprayers["S-50"], "products": mix,
        "spray": {"total": q("50", "gal")}, "at": farm.clock.moment(),
    }  # fmt: skip
    farm.made(head, "mix-checks", checked)
    sulfur = farm.made(
        head,
        "mix-checks",
        {**checked, "products": farm.mix(("P2", "1", "percent_vv"), ("P3", "5", "lb/acre"))},
    )
    stops = [
        one
        for one in sulfur["report"]["findings"]
        if one["severity"] == "stop" and one["basis"] == "published"
    ]
    for stop in stops[:1]:
        words = {"reason": "the adviser has tried it here", "reference": "letter of 3 December"}
        about = {"mix_check": sulfur["id"], "finding": stop["id"], "products": stop["products"]}
        farm.made(head, "overrides", {**about, **words})

    def spray(block: str) -> str:
        sprayer, volume = SPRAY[block]
        amount = {"volume_per_tree": q(volume, "gal")}
        return farm.order("spray", block, sprayer, products=mix, spray=amount, targets=["leaf curl"])

    spray("A1")
    farm.order("leaf_removal", "A2")
    farm.order("equipment_wash", sprayer="S-50")
    farm.do(head, spray("A3"), "issue")
    accepted = spray("A3")
    farm.do(head, accepted, "issue")
    farm.do(teo, accepted, "accept")
    held = spray("A3")
    farm.do(head, held, "issue")
    farm.do(teo, held, "hold", {"reason": "wind"})
    dropped = spray("A3")
    farm.do(head, dropped, "cancel", {"reason": "planned twice"})
    farm.made(head, "notices", {"work_order": dropped.split("/")[1], "who": "families", "how": "email"})
    under_way = spray("A2")
    farm.begun(teo, under_way)
    farm.do(
        teo,
        under_way,
        "record_load",
        {"number": 1, "spray": q("50", "gal"), "products": [{"product": farm.product("P1")}]},
    )
    farm.do(teo, under_way, "hold", {"reason": "wind"})
    farm.do(teo, under_way, "resume", {})
    lots = [{"lot": farm.lots["C-2201"], "amount": q("20", "lb")}]
    short = {
        "number": 2,
        "spray": q("50", "gal"),
        "products": [{"product": farm.product("P1"), "lots": lots}],
    }
    farm.do(teo, under_way, "record_load", short)
    told = place(teo.at(f"{under_way}/actions/record_load"))
    farm.fit[told] = tuple(ID.findall(teo.at(under_way)))
    farm.bodies[told][:] = [
        {"number": 3, "spray": q("50", "gal"), "products": [{"product": farm.product("P1")}]}
    ]
    twice = teo.act(under_way, "record_load", {**short, "spray": q("40", "gal")}, if_match="*")
    assert twice.status_code == 409, twice.content
    done = farm.spray(teo, "A3", "BP-4", mix, {"volume_per_tree": q("0.4", "gal")})
    record = f"application-records/{done['application_record']}"
    words = {"reason": "the wind was read again", "changes": {"note": "from the west"}}
    farm.bodies[place(head.at(f"{record}/actions/correct"))].append(words)
    farm.bodies[place(head.at(f"{record}/actions/void"))].append({"reason": "the wrong block"})
