"""Take a published season plan over into a farm, with the farm's own products under their labels.

What the farm lacks is named, never left out in silence: without the partners of its first mix a line is
refused unless it is asked to be left out; an alternative without its product is dropped, and the line's note
says so.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext as _

from mixing import chemistry
from mixing.faults import TOP
from mixing.label_reading import read_label
from mixing.labels import Label
from mixing.quantities import EXACT, Quantity, plain
from mixing.reading import Reader
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.blocks import queries as ground
from orchard.blocks.models import Block
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import queries as store
from orchard.inventory.models import Product
from orchard.tasks import programmes, published_rates
from orchard.tasks.examples import Example, ExampleLine, Mix, Part
from orchard.tasks.models import Programme


@dataclass(frozen=True, slots=True)
class Shelf:
    """The farm's products by what they are: each with its label in force and what is usable of it."""

    products: tuple[tuple[Product, Label, Decimal], ...]

    def fitting(self, what: str, *, crops: Iterable[str]) -> list[tuple[Product, Label]]:
        """Return the products of an ingredient or group whose label names every crop, most in store first."""
        wanted = list(crops)
        return [
            (product, label)
            for product, label, _ in sorted(self.products, key=lambda one: (-one[2], one[0].name))
            if is_a(label, what) and all(published_rates.covers(label, crop) for crop in wanted)
        ]

    def any_of(self, what: str) -> list[Product]:
        """Return the products of one ingredient or group, whatever crops their labels name."""
        return [product for product, label, _ in self.products if is_a(label, what)]


@dataclass(frozen=True, slots=True)
class Terms:
    """How an example is to be adopted.

    :ivar products: the farm's product for what the example names, where the choice is not to be ours
    :ivar left_out: keys of lines that are not wanted
    :ivar volume_per_tree: spray of the lines, in place of what the publication gives per area
    """

    products: Mapping[str, Product] = field(default_factory=dict)
    left_out: frozenset[str] = frozenset()
    blocks: Sequence[Block] | None = None
    volume_per_tree: Quantity | None = None
    volume_per_area: Quantity | None = None


def is_a(label: Label, what: str) -> bool:
    """Say whether a product is what an example names, by itself: a ready mix is more than that."""
    parts = chemistry.facts(label).parts
    return bool(parts) and all(what in part for part in parts)


def shelf(*, farm: Farm, on: dt.date) -> Shelf:
    """Return the farm's products with their labels in force on a day, and what is usable of each."""
    rows = store.stock(farm=farm, on=on).filter(archived=False)
    found = []
    for product in rows.order_by("id"):
        version = next(iter(product.in_force), None)  # type: ignore[attr-defined]
        label = None if version is None else read_label(version.label, TOP, Reader())
        if label is None:
            continue
        lots = [one for one in product.counted if store.may_be_used(one, on=on)]  # type: ignore[attr-defined]
        found.append((product, label, sum((lot.on_hand_base for lot in lots), Decimal(0))))
    return Shelf(tuple(found))


def adopt(
    *,
    farm: Farm,
    example: Example,
    starts_on: dt.date,
    ends_on: dt.date,
    terms: Terms,
    by: Actor,
    now: dt.datetime,
    name: str | None = None,
    status: str | None = None,
    id: uuid.UUID | None = None,
) -> Programme:
    """Make a season plan of the farm out of an example.

    :raises Unprocessable: for keys that the example has not, and as `programmes.add_programme`
    :raises Conflict: `crop_missing`, `product_missing`, `rate_unknown`: each names what the farm lacks
    """
    faults = _unknown(example, terms)
    if faults:
        raise Unprocessable(*faults)
    blocks = list(terms.blocks or ground.blocks(farm=farm).filter(archived=False).order_by("id"))
    day = max(starts_on, store.day_on_farm(farm=farm, at=now))
    work = _Adoption(example, shelf(farm=farm, on=day), terms, blocks, farm.units)
    lines = [made for line in example.lines for made in work.line(line)]
    if not lines and not work.faults:
        crops = ", ".join(example.crops)
        work.faults.append(
            Fault("crop_missing", _("none of the blocks grows %(crops)s") % {"crops": crops}, "/blocks")
        )
    if work.faults:
        raise Conflict(*work.faults)
    return programmes.add_programme(
        farm=farm,
        name=name or example.title,
        starts_on=starts_on,
        ends_on=ends_on,
        lines=lines,
        status=status,
        id=id,
        by=by,
        now=now,
    )


def _unknown(example: Example, terms: Terms) -> list[Fault]:
    keys = {line.key for line in example.lines}
    named = {part.what for line in example.lines for mix in mixes(line) for part in mix.parts}
    return [
        Fault(
            "not_found",
            _("the example has no line %(key)s: %(keys)s")
            % {"key": repr(key), "keys": ", ".join(sorted(keys))},
            "/without",
        )
        for key in sorted(terms.left_out - keys)
    ] + [
        Fault(
            "not_found",
            _("the example asks for %(named)s, not for %(what)s")
            % {"named": ", ".join(sorted(named)), "what": repr(what)},
            "/products",
        )
        for what in sorted(set(terms.products) - named)
    ]


def mixes(line: ExampleLine) -> tuple[Mix, ...]:
    """Return the mixes of a line, the first choice first."""
    return (line.mix, *line.alternatives) if line.mix else ()


@dataclass(slots=True)
class _Adoption:
    """One example on its way into one farm; `faults` gathers what is lacking."""

    example: Example
    shelf: Shelf
    terms: Terms
    blocks: list[Block]
    units: str
    faults: list[Fault] = field(default_factory=list)

    def line(self, line: ExampleLine) -> list[dict[str, Any]]:
        """Return the line as a plan keeps it; nothing where it is left out or no block grows its crops."""
        here = [block for block in self.blocks if chemistry.crop_name(block.crop) in line.crops]
        if not here or line.key in self.terms.left_out:
            return []
        made: dict[str, Any] = {
            "title": line.title,
            "kind": line.kind,
            "blocks": [str(block.id) for block in here],
            "stage": {"from": line.stage[0], "to": line.stage[1]},
            "targets": list(line.targets),
        }
        if line.leaf_drop_minimum_percent is not None:
            made["leaf_drop_minimum_percent"] = plain(line.leaf_drop_minimum_percent)
        if line.repeat_after is not None:
            made["repeat_after"] = line.repeat_after.as_json()
        notes = [line.note]
        if line.mix is not None:
            made |= self._spray(line, here, notes)
        notes.append("Published in: " + "; ".join(self._cited(one) for one in line.sources) + ".")
        return [{**made, "note": " ".join(notes)}]

    def _spray(self, line: ExampleLine, here: list[Block], notes: list[str]) -> dict[str, Any]:
        assert line.mix is not None
        products = self._products(line, line.mix, here, refuse=True)
        made: dict[str, Any] = {"products": products, "alternatives": [], **self._volume(line)}
        for other in line.alternatives:
            found = self._products(line, other, here, refuse=False)
            if found is None:
                names = " and ".join(part.what for part in other.parts)
                notes.append(f"Not taken over, for the farm has none with a label for it: {names}.")
            else:
                made["alternatives"].append({"products": found, "note": other.note})
        return made

    def _volume(self, line: ExampleLine) -> dict[str, Any]:
        if self.terms.volume_per_tree is not None:
            return {"volume_per_tree": self.terms.volume_per_tree.as_json()}
        volume = self.terms.volume_per_area or line.volume_per_area
        return {"volume_per_area": volume.as_json()} if volume is not None else {}

    def _products(
        self, line: ExampleLine, mix: Mix, here: list[Block], *, refuse: bool
    ) -> list[dict[str, Any]] | None:
        found = [self._product(line, part, here, refuse=refuse) for part in mix.parts]
        whole = [one for one in found if one is not None]
        return whole if len(whole) == len(found) else None

    def _product(
        self, line: ExampleLine, part: Part, here: list[Block], *, refuse: bool
    ) -> dict[str, Any] | None:
        crops = sorted({block.crop for block in here})
        chosen = self._chosen(part, crops)
        if chosen is None:
            if refuse:
                self.faults.append(self._lacking(line, part, crops))
            return None
        product, label = chosen
        rate = published_rates.rate_of(
            part, label=label, crops=crops, volume_per_area=self._least_volume(line, here), units=self.units
        )
        if rate is None:
            if refuse:
                detail = _("%(line)s: the label of %(product)s gives no rate for %(crops)s") % {
                    "line": line.title,
                    "product": product.name,
                    "crops": ", ".join(crops),
                }
                me = ("product", str(product.id))
                self.faults.append(Fault("rate_unknown", detail, f"/products/{part.what}", me))
            return None
        return {"product": str(product.id), "rate": rate.as_json()}

    def _chosen(self, part: Part, crops: Iterable[str]) -> tuple[Product, Label] | None:
        wanted = self.terms.products.get(part.what)
        if wanted is None:
            return next(iter(self.shelf.fitting(part.what, crops=crops)), None)
        return next(((p, label) for p, label, _ in self.shelf.products if p == wanted), None)

    def _lacking(self, line: ExampleLine, part: Part, crops: list[str]) -> Fault:
        others = self.shelf.any_of(part.what)
        facts = {"line": line.title, "what": part.what, "crops": ", ".join(crops), "key": line.key}
        if others:
            facts["products"] = ", ".join(one.name for one in others)
            detail = _(
                "%(line)s wants %(what)s: the label of %(products)s does not name %(crops)s. Enter one, or "
                "leave "
                "the line out (without: %(key)s)"
            )
        else:
            detail = _(
                "%(line)s wants %(what)s: the farm has no product of it with a label in force. Enter one, or "
                "leave the line out (without: %(key)s)"
            )
        detail %= facts
        return Fault("product_missing", detail, f"/products/{part.what}")

    def _least_volume(self, line: ExampleLine, here: list[Block]) -> Quantity:
        """Return the least spray per area of any of the blocks: a limit per volume then holds in all."""
        per_tree = self.terms.volume_per_tree
        given = self.terms.volume_per_area or line.volume_per_area
        assert given is not None  # every spray of an example says how much
        if per_tree is None:
            return given
        name = given.unit
        found = [
            EXACT.divide(EXACT.multiply(per_tree.in_base(), Decimal(block.trees)), block.area.in_base())
            for block in here
            if block.trees and block.area is not None
        ]
        one = Quantity(Decimal(1), name).in_base()
        return Quantity(EXACT.divide(min(found), one), name) if found else given

    def _cited(self, key: str) -> str:
        source = self.example.sources[key]
        year = f", {source['year']}" if source.get("year") else ""
        return f"{source['title']}, {source['publisher']}{year}"
