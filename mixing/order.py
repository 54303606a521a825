"""The steps of mixing, one after the other, with amounts for the first load.

What goes in before what is decided in `sequence`. Steps that differ only in amounts are worked out once and
kept: a farm mixes few kinds of tank.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Any, NamedTuple, Protocol

from mixing import sequence
from mixing.catalogue import Text, render
from mixing.findings import Basis, Finding, Missing, Severity
from mixing.formulation_types import formulation_type
from mixing.labels import Label
from mixing.quantities import EXACT, Quantity, plain
from mixing.request import MixRequest, Product, Recipe, SprayerKind
from mixing.sequence import OWN_PLACE, Edges, practice

HUNDRED = Decimal(100)
WAYS = {
    SprayerKind.HAND_PUMP: "by_hand",
    SprayerKind.BACKPACK: "by_hand",
    SprayerKind.HOSE_END_DIAL: "dial",
    SprayerKind.HOSE_END_RATIO: "ratio",
}
MIXING_NOTES = ("soluble_dry", "dry", "capsule", "suspension", "oil_dispersion", "emulsion")


class Dose(Protocol):
    """What the order needs of one product of a load."""

    @property
    def id(self) -> str: ...
    @property
    def exact(self) -> Quantity | None: ...
    @property
    def measure(self) -> tuple[Quantity, ...] | None: ...


class Load(Protocol):
    """What the order needs of a load."""

    @property
    def spray(self) -> Quantity: ...
    @property
    def water(self) -> Quantity: ...
    @property
    def products(self) -> Sequence[Dose]: ...


@dataclass(frozen=True, slots=True, eq=False)
class Doing:
    """A step without its amount. `action` is `fill`, `add`, `wait` or `agitate`."""

    action: str
    note: Text
    what: str | None = None
    product: str | None = None
    duration: Quantity | None = None
    last_fill: bool = False


class Step(NamedTuple):
    """One thing to do, how much of it where that can be said, and with which measures."""

    doing: Doing
    amount: Quantity | None
    measure: tuple[Quantity, ...] = ()
    packet: Quantity | None = None
    """What one packet holds, where the product comes in packets."""

    def as_json(self, number: int, language: str) -> dict[str, Any]:
        """Return the step as it stands in the report."""
        doing, amount, measure, packet = self
        step = _doing_json(doing, number, language).copy()
        if amount is not None:
            step["amount"] = amount.as_json()
        elif "amount" in step:
            del step["amount"]
        if packet is not None:
            step["note"] = " ".join((*_packets(measure, packet, language), step["note"]))
        elif measure and (len(measure) > 1 or measure[0] != amount):
            shown = " + ".join([f"{plain(part.value)} {part.unit}" for part in measure])
            step["note"] = f"{_measure_note(shown, language)} {step['note']}"
        return step


def _packets(measure: tuple[Quantity, ...], packet: Quantity, language: str) -> Iterator[str]:
    """Yield how many packets go in; nothing where none was measured."""
    if measure:
        count = EXACT.divide(measure[0].in_base(), packet.in_base())
        said = {"count": plain(count, 2), "each": f"{plain(packet.value)} {packet.unit}"}
        yield render("order.note.packets", said, language)


@lru_cache(maxsize=4096)
def _measure_note(shown: str, language: str) -> str:
    return render("order.note.measure", {"measure": shown}, language)


def written(steps: Sequence[Step], *, stopped: bool, language: str) -> list[dict[str, Any]]:
    """Return the steps as they stand in the report.

    :param stopped: the tank must not be mixed as it stands; the first step says so before all else
    """
    found = [step.as_json(number, language) for number, step in enumerate(steps, 1)]
    if stopped and found:
        found[0]["note"] = f"{render('order.note.stopped', language=language)} {found[0]['note']}"
    return found


@lru_cache(maxsize=4096)
def _doing_json(doing: Doing, number: int, language: str) -> dict[str, Any]:
    """Return a step with an empty place for its amount; the caller copies it."""
    step: dict[str, Any] = {"step": number, "action": doing.action}
    if doing.what is not None:
        step["what"] = doing.what
    if doing.product is not None:
        step["product"] = doing.product
    if doing.action in ("fill", "add"):
        step["amount"] = None
    if doing.duration is not None:
        step["for"] = doing.duration.as_json()
    step["note"] = doing.note.render(language)
    return step


@dataclass(frozen=True, slots=True)
class Plan:
    """The steps of one kind of tank, and the pairs (first, second, publishers) that publishers turn round."""

    steps: tuple[Step, ...]
    """With no amounts yet."""
    disputed: tuple[tuple[str, str, tuple[str, ...]], ...]


def steps(
    request: MixRequest, loads: Sequence[Load], *, premix_water: Quantity | None = None
) -> tuple[tuple[Step, ...], tuple[Finding, ...]]:
    """Return the steps for the first load, and what is to be said of the order.

    :param premix_water: for a hose-end sprayer of fixed ratio, the water of the premix
    Where labels contradict each other there is no order to follow, hence no steps.
    """
    kind = _kind_of(request.recipe, WAYS.get(request.sprayer.kind, "machine"), bool(loads))
    if kind.plan is None:
        return (), kind.findings
    if request.sprayer.is_hose_end:
        first, rest = None, premix_water
    else:
        first, rest = _fills(loads[0] if loads else None, kind.start_share)
    doses = {dose.id: dose for dose in loads[0].products} if loads else {}
    return tuple(_with_amounts(kind.plan.steps, first, rest, doses, kind.packets)), kind.findings


def _with_amounts(
    steps: Iterable[Step],
    first: Quantity | None,
    rest: Quantity | None,
    doses: Mapping[str, Dose],
    packets: Mapping[str, Quantity | None],
) -> list[Step]:
    found = []
    for step in steps:
        doing = step.doing
        if doing.action == "add":
            dose = doses.get(doing.product or "")
            if dose is not None:
                step = Step(doing, dose.exact, dose.measure or (), packets.get(dose.id))
        elif doing.action == "fill":
            amount = rest if doing.last_fill else first
            if amount is not None:
                if doing.last_fill and not amount.value:
                    continue
                step = Step(doing, amount)
        found.append(step)
    return found


def _start_share(recipe: Recipe) -> Decimal:
    """The share that a label asks for, the largest of them; else half."""
    asked = [
        label.mixing.order_fill_percent
        for _, label in recipe.products
        if label.mixing is not None and label.mixing.order_fill_percent is not None
    ]
    return EXACT.divide(max(asked), HUNDRED) if asked else practice().start_share


def _fills(load: Load | None, share: Decimal) -> tuple[Quantity | None, Quantity | None]:
    """Return the water before the first product and the water after the last; both None without a load."""
    if load is None:
        return None, None
    water = load.water
    first = min(EXACT.multiply(load.spray.value, share), water.value)
    return Quantity(first, water.unit), Quantity(EXACT.subtract(water.value, first), water.unit)


def missing(products: Iterable[Product]) -> tuple[Missing, ...]:
    """Return a line of what was not checked for each product whose formulation is not given."""
    return tuple(
        Missing(f"label.formulation:{product.id}")
        for product in products
        if product.label.formulation is None and not product.label.packet and product.label.adjuvant is None
    )


# One kind of tank


@dataclass(frozen=True, slots=True)
class Kind:
    """What is the same for every tank of some products: its steps, what is said of them, how it is filled.

    :ivar plan: None where labels contradict each other
    :ivar packets: what one packet holds of each product that comes in packets
    """

    plan: Plan | None
    findings: tuple[Finding, ...]
    start_share: Decimal
    packets: Mapping[str, Quantity | None]


@lru_cache(maxsize=1024)
def _kind_of(recipe: Recipe, way: str, amounts: bool) -> Kind:
    edges = sequence.label_edges(recipe)
    places = tuple((id, sequence.place_of(label)) for id, label in recipe.products)
    plan = _plan(places, edges, way, amounts)
    if plan is None:
        findings: tuple[Finding, ...] = (_contradiction(recipe, edges),)
    else:
        findings = (*_about_products(recipe, places), *_disputes(plan, recipe))
    packets = {id: label.packet_content for id, label in recipe.products if label.packet}
    return Kind(plan, findings, _start_share(recipe), packets)


@lru_cache(maxsize=2048)
def _plan(places: tuple[tuple[str, str], ...], edges: Edges, way: str, amounts: bool) -> Plan | None:
    order = sequence.arrange(places, edges)
    if order is None:
        return None
    place = dict(places)
    adding = [doing for id in order for doing in _adding(id, place[id], last=id == order[-1])]
    if way in ("dial", "ratio"):
        doings = [*adding, *_filling_the_jar(way)]
    else:
        doings = [*_starting(way, amounts), *adding, *_finishing(way)]
    return Plan(tuple(Step(doing, None) for doing in doings), tuple(_disputed(order, place, edges)))


def _starting(way: str, amounts: bool) -> list[Doing]:
    return [
        Doing("fill", Text("order.note.fill" if amounts else "order.note.fill_share"), what="water"),
        Doing("agitate", Text(f"order.note.agitate_{way}")),
    ]


def _adding(id: str, place: str, *, last: bool) -> list[Doing]:
    adding = Doing("add", _note(place), product=id)
    if place == "packet":
        return [adding, Doing("wait", Text("order.note.wait_packet"), duration=practice().packet)]
    note = Text("order.note.agitate_last" if last else "order.note.agitate_between")
    return [adding, Doing("agitate", note, duration=practice().settle)]


def _note(place: str) -> Text:
    if place in OWN_PLACE or place in ("packet", "unknown"):
        return Text(f"order.note.add_{place}")
    groups = formulation_type(place).groups
    return Text(f"order.note.add_{next((group for group in MIXING_NOTES if group in groups), 'liquid')}")


def _finishing(way: str) -> list[Doing]:
    return [
        Doing("fill", Text("order.note.top_up"), what="water", last_fill=True),
        Doing("agitate", Text(f"order.note.keep_moving_{way}"), duration=practice().last),
    ]


def _filling_the_jar(way: str) -> list[Doing]:
    """A hose-end jar: products neat behind a dial, or topped up with water for a fixed ratio."""
    water = [Doing("fill", Text("order.note.top_up_premix"), what="water", last_fill=True)]
    stir = Doing("agitate", Text(f"order.note.fill_jar_{way}"), duration=practice().last)
    return [*(water if way == "ratio" else ()), stir]


def _disputed(
    order: list[str], place: dict[str, str], edges: Edges
) -> Iterator[tuple[str, str, tuple[str, ...]]]:
    for rank, first in enumerate(order):
        for second in order[rank + 1 :]:
            publishers = sequence.dissenters(place[first], place[second])
            if publishers and (first, second) not in edges:
                yield first, second, publishers


# What is to be said of it


def _disputes(plan: Plan, recipe: Recipe) -> Iterator[Finding]:
    """One note for the tank: which products other publishers would put elsewhere, and who they are."""
    if not plan.disputed:
        return
    turned = {id for first, second, _ in plan.disputed for id in (first, second)}
    concerned = [one for one in recipe.products if one[0] in turned]
    publishers = dict.fromkeys(name for _, _, names in plan.disputed for name in names)
    yield Finding(
        id="order.publishers-differ",
        severity=Severity.NOTE,
        basis=Basis.PUBLISHED,
        products=tuple(id for id, _ in concerned),
        parameters={
            "products": ", ".join(label.name for _, label in concerned),
            "publishers": ", ".join(publishers),
        },
        source_key="sportsfield",
    )


def _contradiction(recipe: Recipe, edges: Edges) -> Finding:
    round_and_round = sequence.circle(recipe.ids, edges)
    concerned = [one for one in recipe.products if one[0] in round_and_round]
    return Finding(
        id="order.labels-contradict",
        severity=Severity.STOP,
        basis=Basis.LABEL,
        products=tuple(id for id, _ in concerned),
        parameters={"products": ", ".join(label.name for _, label in concerned)},
    )


def _about_products(recipe: Recipe, places: Iterable[tuple[str, str]]) -> Iterator[Finding]:
    for (id, label), (_, place) in zip(recipe.products, places, strict=True):
        if place == "unknown":
            yield _unknown(id, label)


def _unknown(product_id: str, label: Label) -> Finding:
    kind, name = formulation_type(label.formulation), label.name
    if kind.diluted_in in ("none", "oil"):
        return Finding(
            id="order.not-for-water",
            severity=Severity.CAUTION,
            basis=Basis.PUBLISHED,
            products=(product_id,),
            parameters={"product": name, "code": kind.code, "formulation": kind.name},
            source_key="formulations",
        )
    return Finding(
        id="order.formulation-not-stated",
        severity=Severity.NOTE,
        basis=Basis.PRACTICE,
        products=(product_id,),
        parameters={"product": name},
    )
