"""In which order things go into the tank, step by step, with amounts for the first load.

Places come from published orders (rules/order.toml): our cautious default decides, and where a publisher
would turn two of these products round a note says so. What a label says of order comes before all of that.
"""

from __future__ import annotations

import heapq
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, Protocol
from weakref import WeakKeyDictionary

from mixing import chemistry
from mixing.catalogue import Text
from mixing.findings import Basis, Finding, Severity
from mixing.formulation_types import formulation_type
from mixing.labels import Label
from mixing.quantities import EXACT, Quantity
from mixing.request import MixRequest, Product, SprayerKind

TABLE = Path(__file__).parent / "rules" / "order.toml"
BY_HAND = frozenset((SprayerKind.HAND_PUMP, SprayerKind.BACKPACK))
OWN_PLACE = frozenset(
    (
        "water_conditioner",
        "compatibility_agent",
        "antifoam",
        "drift_retardant",
        "oil",
        "surfactant",
        "sticker",
        "nutrient",
    )
)


class Dose(Protocol):
    """What the order needs of one product of a load."""

    @property
    def id(self) -> str: ...
    @property
    def exact(self) -> Quantity | None: ...


class Load(Protocol):
    """What the order needs of a load."""

    @property
    def spray(self) -> Quantity: ...
    @property
    def water(self) -> Quantity: ...
    @property
    def products(self) -> Sequence[Dose]: ...


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do. `action` is `fill`, `add`, `wait` or `agitate`; None where a part does not apply."""

    action: str
    what: str | None = None
    product: str | None = None
    amount: Quantity | None = None
    duration: Quantity | None = None
    note: Text | None = None

    def as_json(self, number: int, language: str) -> dict[str, Any]:
        """Return the step as it stands in the report."""
        step: dict[str, Any] = {"step": number, "action": self.action}
        if self.what is not None:
            step["what"] = self.what
        if self.product is not None:
            step["product"] = self.product
        if self.amount is not None:
            step["amount"] = self.amount.as_json()
        if self.duration is not None:
            step["for"] = self.duration.as_json()
        if self.note is not None:
            step["note"] = self.note.render(language)
        return step


@dataclass(frozen=True, slots=True)
class Profile:
    """One published order: the publisher, and the step of each place that it speaks of."""

    id: str
    publisher: str
    ranks: Mapping[str, int]
    start_share: tuple[Decimal, Decimal] | None


@dataclass(frozen=True, slots=True)
class Practice:
    """Shares and times that are the same for every tank."""

    start_share: Decimal
    settle: Quantity
    packet: Quantity
    last: Quantity


def steps(
    request: MixRequest, loads: Sequence[Load], *, premix_water: Quantity | None = None
) -> tuple[tuple[Step, ...], tuple[Finding, ...]]:
    """Return the steps for the first load, and what is to be said of the order.

    :param premix_water: for a hose-end sprayer of fixed ratio, the water of the premix
    Where labels contradict each other there is no order to follow, hence no steps.
    """
    products = request.products
    edges = label_edges(products)
    sequence = arrange(products, edges)
    if sequence is None:
        return (), (_contradiction(products, edges),)
    findings = (*_about_products(products), *_disagreements(sequence, edges))
    first = loads[0] if loads else None
    if request.sprayer.is_hose_end:
        return _jar_steps(request, sequence, first, premix_water), findings
    return _tank_steps(request, sequence, first), findings


def arrange(
    products: Sequence[Product], edges: frozenset[tuple[str, str]], profile: str | None = None
) -> tuple[Product, ...] | None:
    """Return the products in order: label edges first, then the places of the profile, then ids.

    :param edges: (id that goes in before, id that goes in after)
    :return: None where the edges run in a circle
    """
    ranks = profiles()[profile or default_profile()].ranks
    by_id = {product.id: product for product in products}
    waits = dict.fromkeys(by_id, 0)
    for _, after in edges:
        waits[after] += 1
    ready = [(rank_of(by_id[id].label, ranks), id) for id, open_edges in waits.items() if not open_edges]
    heapq.heapify(ready)
    placed: list[Product] = []
    while ready:
        _, id = heapq.heappop(ready)
        placed.append(by_id[id])
        for before, after in edges:
            if before == id:
                waits[after] -= 1
                if not waits[after]:
                    heapq.heappush(ready, (rank_of(by_id[after].label, ranks), after))
    return tuple(placed) if len(placed) == len(products) else None


def rank_of(label: Label, ranks: Mapping[str, int]) -> int:
    """Return the step of a label in a profile; what it does not name goes in with the unknown, late."""
    found = ranks.get(place_of(label))
    return ranks.get("unknown", len(ranks)) if found is None else found


_PLACES: WeakKeyDictionary[Label, str] = WeakKeyDictionary()


def place_of(label: Label) -> str:
    """Return what a product counts as in a mixing order: `packet`, an adjuvant kind, `oil`, or its code."""
    found = _PLACES.get(label)
    if found is None:
        found = _PLACES[label] = _place_of(label)
    return found


def _place_of(label: Label) -> str:
    if label.packet:
        return "packet"
    if label.adjuvant in OWN_PLACE:
        return str(label.adjuvant)
    parts = chemistry.facts(label).parts
    if parts and all("oil" in part for part in parts):
        return "oil"
    code = formulation_type(label.formulation)
    if parts and all("nutrient" in part for part in parts) and "dry" not in code.groups:
        return "nutrient"
    return code.code if code.diluted_in == "water" else "unknown"


def label_edges(products: Sequence[Product]) -> frozenset[tuple[str, str]]:
    """Return (before, after) for every order that a label asks of a partner in this tank."""
    edges = set()
    for product in products:
        mixing = product.label.mixing
        if mixing is None or not (mixing.order_before or mixing.order_after):
            continue
        for partner in products:
            if partner is product or partner.label.same_product == product.label.same_product:
                continue
            names = chemistry.groups(partner.label)
            if _meets(mixing.order_before, names):
                edges.add((product.id, partner.id))
            if _meets(mixing.order_after, names):
                edges.add((partner.id, product.id))
    return frozenset(edges)


def _meets(whats: Iterable[str], names: frozenset[str]) -> bool:
    return any(what.casefold() in names for what in whats)


def _contradiction(products: Sequence[Product], edges: frozenset[tuple[str, str]]) -> Finding:
    circle = {product.id for product in products}
    while True:
        led = {after for before, after in edges if before in circle}
        leading = {before for before, after in edges if after in circle}
        if circle <= led & leading:
            break
        circle &= led & leading
    names = [product.label.name for product in products if product.id in circle]
    return Finding(
        id="order.labels-contradict",
        severity=Severity.STOP,
        basis=Basis.LABEL,
        products=tuple(product.id for product in products if product.id in circle),
        parameters={"products": ", ".join(names)},
    )


def _about_products(products: Sequence[Product]) -> Iterable[Finding]:
    for product in products:
        if place_of(product.label) != "unknown":
            continue
        code = formulation_type(product.label.formulation)
        if code.diluted_in in ("none", "oil"):
            yield Finding(
                id="order.not-for-water",
                severity=Severity.CAUTION,
                basis=Basis.PUBLISHED,
                products=(product.id,),
                parameters={"product": product.label.name, "code": code.code, "formulation": code.name},
                source_key="formulations",
            )
        else:
            yield Finding(
                id="order.formulation-not-stated",
                severity=Severity.CAUTION,
                basis=Basis.PRACTICE,
                products=(product.id,),
                parameters={"product": product.label.name},
            )


def _disagreements(sequence: Sequence[Product], edges: frozenset[tuple[str, str]]) -> Iterable[Finding]:
    for place, first in enumerate(sequence):
        for second in sequence[place + 1 :]:
            publishers = dissenters(place_of(first.label), place_of(second.label))
            if publishers and (first.id, second.id) not in edges:
                yield Finding(
                    id="order.publishers-differ",
                    severity=Severity.NOTE,
                    basis=Basis.PUBLISHED,
                    products=(first.id, second.id),
                    parameters={
                        "first": first.label.name,
                        "second": second.label.name,
                        "publishers": "; ".join(publishers),
                    },
                    source_key="sportsfield",
                )


@lru_cache(maxsize=4096)
def dissenters(first: str, second: str) -> tuple[str, ...]:
    """Return the publishers whose order puts the second place before the first."""
    return tuple(
        profile.publisher
        for profile in profiles().values()
        if profile.id != default_profile()
        and first in profile.ranks
        and second in profile.ranks
        and profile.ranks[second] < profile.ranks[first]
    )


# From an order to steps


def _tank_steps(request: MixRequest, sequence: Sequence[Product], load: Load | None) -> tuple[Step, ...]:
    by_hand = request.sprayer.kind in BY_HAND
    first, rest = _fills(load, _start_share(request.products))
    found = [
        Step(
            "fill",
            what="water",
            amount=first,
            note=Text("order.note.fill" if load else "order.note.fill_share"),
        ),
        Step("agitate", note=Text("order.note.agitate_by_hand" if by_hand else "order.note.agitate_machine")),
    ]
    for product in sequence:
        found += _adding(product, load)
    if rest is None or rest.value > 0:
        found.append(Step("fill", what="water", amount=rest, note=Text("order.note.top_up")))
    found.append(
        Step(
            "agitate",
            duration=practice().last,
            note=Text("order.note.keep_moving_by_hand" if by_hand else "order.note.keep_moving_machine"),
        )
    )
    return tuple(found)


def _jar_steps(
    request: MixRequest, sequence: Sequence[Product], load: Load | None, water: Quantity | None
) -> tuple[Step, ...]:
    """A hose-end jar: products neat behind a dial, or topped up with water for a fixed ratio."""
    dial = request.sprayer.kind is SprayerKind.HOSE_END_DIAL
    found = []
    for product in sequence:
        found += _adding(product, load)
    if not dial:
        found.append(Step("fill", what="water", amount=water, note=Text("order.note.top_up_premix")))
    found.append(
        Step(
            "agitate",
            duration=practice().last,
            note=Text("order.note.fill_jar_dial" if dial else "order.note.fill_jar_ratio"),
        )
    )
    return tuple(found)


def _adding(product: Product, load: Load | None) -> list[Step]:
    place = place_of(product.label)
    adding = Step("add", product=product.id, amount=_amount(load, product.id), note=_note(product.label))
    if place == "packet":
        return [adding, Step("wait", duration=practice().packet, note=Text("order.note.wait_packet"))]
    return [adding, Step("agitate", duration=practice().settle, note=Text("order.note.agitate_between"))]


def _amount(load: Load | None, id: str) -> Quantity | None:
    if load is None:
        return None
    return next((dose.exact for dose in load.products if dose.id == id), None)


def _note(label: Label) -> Text:
    place = place_of(label)
    if place in OWN_PLACE or place in ("packet", "unknown"):
        return Text(f"order.note.add_{place}")
    groups = formulation_type(place).groups
    return next(
        Text(f"order.note.add_{group}")
        for group in ("soluble_dry", "dry", "capsule", "suspension", "oil_dispersion", "emulsion", "liquid")
        if group in groups or group == "liquid"
    )


def _start_share(products: Sequence[Product]) -> Decimal:
    """The share that a label asks for, the largest of them; else half."""
    asked = [
        product.label.mixing.order_fill_percent
        for product in products
        if product.label.mixing is not None and product.label.mixing.order_fill_percent is not None
    ]
    return EXACT.divide(max(asked), Decimal(100)) if asked else practice().start_share


def _fills(load: Load | None, share: Decimal) -> tuple[Quantity | None, Quantity | None]:
    """Return the water before the first product and the water after the last; both None without a load."""
    if load is None:
        return None, None
    water = load.water
    first = min(EXACT.multiply(load.spray.value, share), water.value)
    return Quantity(first, water.unit), Quantity(EXACT.subtract(water.value, first), water.unit)


# The table


def profiles() -> Mapping[str, Profile]:
    """Return every published order by its id."""
    return _table()[0]


def default_profile() -> str:
    """Return the id of the order that decides."""
    return _table()[1]


def practice() -> Practice:
    """Return the shares and times that are the same for every tank."""
    return _table()[2]


@cache
def _table() -> tuple[Mapping[str, Profile], str, Practice]:
    with TABLE.open("rb") as file:
        raw = tomllib.load(file)
    found = {row["id"]: _profile(row, raw["sources"]) for row in raw["profile"]}
    said = raw["practice"]
    return (
        found,
        raw["default"]["profile"],
        Practice(
            start_share=Decimal(said["start_share"]),
            settle=Quantity(Decimal(said["settle_minutes"]), "min"),
            packet=Quantity(Decimal(said["packet_minutes"]), "min"),
            last=Quantity(Decimal(said["last_minutes"]), "min"),
        ),
    )


def _profile(row: Mapping[str, Any], sources: Mapping[str, Any]) -> Profile:
    ranks = {place: rank for rank, step in enumerate(row["sequence"]) for place in step}
    share = None
    if "start_share_from" in row:
        share = Decimal(row["start_share_from"]), Decimal(row["start_share_to"])
    return Profile(row["id"], sources[row["source"]]["publisher"], ranks, share)
