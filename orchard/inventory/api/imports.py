"""The addresses for files of products, lots and opening balances: CSV, taken in whole or not at all."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from django.db import transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api import schema
from orchard.api.fields import Amount, Flag, Input, ListQuery, Moment, Query, Shown, Text, Word, wrong
from orchard.api.problems import faults_in
from orchard.api.refusals import Fault
from orchard.farms.endpoint import Endpoint
from orchard.farms.resources import Collection, Single
from orchard.inventory import amounts
from orchard.inventory import csv_reading as files
from orchard.inventory.api.fields import InStore, PriceField
from orchard.inventory.api.lots import LotInput
from orchard.inventory.api.products import ProductInput
from orchard.inventory.csv_reading import Column
from orchard.inventory.models import StockImport
from orchard.inventory.services import imports
from orchard.inventory.shelf_models import IMPORTS

CSV = ("text/csv",)


class OfProduct(Input):
    """A row that names a product as people do: one that is not there is a fault beside the row's others."""

    product = Text(max_length=200)

    def validate_product(self, called: str) -> str:
        try:
            self.context["products"].find(called)
        except imports.Wrong as fault:
            raise wrong(fault.detail, fault.code) from None
        return called


class LotRow(OfProduct, LotInput):
    """A lot as a row says it: its product by name, id or GTIN."""

    id = None  # type: ignore[assignment]
    gs1 = None  # type: ignore[assignment]
    product = Text(max_length=200)  # type: ignore[assignment]
    number = Text(max_length=20)  # type: ignore[assignment]
    price = PriceField(required=False)


class ProductRow(ProductInput):
    """A product as a row says it."""

    id = None  # type: ignore[assignment]


class OpeningRow(OfProduct):
    """What a lot held when the book was begun."""

    number = Text(max_length=20)
    location = Text(max_length=200, required=False)
    quantity = Amount(*amounts.DIMENSIONS)
    at = Moment(past=True, required=False)


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of file: its columns, and which field of the form each is."""

    form: type[Input]
    columns: tuple[Column, ...]
    fields: Mapping[str, str]
    """Pointer of the form by column; a column that is not in it is the field of its own name."""


def _quantity(name: str, *, required: bool = False) -> tuple[Column, Column]:
    return Column(name, required, number=True), Column(f"{name}_unit", required)


KINDS = {
    "products": Kind(
        ProductRow,
        (
            Column("name", required=True),
            Column("stock_unit", required=True),
            Column("gtins"),
            Column("lead_time_days", number=True),
            *_quantity("container"),
            *_quantity("safety_stock"),
            *_quantity("store_minimum"),
            *_quantity("store_maximum"),
        ),
        {
            "lead_time_days": "/lead_time/value",
            **{
                column: f"/{name}/{part}"
                for name in ("container", "safety_stock", "store_minimum", "store_maximum")
                for column, part in ((name, "value"), (f"{name}_unit", "unit"))
            },
        },
    ),
    "lots": Kind(
        LotRow,
        (
            Column("product", required=True),
            Column("number", required=True),
            Column("expires_on"),
            Column("made_on"),
            Column("opened_on"),
            Column("location"),
            Column("supplier"),
            Column("price", number=True),
            Column("currency"),
            *_quantity("price_per"),
        ),
        {
            "price": "/price/amount",
            "currency": "/price/currency",
            "price_per": "/price/per/value",
            "price_per_unit": "/price/per/unit",
        },
    ),
    "opening_balances": Kind(
        OpeningRow,
        (
            Column("product", required=True),
            Column("number", required=True),
            Column("location"),
            *_quantity("quantity", required=True),
            Column("at"),
        ),
        {"quantity": "/quantity/value", "quantity_unit": "/quantity/unit"},
    ),
}


class ImportShown(Shown):
    kind = serializers.ChoiceField(choices=IMPORTS)
    sha256 = serializers.CharField(help_text="of the file")
    rows = serializers.IntegerField(help_text="rows that were taken in, without the header")
    made = serializers.ListField(
        child=serializers.UUIDField(),
        help_text="ids of the products, lots or movements, row by row",
    )


class ImportsQuery(ListQuery):
    kind = Word(IMPORTS, required=False)


class Imports(InStore, Collection):
    """The files that were taken in."""

    resource = "stock_import"
    shown = ImportShown
    query = ImportsQuery

    def rows(self, **filters: Any) -> QuerySet[StockImport]:
        return StockImport.objects.for_farm(self.farm).select_related("farm").filter(**filters)


class ImportHere(InStore, Single):
    """One file that was taken in."""

    resource = "stock_import"
    shown = ImportShown

    def rows(self) -> QuerySet[StockImport]:
        return StockImport.objects.for_farm(self.farm).select_related("farm")


class ImportQuery(Query):
    dry_run = Flag(required=False, help_text="true: only say what is wrong, or that nothing is")
    decimal = Word(("point", "comma"), required=False, help_text="how the file writes 1.5; point if absent")


class Import(InStore, Endpoint):
    """A file as CSV: a header, then at most 1,000 rows; taken in whole, or refused with every fault of it."""

    resource = "stock_import"
    shown = ImportShown
    query = ImportQuery
    media_types: ClassVar[tuple[str, ...]] = CSV
    body: ClassVar[dict[str, Any]] = {}  # type: ignore[assignment]
    kind = ""

    @extend_schema(
        request={"text/csv": OpenApiTypes.STR},
        responses={201: ImportShown, 200: ImportShown},
        parameters=[
            OpenApiParameter("dry_run", bool, description="true: only say what is wrong; 200, nothing kept"),
            OpenApiParameter("decimal", str, enum=["point", "comma"], description="how it writes 1.5"),
            schema.IDEMPOTENCY,
        ],
    )
    def post(self, request: Request, **kwargs: Any) -> Response:
        """Take it in."""
        asked = self.filters()
        return self.once(lambda: self._take_in(**asked))

    def _take_in(self, *, dry_run: bool = False, decimal: str = "point") -> Response:
        kind = KINDS[self.kind]
        charset = (self.request._request.content_params or {}).get("charset", "")
        rows, faults = files.read(self.raw, charset=charset, columns=kind.columns)
        said = []
        known = {fault.pointer for fault in faults}
        broken = {pointer.split("/")[2] for pointer in known if pointer.count("/") > 1}
        context = {**self.context(), "products": imports.Products(farm=self.farm)}
        for row in rows:
            if files.at(row.number) in known:
                continue  # it could not be cut into cells
            values, amiss = self._read(row, kind, decimal, context)
            faults += [fault for fault in amiss if fault.pointer not in known]
            if not amiss and str(row.number) not in broken:
                said.append((row.number, values))
        made = imports.take_in(
            farm=self.farm,
            kind=self.kind,
            rows=said,
            faults=faults,
            columns={pointer: column for column, pointer in kind.fields.items()},
            sha256=hashlib.sha256(self.raw).hexdigest(),
            by=self.by,
            now=self.now,
        )
        answer = self.answer(made, 200 if dry_run else 201)
        if dry_run:
            transaction.set_rollback(True)
        return answer

    def _read(
        self, row: files.Row, kind: Kind, decimal: str, context: dict[str, Any]
    ) -> tuple[dict[str, Any], list[Fault]]:
        body, faults = _body(row, kind, decimal)
        form = kind.form(data=body, context=context)
        if not form.is_valid():
            columns = {pointer: column for column, pointer in kind.fields.items()}
            faults += [_of_cell(row.number, fault, columns) for fault in faults_in(form.errors)]
        return ({}, faults) if faults else (dict(form.validated_data), [])


def _body(row: files.Row, kind: Kind, decimal: str) -> tuple[dict[str, Any], list[Fault]]:
    """Return a row as the body that the same thing is made with over JSON."""
    body: dict[str, Any] = {}
    faults: list[Fault] = []
    numbers = {column.name for column in kind.columns if column.number}
    for name, cell in row.cells.items():
        if name in numbers:
            cell, fault = _number(cell, decimal, row.number, name)
            faults += fault
        *way, last = kind.fields.get(name, f"/{name}")[1:].split("/")
        place = body
        for step in way:
            place = place.setdefault(step, {})
        place[last] = _FORM.get(name, str)(cell)
    if "lead_time" in body:
        body["lead_time"]["unit"] = "d"
    return body, faults


_FORM: dict[str, Callable[[str], Any]] = {"gtins": lambda cell: cell.replace(";", " ").split()}


def _number(cell: str, decimal: str, row: int, column: str) -> tuple[str, list[Fault]]:
    """Return a number with a point; a comma is read as one only where the sender said so."""
    strange, usual = (",", ".") if decimal == "point" else (".", ",")
    if strange in cell:
        facts = {"row": row, "cell": repr(cell[:40])}
        if strange == ",":
            detail = _("row %(row)s: %(cell)s has a comma in it: write it with a point, or say decimal=comma")
        else:
            detail = _("row %(row)s: %(cell)s has a point in it: write it with a comma, or say decimal=point")
        return "1", [Fault("not_a_decimal", detail % facts, files.at(row, column))]
    return cell.replace(usual, "."), []


def _of_cell(number: int, fault: Fault, columns: Mapping[str, str]) -> Fault:
    first = fault.pointer.strip("/").partition("/")[0]
    column = columns.get(fault.pointer) or columns.get(f"/{first}/value") or first
    detail = _("row %(number)s: %(detail)s") % {"number": number, "detail": fault.detail}
    return Fault(fault.code, detail, files.at(number, column), fault.refers_to)


class ImportProducts(Import):
    """Products as CSV: name, stock_unit, gtins, lead_time_days, container, safety_stock …"""

    kind = "products"


class ImportLots(Import):
    """Lots as CSV: product (name, id or GTIN), number, expires_on, location, supplier, price …"""

    kind = "lots"


class ImportOpeningBalances(Import):
    """What lots held when the book was begun, as CSV: product, number, location, quantity …"""

    kind = "opening_balances"
