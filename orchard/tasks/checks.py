"""Mix checks of a farm: asking the engine, keeping the answer, and a manager's word against a published stop.

A stored check is what a decision rested on; it is never changed. An override needs a reason and a reference.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import uuid
from collections.abc import Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from mixing import MixRequestError
from mixing import check_mix as ask_engine
from mixing.catalogue import LANGUAGES
from mixing.quantities import Quantity
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.remembered import remembered
from orchard.api.spoken import spoken
from orchard.blocks.models import Block
from orchard.crews.models import Sprayer
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import queries as stock
from orchard.inventory.models import LabelVersion, Product
from orchard.tasks import pair_notes
from orchard.tasks.leftovers import with_what_is_on
from orchard.tasks.models import MixCheck, Override, WorkOrder
from orchard.tasks.resolving import Wanted, resolve
from orchard.tasks.told import Told, in_each

OVERRIDE_HOLDS = dt.timedelta(hours=24)

SHORTEST_REASON = 10


def check_mix(
    *,
    farm: Farm,
    block: Block,
    sprayer: Sprayer,
    products: Sequence[Wanted],
    by: Actor,
    now: dt.datetime,
    at: dt.datetime | None = None,
    spray: Mapping[str, Any] | None = None,
    targets: Sequence[str] | None = None,
    stage: Mapping[str, Any] | None = None,
    water: Mapping[str, Any] | None = None,
    weather: Mapping[str, Any] | None = None,
    season: str | None = None,
    measures: Sequence[str] | None = None,
    leftover: bool = False,
    dry_run: bool = False,
    asked: Mapping[str, Any] | None = None,
    id: uuid.UUID | None = None,
    language: str = "en",
) -> MixCheck:
    """Check a mix for a block, and store the check unless it is a dry run.

    :param spray: as in the mix check; the block's area and trees stand in where they are not given
    :param weather: as in the mix check; from the stored hours at `at` where absent
    :param leftover: True: what the block got of the same products in the last 24 h counts with this dose
    :raises Unprocessable: with every fault of the request
    """
    at = at or now
    request = resolve(
        farm=farm,
        block=block,
        sprayer=sprayer,
        products=products,
        at=at,
        spray=spray,
        targets=targets,
        stage=stage,
        water=water,
        weather=weather,
        season=season,
        measures=measures,
    )
    report = engine_report(request, language=language)
    if leftover:
        report = with_what_is_on(
            engine_report, report, request=request, block=block, at=at, language=language
        )
    report = pair_notes.tightened(
        report, farm=farm, products=[wanted.product for wanted in products], language=language
    )
    columns: dict[str, Any] = {
        "block": block,
        "sprayer": sprayer,
        "asked": dict(asked or {}),
        "request": request,
        "report": report,
        "verdict": report["verdict"],
        "at": at,
        "fingerprint": fingerprint(block=block, products=products),
    }
    if dry_run:
        return MixCheck(farm=farm, created_at=now, updated_at=now, created_by_kind=by.kind, **columns)
    with transaction.atomic():
        return journal.create(MixCheck, farm=farm, by=by, now=now, id=id, **columns)


def engine_report(request: Mapping[str, Any], *, language: str = "en") -> dict[str, Any]:
    """Return the engine's report.

    :raises Unprocessable: with the engine's faults, each at its pointer
    """
    try:
        return ask_engine(request, language=language if language in ("en", "es") else "en")
    except MixRequestError as error:
        raise Unprocessable(*(Fault(f["code"], f["detail"], f["pointer"]) for f in error.errors)) from None


def in_each_language(request: Mapping[str, Any], finding: Mapping[str, Any]) -> Told:
    """Return the sentence of a finding so that it can be read later in any language.

    :param request: what the engine was asked, and found this
    """

    def this(one: Mapping[str, Any]) -> bool:
        return (one["id"], one["products"]) == (finding["id"], finding["products"])

    def says(language: str) -> str:
        found = ask_engine(request, language=language)["findings"]
        return next((str(one["says"]) for one in found if this(one)), str(finding["says"]))

    return in_each({language: says(language) for language in LANGUAGES})


def fingerprint(*, block: Block, products: Sequence[Wanted]) -> str:
    """Return what an override holds for: the same block, products and rates."""
    rates = sorted(
        (
            str(wanted.product.id),
            json.dumps(wanted.rate.as_json() if isinstance(wanted.rate, Quantity) else wanted.rate),
        )
        for wanted in products
    )
    return hashlib.sha256(json.dumps([str(block.id), rates]).encode()).hexdigest()


def open_stops(*, check: MixCheck, now: dt.datetime) -> list[dict[str, Any]]:
    """Return the stops of a check that no manager has taken upon themselves in the last 24 h."""
    taken = {
        (override.finding, frozenset(override.products))
        for override in _overrides(farm=check.farm, now=now)
        if override.fingerprint == check.fingerprint
    }
    return [
        finding
        for finding in check.report["findings"]
        if finding["severity"] == "stop"
        and not (finding["may_be_overridden"] and (finding["id"], frozenset(finding["products"])) in taken)
    ]


@remembered
def _overrides(*, farm: Farm, now: dt.datetime) -> list[Override]:
    """Return what managers have taken upon themselves in the last 24 h."""
    since = now - OVERRIDE_HOLDS
    return list(Override.objects.for_farm(farm).filter(created_at__gte=since, created_at__lte=now))


def override(
    *,
    farm: Farm,
    mix_check: MixCheck,
    finding: str,
    products: Sequence[Product],
    reason: str,
    reference: str,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
) -> Override:
    """Take a published stop upon oneself, for the same block, products and rates in the next 24 h.

    :raises Unprocessable: `reason_too_short`, `finding_not_found`
    :raises Conflict: `not_overridable` for a label or a regulation, or what is no stop
    """
    ids = sorted(str(product.id) for product in products)
    faults = []
    if len(reason.strip()) < SHORTEST_REASON:
        faults.append(
            Fault(
                "reason_too_short",
                _("give the reason in %(least)s characters or more") % {"least": SHORTEST_REASON},
                "/reason",
            )
        )
    match = [f for f in mix_check.report["findings"] if f["id"] == finding and sorted(f["products"]) == ids]
    if not match:
        faults.append(
            Fault("finding_not_found", _("this check has no such finding about these products"), "/finding")
        )
    if faults:
        raise Unprocessable(*faults)
    if not match[0]["may_be_overridden"]:
        raise Conflict(
            Fault(
                "not_overridable",
                _("a stop of basis %(basis)s holds for everyone") % {"basis": spoken(match[0]["basis"])},
                "/finding",
                finding=match[0],
            )
        )
    with transaction.atomic():
        return journal.create(
            Override,
            farm=farm,
            by=by,
            now=now,
            id=id,
            mix_check=mix_check,
            finding=finding,
            products=ids,
            reason=reason.strip(),
            reference=reference,
            fingerprint=mix_check.fingerprint,
        )


def of_order(*, order: WorkOrder) -> list[Wanted]:
    """Return the products and rates of a work order."""
    by_id = _products(farm=order.farm, ids=frozenset(p["product"] for p in order.products))
    labels = _labels(farm=order.farm, ids=frozenset(p["label"] for p in order.products if p.get("label")))
    return [
        Wanted(by_id[one["product"]], one["rate"], labels.get(one.get("label") or ""))
        for one in order.products
    ]


@remembered
def _products(*, farm: Farm, ids: frozenset[str]) -> dict[str, Product]:
    return {str(row.id): row for row in stock.products(farm=farm).filter(id__in=ids)}


@remembered
def _labels(*, farm: Farm, ids: frozenset[str]) -> dict[str, LabelVersion]:
    rows = LabelVersion.objects.for_farm(farm).filter(id__in=ids) if ids else ()
    return {str(row.id): row for row in rows}
