"""Keeping the papers of products: each known by the SHA-256 of its bytes."""

from __future__ import annotations

import datetime as dt
import hashlib
import uuid
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from orchard.api.refusals import Conflict, Fault, Unprocessable
from orchard.farms import journal
from orchard.farms.actors import Actor
from orchard.inventory import queries
from orchard.inventory.models import DocumentContent, LabelVersion, Product, ProductDocument
from orchard.inventory.services import labels


def add_document(
    *,
    product: Product,
    by: Actor,
    now: dt.datetime,
    content: bytes | None = None,
    sha256: str | None = None,
    label: LabelVersion | None = None,
    id: uuid.UUID | None = None,
    **said: Any,
) -> ProductDocument:
    """Add a paper of a product: its bytes, or the hash of what is kept elsewhere, or both to be compared.

    :raises Unprocessable: `required` without either, `hash_mismatch`, `not_found` for another product's label
    :raises Conflict: `document_exists`, the same bytes for the same label
    """
    found = None if content is None else hashlib.sha256(content).hexdigest()
    faults = list(_faults(product, found, sha256, label))
    if faults:
        raise Unprocessable(*faults)
    with transaction.atomic():
        labels.locked(product)
        _only_once(product, found or sha256, label)
        row = journal.create(
            ProductDocument,
            farm=product.farm,
            by=by,
            now=now,
            id=id,
            product=product,
            label=label,
            sha256=found or sha256,
            size=None if content is None else len(content),
            **said,
        )
        if content is not None:
            DocumentContent.objects.create(document=row, content=content)
    return row


def _faults(product: Product, found: str | None, given: str | None, label: LabelVersion | None) -> Any:
    if found is None and given is None:
        yield Fault(
            "required", _("send content in base64, or the sha256 of what is kept elsewhere"), "/sha256"
        )
    if found is not None and given is not None and found != given:
        detail = _("the content has the SHA-256 %(found)s: not the paper that was meant, or damaged") % {
            "found": found
        }
        yield Fault("hash_mismatch", detail, "/sha256")
    if label is not None and label.product.key != product.key:
        yield Fault("not_found", _("this product has no such label"), "/label")


def _only_once(product: Product, sha256: str | None, label: LabelVersion | None) -> None:
    same = queries.documents(product=product).filter(sha256=sha256, label=label).first()
    if same is not None:
        detail = _("this paper is kept already as %(same)s") % {"same": same.name}
        raise Conflict(
            Fault("document_exists", detail, "/sha256", refers_to=("product_document", str(same.id)))
        )
