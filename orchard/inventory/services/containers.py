"""Writing what became of containers: only a rinsed one is empty, and only an empty one is thrown away."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterator
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.spoken import spoken
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm
from orchard.inventory import container_queries as queries
from orchard.inventory.models import ContainerRecord, Lot, Product
from orchard.inventory.services import labels

ONE_KIND_ONLY = {"rinse": "rinsed", "water": "rinsed", "emptied_at": "rinsed", "disposal": "disposed"}
UNRINSED = "hazardous_waste"
"""What may leave the farm without having been rinsed."""


def record_containers(
    *,
    farm: Farm,
    product: Product,
    kind: str,
    count: int,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    lot: Lot | None = None,
    at: dt.datetime | None = None,
    **said: Any,
) -> ContainerRecord:
    """Write down what became of some containers of a product.

    :raises Unprocessable: what the kind needs is missing, or is of another kind
    :raises Conflict: `not_issued`, `not_rinsed`: more than are out, or than are empty
    """
    faults = list(_faults(product, kind, lot, said))
    if faults:
        raise Unprocessable(*faults)
    with transaction.atomic():
        labels.locked(product)
        _there_are_so_many(queries.tally(product=product), kind, count, said.get("disposal"))
        return journal.create(
            ContainerRecord,
            farm=farm,
            by=by,
            now=now,
            id=id,
            product=product,
            lot=lot,
            kind=kind,
            count=count,
            at=at or now,
            **said,
        )


def _faults(product: Product, kind: str, lot: Lot | None, said: dict[str, Any]) -> Iterator[Fault]:
    if lot is not None and lot.product.key != product.key:
        yield Fault(
            "invalid",
            _("lot %(lot)s is not of %(product)s") % {"lot": lot.number, "product": product.name},
            "/lot",
        )
    for name, only in ONE_KIND_ONLY.items():
        if kind != only and said.get(name) is not None:
            yield Fault(
                "invalid",
                _("only what is %(only)s has a %(name)s") % {"only": spoken(only), "name": spoken(name)},
                f"/{name}",
            )
    if kind == "rinsed" and said.get("rinse") is None:
        yield Fault("required", _("say how it was rinsed: triple or pressure"), "/rinse")
    if kind == "disposed" and said.get("disposal") is None:
        yield Fault("required", _("say where it went"), "/disposal")


def _there_are_so_many(tally: queries.Tally, kind: str, count: int, disposal: str | None) -> None:
    if kind == "issued":
        return
    if kind in ("brought_back", "rinsed") or disposal == UNRINSED:
        if count > tally.out:
            detail = _("%(out)s are out in the field: record first that more were given out") % {
                "out": tally.out
            }
            raise Conflict(Fault("not_issued", detail, "/count"))
    elif count > tally.empty:
        detail = _("%(empty)s are rinsed: a container is empty only once its rinse is on record") % {
            "empty": tally.empty
        }
        raise Conflict(Fault("not_rinsed", detail, "/count"))
