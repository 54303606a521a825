"""Which of a line's mixes to plan on a block: its own, or an alternative where that one will not do.

A mix will not do where a product of it is short, where its resistance group was just used, or where a check
for the day finds a stop. Where none will do, the first stays, so that a person sees what stands against it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext_noop as noop

from mixing.quantities import QuantityError
from orchard.api.refusals import Unprocessable
from orchard.blocks.models import Block
from orchard.crews.models import Sprayer
from orchard.farms.actors import Actor
from orchard.inventory import amounts as stock_amounts
from orchard.inventory import queries as store
from orchard.inventory.models import Product
from orchard.tasks import amounts, checks
from orchard.tasks.models import MixCheck
from orchard.tasks.told import Told

RESISTANCE = "resistance."
"""How the ids of the rules begin that speak of groups used too often."""


@dataclass(frozen=True, slots=True)
class Objection:
    """Why a mix will not do: `short`, `group_used` or `mix_stop`, and the sentence for a person."""

    code: str
    says: Told


@dataclass(frozen=True, slots=True)
class Choice:
    """The mix to plan.

    :ivar place: 0 for the line's own, 1 for its first alternative …
    :ivar passed_over: what stood against each mix before it; against itself too, where none will do
    """

    place: int
    products: list[dict[str, Any]]
    passed_over: tuple[Objection, ...]

    def why(self) -> Iterator[Told]:
        """Yield why it is not the line's own mix."""
        for one in self.passed_over if self.place else ():
            yield Told(noop("another mix of the line, for %(what)s"), what=one.says)


def choose(
    *,
    line: Mapping[str, Any],
    block: Block,
    sprayer: Sprayer,
    spray: Mapping[str, Any],
    at: dt.datetime,
    by: Actor,
    now: dt.datetime,
    taken: Mapping[str, Decimal] | None = None,
) -> Choice:
    """Return the first of a line's mixes that nothing stands against.

    :param at: the moment it is planned for
    :param taken: what the same plan has promised already, by product id [base unit]
    """
    mixes = [line["products"], *(one["products"] for one in line.get("alternatives") or [])]
    against: list[Objection] = []
    for place, products in enumerate(mixes):
        found = list(_objections(products, line, block, sprayer, spray, at, taken or {}, by=by, now=now))
        if not found:
            return Choice(place, products, tuple(against))
        against += found
    return Choice(0, mixes[0], tuple(against))


def _objections(
    products: list[dict[str, Any]],
    line: Mapping[str, Any],
    block: Block,
    sprayer: Sprayer,
    spray: Mapping[str, Any],
    at: dt.datetime,
    taken: Mapping[str, Decimal],
    *,
    by: Actor,
    now: dt.datetime,
) -> Iterator[Objection]:
    rows = {str(one.id): one for one in store.products(farm=block.farm)}
    wanted = [checks.Wanted(rows[one["product"]], one["rate"]) for one in products if one["product"] in rows]
    if len(wanted) < len(products):
        yield Objection("mix_stop", Told(noop("a product of the plan is no longer on the farm")))
        return
    try:
        check = checks.check_mix(
            farm=block.farm,
            block=block,
            sprayer=sprayer,
            products=wanted,
            spray=dict(spray),
            targets=line.get("targets") or [],
            at=at,
            dry_run=True,
            by=by,
            now=now,
        )
    except Unprocessable as wrong:
        yield Objection("mix_stop", Told("%(says)s", says=wrong.faults[0].detail))
        return
    yield from _short(check, rows, at, taken)
    yield from _found(check)


def _short(
    check: MixCheck, rows: Mapping[str, Product], at: dt.datetime, taken: Mapping[str, Decimal]
) -> Iterator[Objection]:
    on = store.day_on_farm(farm=check.farm, at=at)
    for total in check.report["totals"]:
        product = rows[total["id"]]
        if total["exact"] is None:
            continue
        try:
            needed = stock_amounts.in_base(amounts.read(total["exact"]), product=product, on=on)
        except QuantityError:
            continue  # the density is missing: the check says so, and the store cannot tell
        lots = store.usable_lots(product=product, on=on)
        free = sum((store.available(lot, on=on) for lot in lots), Decimal(0))
        missing = needed - (free - taken.get(str(product.id), Decimal(0)))
        if missing > 0:
            lacks = amounts.words(stock_amounts.in_stock_unit(missing, product))
            yield Objection(
                "short", Told(noop("%(product)s is short by %(lacks)s"), product=product.name, lacks=lacks)
            )


def _found(check: MixCheck) -> Iterator[Objection]:
    for finding in check.report["findings"]:
        if finding["id"].startswith(RESISTANCE) and finding["severity"] in ("stop", "caution"):
            yield Objection("group_used", checks.in_each_language(check.request, finding))
        elif finding["severity"] == "stop":
            yield Objection("mix_stop", checks.in_each_language(check.request, finding))
