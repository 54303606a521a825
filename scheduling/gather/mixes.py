"""The mix of a line on a block: what it takes, how long it keeps others out, and the days that forbid it."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from typing import Any

from django.utils.translation import gettext_noop as noop

import mixing
from mixing.quantities import Quantity, QuantityError, parse_quantity
from orchard.api.refusals import Fault, Unprocessable
from orchard.api.spoken import of_engine
from orchard.blocks.models import Block
from orchard.crews.models import Sprayer
from orchard.farms.actors import Actor
from orchard.inventory import amounts as stock_amounts
from orchard.inventory.models import Product
from orchard.tasks import amounts, checks, choosing, intervals, resolving
from orchard.tasks.models import MixCheck
from orchard.tasks.told import Told

UNITS = 10**9
"""Whole units to a g or a mL."""
Stop = tuple[Mapping[str, Any], Mapping[str, Any]]
DAY_SECONDS = 86400


@dataclass(frozen=True, slots=True)
class Mix:
    """What one job puts on.

    :ivar needs: units of each product, rounded up, by its id
    :ivar litres: of finished spray; None where it is not known
    :ivar re_entry: how long nobody enters after it
    :ivar because: why it is not the line's first mix
    """

    check: MixCheck
    products: list[dict[str, Any]]
    needs: Mapping[str, int]
    litres: float | None
    re_entry: dt.timedelta
    because: tuple[Told, ...] = ()

    @property
    def labels(self) -> list[tuple[str, dict[str, Any]]]:
        """The id and label of each product."""
        return [(one["id"], one["label"]) for one in self.check.request["products"]]


def mix_of(
    *,
    raw: Mapping[str, Any],
    block: Block,
    sprayer: Sprayer,
    spray: Mapping[str, Any],
    products: Mapping[str, Product],
    at: dt.datetime,
    taken: Mapping[str, Decimal],
    by: Actor,
    now: dt.datetime,
) -> Mix:
    """Return the mix of a line that will do for a block.

    :param at: the first moment that it might be sprayed
    :param taken: what other jobs of the plan take, by product id [base unit]: for the choice of a mix
    :raises Unprocessable: for a mix that cannot be understood, or whose amounts nobody can tell
    """
    wanted, because = list(raw["products"]), tuple[Told, ...]()
    if raw.get("alternatives"):
        choice = choosing.choose(
            line=raw, block=block, sprayer=sprayer, spray=spray, at=at, by=by, now=now, taken=taken
        )
        wanted = choice.products
        because = tuple(choice.why())
    check = checks.check_mix(
        farm=block.farm,
        block=block,
        sprayer=sprayer,
        products=[checks.Wanted(products[one["product"]], one["rate"]) for one in wanted],
        spray=dict(spray),
        targets=raw.get("targets") or [],
        at=at,
        dry_run=True,
        by=by,
        now=now,
    )
    return Mix(
        check,
        wanted,
        _known_needs(check.report["totals"], products, on=at.date()),
        _litres(check),
        re_entry_of(check),
        because,
    )


def first_that_fits(sprayers: Sequence[Sprayer], **asked: Any) -> Mix:
    """Return the mix for the first sprayer that nothing speaks against, else for the first.

    :param asked: as `mix_of`
    :raises Unprocessable: as `mix_of`
    """
    first = mix_of(sprayer=sprayers[0], **asked)
    now = asked["now"]
    if _stop(first.check.request, at=first.check.at, taken=overridden(first.check, now=now)):
        fit = [one for one in sprayers if str(one.id) not in unfit(first, sprayers, now=now)]
        if fit and fit[0] != sprayers[0]:
            return mix_of(sprayer=fit[0], **asked)
    return first


def _known_needs(
    totals: Sequence[Mapping[str, Any]], products: Mapping[str, Product], *, on: dt.date
) -> dict[str, int]:
    """Return what totals come to.

    :raises Unprocessable: where one cannot be told: what is not known is never taken to be there
    """
    if any(total["exact"] is None for total in totals):
        says = Told(noop("how much it takes is not known: give the block its area, or its trees"))
        raise Unprocessable(Fault("amount_unknown", says))
    try:
        return {total["id"]: _units(total, products[total["id"]], on=on) for total in totals}
    except QuantityError as fault:
        raise Unprocessable(Fault(fault.code, of_engine(fault))) from None


def _units(total: Mapping[str, Any], product: Product, *, on: dt.date) -> int:
    base = stock_amounts.in_base(amounts.read(total["exact"]), product=product, on=on)
    return int((base * UNITS).to_integral_value(rounding=ROUND_CEILING))


def needs_of(
    totals: Iterable[Mapping[str, Any]], products: Mapping[str, Product], *, on: dt.date
) -> dict[str, int]:
    """Return the units that totals come to; what cannot be turned into them is left out."""
    found = {}
    for total in totals:
        product = products.get(total["id"])
        if product is None or total["exact"] is None:
            continue
        with suppress(QuantityError):  # the density is missing: its page says so, and the store cannot tell
            found[total["id"]] = _units(total, product, on=on)
    return found


def _litres(check: MixCheck) -> float | None:
    loads = check.report["loads"]
    if not loads:
        return None
    return sum(float(parse_quantity(one["spray"]).to("L").value) for one in loads)


def re_entry_of(check: MixCheck) -> dt.timedelta:
    """Return how long nobody enters the block after a mix: the longest of its labels and the farm."""
    block = check.block
    stage = (check.request.get("stage") or {}).get("bbch")
    minimum = (block.farm.limits or {}).get("re_entry_minimum")
    waits = [
        intervals.of_label(
            one["label"], crop=block.crop, targets=check.request.get("targets") or (), bbch=stage
        ).re_entry
        for one in check.request["products"]
    ]
    waits.append(parse_quantity(minimum) if minimum else None)
    seconds = max((one.in_base() for one in waits if one is not None), default=Decimal(0))
    return dt.timedelta(seconds=float(seconds))


def forbidden_days(
    mix: Mix, *, days: Sequence[dt.date], zone: zoneinfo.ZoneInfo, now: dt.datetime
) -> dict[dt.date, Told]:
    """Return the days on which the mix would be stopped whatever the weather, and why.

    The engine is asked for each day: intervals since the last spray, yearly limits, the days to harvest.
    """
    taken = overridden(mix.check, now=now)
    found: dict[dt.date, Told] = {}
    says: Told | None = None
    told: dict[str, Told] = {}
    for place, on in enumerate(days):
        at = dt.datetime.combine(on, dt.time(10), tzinfo=zone)
        if place == 0 or mix.check.request.get("history"):  # nothing else depends on the day
            says = _said(_stop(mix.check.request, at=at, taken=taken), told)
        why = says or _too_near_picking(mix.check, on)
        if why:
            found[on] = why
    return found


def unfit(mix: Mix, sprayers: Sequence[Sprayer], *, now: dt.datetime) -> set[str]:
    """Return the sprayers that are stopped where another one is not."""
    taken = overridden(mix.check, now=now)
    says: dict[str, Stop | None] = {}
    known: dict[str, Stop | None] = {}
    for sprayer in sprayers:
        shape = {name: value for name, value in resolving.sprayer_json(sprayer).items() if name != "residue"}
        key = repr(sorted(shape.items(), key=lambda pair: pair[0]))
        if key not in known:
            request = {**mix.check.request, "sprayer": shape}
            known[key] = _stop(request, at=mix.check.at, taken=taken)
        says[str(sprayer.id)] = known[key]
    return {id for id, one in says.items() if one} if not all(says.values()) else set()


def report_with(mix: Mix, sprayer: Sprayer, *, at: dt.datetime) -> dict[str, Any]:
    """Return the engine's report for the sprayer and the time that a plan gives the mix."""
    shape = resolving.sprayer_json(sprayer)
    if shape == mix.check.request["sprayer"]:
        return dict(mix.check.report)
    return checks.engine_report({**mix.check.request, "sprayer": shape, "at": at.isoformat()})


def overridden(check: MixCheck, *, now: dt.datetime) -> set[str]:
    """Return the stops of a check that a manager has taken upon themselves."""
    stops = {one["id"] for one in check.report["findings"] if one["severity"] == "stop"}
    return stops - {one["id"] for one in checks.open_stops(check=check, now=now)} if stops else stops


def _stop(request: Mapping[str, Any], *, at: dt.datetime, taken: set[str]) -> Stop | None:
    """Return what the engine was asked and the first stop that it finds."""
    asked = {**without_the_day(request), "at": at.isoformat()}
    report = mixing.check_mix(asked)
    stops = (one for one in report["findings"] if one["severity"] == "stop" and one["id"] not in taken)
    stop = next(stops, None)
    return (asked, stop) if stop else None


def without_the_day(request: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is asked of the engine less what another day changes: weather, and what a tank held."""
    sprayer = {name: value for name, value in request["sprayer"].items() if name != "residue"}
    kept = {name: value for name, value in request.items() if name not in ("weather", "measures")}
    return {**kept, "sprayer": sprayer}


def _said(stop: Stop | None, told: dict[str, Told]) -> Told | None:
    """Return the sentence of a stop; `told` keeps each, since it is the same on most days."""
    if stop is None:
        return None
    asked, finding = stop
    if finding["says"] not in told:
        told[finding["says"]] = checks.in_each_language(asked, finding)
    return told[finding["says"]]


def _too_near_picking(check: MixCheck, on: dt.date) -> Told | None:
    first, interval = check.block.harvest_from, check.report["harvest"]["interval"]
    if first is None or interval is None or first < on:
        return None
    seconds = Quantity(Decimal(interval["value"]), interval["unit"]).in_base()
    wait = dt.timedelta(days=int((seconds / DAY_SECONDS).to_integral_value(rounding=ROUND_CEILING)))
    if on + wait <= first:
        return None
    return Told(noop("picking begins on %(on)s and the label wants %(days)s days"), on=first, days=wait.days)
