"""Writing versions of labels: never changed, a later one takes over."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from orchard.api import permissions
from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.api.spoken import spoken
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

    Where the farm wants labels approved, one that somebody else than a manager enters is only proposed.

    :raises Unprocessable: where it would end before it begins
    :raises Conflict: `label_exists`, where another is in force from the same day
    """
    if effective_until is not None and effective_until < effective_from:
        raise Unprocessable(
            Fault(
                "out_of_range",
                _("this lies before %(effective_from)s, its first day") % {"effective_from": effective_from},
                "/effective_until",
            )
        )
    status = "proposed" if _wants_approval(product, by) else "approved"
    with transaction.atomic():
        held = locked(product)
        if status == "approved":
            _only_one(product=held, effective_from=effective_from, pointer="/effective_from")
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
            status=status,
        )
        journal.touch(held, now=now)
    return made


def _only_one(*, product: Product, effective_from: dt.date, pointer: str = "") -> None:
    """Refuse a second version from the same day: which of them holds would be chance.

    The caller holds the product's lock.

    :raises Conflict: `label_exists`
    """
    approved = LabelVersion.objects.for_farm(product.farm).filter(product=product, status="approved")
    if found := approved.filter(effective_from=effective_from).first():
        says = _(
            "%(product)s has a label in force from %(effective_from)s already: withdraw that one first, "
            "or give the day from which this one holds"
        ) % {"product": product.name, "effective_from": effective_from}
        raise Conflict(Fault("label_exists", says, pointer, refers_to=("label_version", str(found.id))))


def _wants_approval(product: Product, by: Actor) -> bool:
    return product.farm.labels_need_approval and not permissions.allows(
        role=by.role, scopes=by.scopes, resource="label_version", verb="approve"
    )


def approve_label(
    *, version: LabelVersion, by: Actor, now: dt.datetime, reason: str | None = None
) -> LabelVersion:
    """Let a proposed label come into force from its first day. The caller holds its lock.

    :raises Conflict: `state_conflict`; `label_exists`, where another is in force from the same day
    """
    if version.status != "proposed":
        raise Conflict(
            Fault(
                "state_conflict", _("this label is %(status)s already") % {"status": spoken(version.status)}
            )
        )
    _only_one(product=locked(version.product), effective_from=version.effective_from)
    return _decide(version, "approve", "approved", by=by, now=now, reason=reason)


def withdraw_label(*, version: LabelVersion, reason: str, by: Actor, now: dt.datetime) -> LabelVersion:
    """Take a mistaken label out of force, as if it had never held. The caller holds its lock.

    What was checked and recorded by it stays as it is: both keep the label that they rested on.

    :raises Conflict: `state_conflict`
    """
    if version.status == "withdrawn":
        raise Conflict(Fault("state_conflict", _("this label is withdrawn already")))
    return _decide(version, "withdraw", "withdrawn", by=by, now=now, reason=reason)


def _decide(
    version: LabelVersion, action: str, status: str, *, by: Actor, now: dt.datetime, reason: str | None
) -> LabelVersion:
    journal.change(
        version,
        by=by,
        now=now,
        action=action,
        reason=reason,
        status=status,
        decided_at=now,
        decided_by=by.name,
        decision_reason=reason,
    )
    journal.touch(locked(version.product), now=now)
    return version


def locked(product: Product) -> Product:
    """Return a product with its row locked: one who adds below it at a time."""
    rows = Product.objects.for_farm(product.farm).select_related("farm")
    return rows.select_for_update(of=("self",), no_key=True).get(key=product.key)
