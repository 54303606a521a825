"""The addresses of the ledger."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from mixing.quantities import Quantity
from orchard.api.fields import (
    QUANTITY_SCHEMA,
    Amount,
    Id,
    Input,
    ListQuery,
    Moment,
    Reference,
    Shown,
    Text,
    Word,
    between,
)
from orchard.api.spoken import spoken
from orchard.farms.resources import Making, Single
from orchard.farms.rows import entity_tag, path_of
from orchard.inventory import amounts, queries, services
from orchard.inventory.api.fields import EveryDigit, InStore
from orchard.inventory.models import MOVEMENTS, Movement
from orchard.inventory.services.movements import ENTERED, ONE_KIND_ONLY, WANTED


class MovementShown(Shown):
    kind = serializers.ChoiceField(choices=MOVEMENTS)
    lot = Id()
    quantity = EveryDigit(help_text="as it was entered")
    reason = serializers.SerializerMethodField()
    at = Moment()
    location = serializers.SerializerMethodField(help_text="where a transfer went to")
    reverses = Id(allow_null=True)
    reference = serializers.CharField(allow_null=True)
    change = serializers.SerializerMethodField(help_text="signed, in the unit that was entered")
    change_base = serializers.SerializerMethodField(help_text="signed, in g, mL or count, exact")
    balance_after = serializers.SerializerMethodField(help_text="of the lot, in the product's stock unit")
    work_order = serializers.UUIDField(allow_null=True)
    load = serializers.UUIDField(allow_null=True)
    reversed_by = serializers.SerializerMethodField()

    def get_reason(self, row: Movement) -> str | None:
        return row.reason or None

    def get_location(self, row: Movement) -> str | None:
        if row.kind != "transfer":
            return None
        to = row.other_lot if row.change_base < 0 else row.lot
        return (to.location if to else "") or None

    @extend_schema_field(QUANTITY_SCHEMA)
    def get_change(self, row: Movement) -> dict[str, str]:
        value = row.quantity.value.copy_sign(row.change_base)
        return amounts.shown(Quantity(value, row.quantity.unit))

    @extend_schema_field(QUANTITY_SCHEMA)
    def get_change_base(self, row: Movement) -> dict[str, str]:
        return amounts.shown_base(row.change_base, row.lot.product)

    @extend_schema_field(QUANTITY_SCHEMA)
    def get_balance_after(self, row: Movement) -> dict[str, str]:
        return amounts.shown_stock(row.balance_after_base, row.lot.product)

    def get_reversed_by(self, row: Movement) -> str | None:
        reversal = getattr(row, "reversed_by", None)
        return str(reversal.id) if reversal else None


def line(row: queries.Line, *, farm: uuid.UUID, zone: dt.tzinfo) -> dict[str, Any]:
    """Return one line as `MovementShown` writes it, with moments and ids as they are: for lists of many."""
    value, _, unit = row.quantity.partition(" ")
    taken = row.change_base < 0
    to = row.other_location if taken else row.location
    return {
        "id": row.id,
        "created_at": row.created_at.astimezone(zone),
        "updated_at": row.updated_at.astimezone(zone),
        "created_by": {"kind": row.created_by_kind, "id": row.created_by_id, "name": row.created_by_name},
        "etag": entity_tag(version=row.version, created_at=row.created_at),
        "url": path_of(farm=farm, collection=Movement.collection, id=row.id),
        "kind": row.kind,
        "lot": row.lot,
        "quantity": {"value": value, "unit": unit},
        "reason": row.reason or None,
        "at": row.at.astimezone(zone),
        "location": (to or None) if row.kind == "transfer" else None,
        "reverses": row.reverses,
        "reference": row.reference,
        "change": {"value": "-" * taken + value.lstrip("-"), "unit": unit},
        "change_base": amounts.written(row.change_base, row.base_unit),
        "balance_after": amounts.written(
            amounts.in_unit(row.balance_after_base, row.stock_unit), row.stock_unit
        ),
        "work_order": row.work_order,
        "load": row.load,
        "reversed_by": row.reversed_by,
    }


class MovementInput(Input):
    id = Id(made_here=True, required=False)
    kind = Word(ENTERED, help_text="`use` is made by loads only")
    lot = Reference(queries.lots, required=False, allow_null=True)
    quantity = Amount(
        *amounts.DIMENSIONS,
        sign="any",
        required=False,
        allow_null=True,
        help_text="above zero; an `adjust` may lie below",
    )
    reason = Text(required=False, allow_null=True, help_text="a `receive` needs none")
    at = Moment(past=True, required=False)
    location = Text(max_length=200, required=False, allow_null=True, help_text="to, for a `transfer`")
    reverses = Reference(
        queries.movements,
        required=False,
        allow_null=True,
        help_text="for a `reverse`: then no lot, no quantity",
    )
    reference = Text(max_length=200, required=False, allow_null=True)

    def to_internal_value(self, data: Any) -> Any:
        """Read the fields, and say in one answer what the kind lacks as well."""
        by_kind = _faults_of_kind(data) if isinstance(data, dict) else {}
        try:
            values = super().to_internal_value(data)
        except ValidationError as error:
            assert isinstance(error.detail, dict)
            raise ValidationError({**by_kind, **error.detail}) from None
        quantity = values.get("quantity")
        if quantity is not None and quantity.value <= 0 and values.get("kind") != "adjust":
            by_kind["quantity"] = {"value": [ErrorDetail(_("has to be above zero"), code="out_of_range")]}
        if by_kind:
            raise ValidationError(by_kind)
        return {name: value for name, value in values.items() if value is not None}


def _faults_of_kind(data: dict[str, Any]) -> dict[str, Any]:
    kind = data.get("kind")
    if not isinstance(kind, str) or kind not in WANTED:
        return {}
    faults: dict[str, Any] = {
        name: [
            ErrorDetail(
                _("a %(kind)s needs the %(name)s") % {"kind": spoken(kind), "name": spoken(name)},
                code="required",
            )
        ]
        for name in WANTED[kind]
        if data.get(name) is None
    }
    strange = {name for name, only in ONE_KIND_ONLY.items() if kind != only}
    strange |= {"lot", "quantity"} if kind == "reverse" else set()
    for name in sorted(strange):
        if data.get(name) is not None:
            faults[name] = [
                ErrorDetail(
                    _("a %(kind)s has no %(name)s") % {"kind": spoken(kind), "name": spoken(name)},
                    code="invalid",
                )
            ]
    return faults


class MovementQuery(ListQuery):
    product = Id(required=False, source="lot__product__id")
    lot = Id(required=False, source="lot__id")
    kind = Word(MOVEMENTS, required=False)
    work_order = Id(required=False)


between(MovementQuery, Moment, since="at__gte", until="at__lte")


class Movements(InStore, Making):
    """The ledger. No line of it is ever changed: a mistake is reversed by a new one."""

    resource = "stock_movement"
    shown = MovementShown
    asked = MovementInput
    query = MovementQuery

    def rows(self, **filters: Any) -> QuerySet[Movement]:
        return queries.movements(farm=self.farm).filter(**filters)

    def read(self, rows: QuerySet[Movement]) -> list[queries.Line]:
        return queries.lines(rows)

    def listed(self, found: list[queries.Line]) -> list[dict[str, Any]]:
        return [line(row, farm=self.farm.id, zone=self.zone()) for row in found]

    def create(self, **values: Any) -> Movement:
        return services.move(farm=self.farm, by=self.by, now=self.now, **values)


class MovementHere(InStore, Single):
    """One line of the ledger."""

    resource = "stock_movement"
    shown = MovementShown

    def rows(self) -> QuerySet[Movement]:
        return queries.movements(farm=self.farm)
