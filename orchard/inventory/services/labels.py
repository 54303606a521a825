"""Writing versions of labels: never changed, a later one takes over."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db import transaction

from orchard.api.refusals import Fault, Unprocessable
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.inventory.models import LabelVersion, Product


def add_label(
    *,
    product: Product,
    label: dict[str, Any],
    effective_from: dt.date,
    by: Actor,
    now: dt.datetime,
    effective_until: dt.date | None = None,
    id: uuid.UUID | None = None,
) -> LabelVersion:
    """Add a version of a product's label, read and found right before; the product is a new version too.

    :raises Unprocessable: where it would end before it begins
    """
    if effective_until is not None and effective_until < effective_from:
        raise Unprocessable(
            Fault("out_of_range", f"this lies before {effective_from}, its first day", "/effective_until")
        )
    with transaction.atomic():
        made = journal.create(
            LabelVersion,
            farm=product.farm,
            by=by,
            now=now,
            id=id,
            product=product,
            label=label,
            effective_from=effective_from,
            effective_until=effective_until,
        )
        journal.touch(locked(product), now=now)
    return made


def locked(product: Product) -> Product:
    """Return a product with its row locked: one who adds below it at a time."""
    rows = Product.objects.for_farm(product.farm).select_related("farm")
    return rows.select_for_update(of=("self",), no_key=True).get(key=product.key)
