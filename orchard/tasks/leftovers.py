"""A leftover counts with what the block got of the same products in the last 24 hours."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

from mixing.quantities import EXACT, Quantity, parse_quantity, plain
from orchard.blocks.models import Block
from orchard.tasks.models import ApplicationRecord
from orchard.tasks.resolving import UPWARD

LEFTOVER_ADDS_TO = dt.timedelta(hours=24)

SEVERITIES = ("stop", "caution", "note")


def with_what_is_on(
    ask: Callable[..., dict[str, Any]],
    report: dict[str, Any],
    *,
    request: Mapping[str, Any],
    block: Block,
    at: dt.datetime,
    language: str,
) -> dict[str, Any]:
    """Return the report with the findings that hold once the last 24 h are added to this dose.

    The engine is asked again for as much spray as would put on both: by the product of which the block
    already got most, so that no limit per area is passed unseen.
    """
    already = _spray_already_on(request=request, block=block, at=at)
    total = (request.get("spray") or {}).get("total")
    if already is None or total is None:
        return report
    both = {
        **request["spray"],
        "total": Quantity(
            EXACT.add(parse_quantity(total).value, already.to(total["unit"]).value), total["unit"]
        ).as_json(),
    }
    both["total"]["value"] = plain(UPWARD.plus(Decimal(both["total"]["value"])))
    since = (at - LEFTOVER_ADDS_TO).date().isoformat()
    earlier = [entry for entry in request.get("history", []) if entry["on"] < since]
    summed = ask({**request, "spray": both, "history": earlier}, language=language)
    known = {(f["id"], tuple(f["products"])) for f in report["findings"]}
    added = [f for f in summed["findings"] if (f["id"], tuple(f["products"])) not in known]
    findings = sorted([*report["findings"], *added], key=lambda f: (SEVERITIES.index(f["severity"]), f["id"]))
    worst = findings[0]["severity"] if findings else "note"
    return {**report, "findings": findings, "verdict": "ok" if worst == "note" else worst}


def _spray_already_on(*, request: Mapping[str, Any], block: Block, at: dt.datetime) -> Quantity | None:
    """Return the spray at these rates that holds what the block got in the last 24 h, the most of any."""
    records = ApplicationRecord.objects.for_farm(block.farm).filter(
        block=block, status="current", finished_at__gt=at - LEFTOVER_ADDS_TO, finished_at__lte=at
    )
    got: dict[str, Decimal] = {}
    for record in records.exclude(kind="void"):
        for product in record.body.get("products") or []:
            amount = parse_quantity(product["amount"])
            got[product["product"]] = got.get(product["product"], Decimal(0)) + amount.in_base()
    volumes = []
    for wanted in request["products"]:
        rate = parse_quantity(wanted["rate"])
        if wanted["id"] in got and rate.dimension in ("mass/volume", "volume/volume"):
            volumes.append(EXACT.divide(got[wanted["id"]], rate.in_base()))
    return Quantity(max(volumes), "mL") if volumes else None
