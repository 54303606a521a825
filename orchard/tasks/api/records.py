"""The addresses of application records: what the law asks for, frozen, corrected openly."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from django.urls import path
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import (
    Amount,
    Id,
    Input,
    Listed,
    ListQuery,
    Moment,
    Reference,
    Shown,
    Text,
    Whole,
    Word,
    YesNo,
    between,
)
from orchard.blocks import queries as blocks
from orchard.crews import queries as crews
from orchard.farms.resources import Making, Single
from orchard.inventory import queries as store
from orchard.tasks import queries
from orchard.tasks.api.actions import LeftoverInput, LotUsed
from orchard.tasks.api.checks import RATES
from orchard.tasks.api.fields import ObservedInput, as_said
from orchard.tasks.api.schedule import safe
from orchard.tasks.models import ApplicationRecord
from orchard.tasks.services import records
from orchard.tasks.services.told import Line

KEPT_TEXTS = {"type": "array", "items": {"type": "string"}}
OBJECTS = {"type": "array", "items": {"type": "object"}}
OF_A_PRODUCT = (
    "product",
    "name",
    "registration",
    "active_ingredients",
    "amount",
    "rate",
    "rate_applied",
    "per_area",
    "metal",
    "re_entry",
    "pre_harvest",
    "label",
    "label_version",
    "lots",
)


def of_body(name: str, schema: Any, help_text: str | None = None) -> Any:
    """Return a field that is read from what a record froze."""

    @extend_schema_field(schema)
    class Frozen(serializers.Field):
        def get_attribute(self, row: ApplicationRecord) -> Any:
            return row.body.get(name)

        def to_representation(self, value: Any) -> Any:
            return value

    return Frozen(read_only=True, allow_null=True, help_text=help_text)


class RecordShown(Shown):
    kind = serializers.ChoiceField(choices=["application", "correction", "void"])
    status = serializers.ChoiceField(choices=["current", "corrected", "void"])
    corrects = Id(allow_null=True)
    corrected_by = Id(allow_null=True)
    reason = serializers.CharField(allow_null=True, help_text="of a correction or a void")
    work_order = Id(allow_null=True)
    block = Id()
    place = of_body("place", {"type": "object"}, "the block as it was: name, crop, EPPO code, outline")
    use = of_body("use", {"type": "string"}, "type of use")
    started_at = Moment()
    finished_at = Moment()
    received_at = Moment()
    sprayer = Id(allow_null=True)
    crew = Id(allow_null=True)
    sprayed_by = of_body("sprayed_by", KEPT_TEXTS, "workers")
    people = of_body("people", OBJECTS, "`[{worker, name, licence}]` as of that day")
    spray = of_body("spray", {"type": "object"}, "`{total, area, trees}`")
    products = serializers.SerializerMethodField(help_text="amounts, lots, label as it was")
    stage = of_body("stage", {"type": "object"}, "`{bbch, observed_on, observation}`")
    weather = of_body("weather", {"type": "object"}, "what was observed")
    targets = of_body("targets", KEPT_TEXTS)
    mix_check = Id(allow_null=True)
    loads = of_body("loads", KEPT_TEXTS)
    re_entry_until = Moment(allow_null=True)
    harvest_not_before = serializers.DateField(allow_null=True)
    incidents = of_body("incidents", KEPT_TEXTS)
    nothing_unusual = of_body("nothing_unusual", {"type": "boolean"})
    leftover = of_body("leftover", {"type": "object"}, "`{volume, fate, block}`")
    pauses = of_body("pauses", OBJECTS)
    note = of_body("note", {"type": "string"})
    flags = serializers.JSONField(help_text="`[{code, says}]`: `rate_exceeded`, `late_entry`, `limit_passed`")
    not_stated = of_body(
        "not_stated", OBJECTS, "elements of the rules that nobody gave: `[{element, rule, where}]`"
    )
    rules = of_body("rules", {"type": "object"}, "version of the rule tables")

    @extend_schema_field(OBJECTS)
    def get_products(self, row: ApplicationRecord) -> list[dict[str, Any]]:
        return [{name: one.get(name) for name in OF_A_PRODUCT} for one in row.body["products"]]


class SprayedInput(Input):
    """What was sprayed."""

    total = Amount("volume", required=False, allow_null=True)
    area = Amount(
        "area", required=False, allow_null=True, help_text="ground treated; the block's where absent"
    )
    trees = Whole(min_value=1, required=False, allow_null=True)


class ProductPut(Input):
    """One product as it was put on."""

    product = Reference(store.products)
    amount = Amount("mass", "volume", "count", help_text="in all")
    rate = Amount(*RATES, "ppm", required=False, allow_null=True, help_text="that was meant")
    lots = Listed(child=LotUsed(), required=False, help_text="stock is taken only where they are named")


class StageSeen(Input):
    """The stage at that time."""

    bbch = Whole(min_value=0, max_value=99)


class RecordFields(Input):
    """What is written on paper, and what a correction may change."""

    block = Reference(blocks.blocks)
    started_at = Moment(past=True)
    finished_at = Moment(past=True)
    sprayer = Reference(crews.plain_sprayers)
    spray = SprayedInput(required=False)
    products = Listed(child=ProductPut(), min_length=1, max_length=20)
    crew = Reference(crews.crews, required=False, allow_null=True)
    sprayed_by = Listed(child=Reference(crews.workers), required=False)
    stage = StageSeen(required=False, allow_null=True)
    weather = ObservedInput(required=False, allow_null=True)
    targets = Listed(child=Text(max_length=100), required=False)
    incidents = Listed(child=Reference(queries.incidents), required=False)
    nothing_unusual = YesNo(required=False)
    leftover = LeftoverInput(required=False, allow_null=True)
    note = Text(required=False, allow_null=True)


class RecordInput(RecordFields):
    id = Id(made_here=True, required=False)


def as_told(values: Mapping[str, Any]) -> dict[str, Any]:
    """Return the fields of a body as the service takes them."""
    told = dict(values)
    if "products" in told:
        told["lines"] = tuple(_line(one) for one in told.pop("products"))
    if "stage" in told:
        told["bbch"] = (told.pop("stage") or {}).get("bbch")
    if "weather" in told:
        told["observed"] = as_said(told.pop("weather"))
    if "leftover" in told:
        told["leftover"] = as_said(told["leftover"])
    if "spray" in told:
        told["spray"] = {name: as_said(told["spray"].get(name)) for name in ("total", "area", "trees")}
    for name in ("sprayed_by", "targets", "incidents"):
        if name in told:
            told[name] = tuple(told[name])
    return told


def _line(one: Mapping[str, Any]) -> Line:
    rate, lots = one.get("rate"), one.get("lots") or []
    return Line(
        product=one["product"],
        amount=one["amount"],
        rate=rate.as_json() if rate is not None else None,
        lots=tuple((lot["lot"], lot["amount"]) for lot in lots),
    )


class RecordQuery(ListQuery):
    block = Id(required=False, source="block__id")
    product = Id(required=False, source="applied__product__id")
    lot = Id(required=False, source="applied__lot__id")
    status = Word(["current", "corrected", "void"], required=False)
    work_order = Id(required=False, source="work_order__id")


between(RecordQuery, Moment, since="finished_at__gte", until="finished_at__lte")


class Records(Making):
    """What was put on which block; those written on paper are entered here."""

    resource = "application_record"
    shown = RecordShown
    asked = RecordInput
    query = RecordQuery

    def rows(self, **filters: Any) -> QuerySet[ApplicationRecord]:
        rows = queries.records(farm=self.farm, **filters)
        return rows.distinct() if any(name.startswith("applied") for name in filters) else rows

    def create(self, **values: Any) -> ApplicationRecord:
        told = as_told(values)
        block = told["block"]
        spray = told.setdefault("spray", {"total": None, "area": None, "trees": None})
        spray["area"] = spray["area"] or (block.area.as_json() if block.area else None)
        return records.add_from_paper(farm=self.farm, by=self.by, now=self.now, **told)


class RecordHere(Single):
    """One record."""

    resource = "application_record"
    shown = RecordShown

    def rows(self) -> QuerySet[ApplicationRecord]:
        return queries.records(farm=self.farm)


class RecordAction(RecordHere):
    """What is done with a record; the answer is the new one."""

    http_method_names = ["post", "options"]

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Do it."""
        return self.once(self._act)

    def _act(self) -> Response:
        self.match(self.thing)
        return self.answer(self.do(self.thing, **self.asked_for()), 201)

    def do(self, record: ApplicationRecord, **values: Any) -> ApplicationRecord:
        """Do it with one call down; return the new record."""
        raise NotImplementedError


class Changes(RecordFields):
    """The fields that were wrong."""

    def get_fields(self) -> Any:
        fields = super().get_fields()
        for field in fields.values():
            field.required = False
        return fields


class CorrectInput(Input):
    id = Id(made_here=True, required=False, help_text="the new record's")
    reason = Text()
    changes = Changes()


class Correct(RecordAction):
    """Write a new record in place of one that was wrong; the old one stays."""

    verbs = {"POST": "correct"}
    asked = CorrectInput

    @property
    def responses(self) -> Any:
        return {201: RecordShown}

    def do(self, record: ApplicationRecord, **values: Any) -> ApplicationRecord:
        values["changes"] = as_told(values["changes"])
        return records.correct(record=record, by=self.by, now=self.now, **values)


class VoidInput(Input):
    id = Id(made_here=True, required=False, help_text="the new record's")
    reason = Text()


class Void(RecordAction):
    """Take back a record that should never have been: lots go back, dates are worked out again."""

    verbs = {"POST": "void"}
    asked = VoidInput

    @property
    def responses(self) -> Any:
        return {201: RecordShown}

    def do(self, record: ApplicationRecord, **values: Any) -> ApplicationRecord:
        return records.void(record=record, by=self.by, now=self.now, **values)


COLUMNS = (
    "id", "kind", "status", "corrects", "corrected_by", "work_order", "block", "block_name", "crop", "eppo",
    "started_at", "finished_at", "received_at", "sprayer", "sprayed_by", "licences", "bbch", "targets",
    "spray_value", "spray_unit", "area_value", "area_unit", "trees", "wind_value", "wind_unit",
    "temperature_value", "temperature_unit", "product", "product_name", "registration", "active_ingredients",
    "amount_value", "amount_unit", "rate_value", "rate_unit", "per_area_value", "per_area_unit", "lots",
    "re_entry_until", "harvest_not_before", "incidents", "flags", "note",
)  # fmt: skip
MOST = 5000


class RecordsCsv(Records):
    """The records as CSV in UTF-8, one line a product, 5,000 records at most; filters as the list's."""

    http_method_names = ["get", "head", "options"]

    @property
    def responses(self) -> Any:
        return {(200, "text/csv"): str}

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Read them, oldest first."""
        asked = self.filters()
        for name in ("limit", "cursor"):
            asked.pop(name, None)
        for name, column in (("created_since", "created_at__gte"), ("updated_since", "updated_at__gte")):
            if name in asked:
                asked[column] = asked.pop(name)
        rows = self.rows(**asked).order_by("finished_at", "id")[:MOST]
        out = io.StringIO()
        writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
        writer.writeheader()
        for item, row in zip(self.listed(list(rows)), rows, strict=True):
            writer.writerows(lines(item, row))
        response = HttpResponse(out.getvalue(), content_type="text/csv; charset=utf-8")
        response["Content-Disposition"] = 'attachment; filename="application-records.csv"'
        return response


def lines(item: Mapping[str, Any], row: ApplicationRecord) -> Iterator[dict[str, str]]:
    """Yield the lines of one record, each cell so that no spreadsheet takes it for a formula."""
    people, weather = item["people"] or [], item["weather"] or {}
    spray, place = item["spray"] or {}, item["place"] or {}
    shared = {
        **{name: item[name] for name in COLUMNS if name in item},
        "block_name": place.get("name"),
        "crop": place.get("crop"),
        "eppo": place.get("eppo"),
        "sprayer": row.sprayer.name if row.sprayer else None,
        "sprayed_by": "; ".join(one["name"] for one in people),
        "licences": "; ".join(one["licence"] for one in people if one["licence"]),
        "bbch": (item["stage"] or {}).get("bbch"),
        "targets": "; ".join(item["targets"] or []),
        "incidents": "; ".join(item["incidents"] or []),
        "flags": "; ".join(f"{one['code']}: {one['says']}" for one in item["flags"]),
        "trees": spray.get("trees"),
        **_apart("spray", spray.get("total")),
        **_apart("area", spray.get("area")),
        **_apart("wind", weather.get("wind")),
        **_apart("temperature", weather.get("temperature")),
    }
    for one in item["products"] or [{}]:
        cells = {**shared, **_product_cells(one)}
        yield {name: safe("" if cells.get(name) is None else str(cells[name])) for name in COLUMNS}


def _apart(name: str, quantity: Mapping[str, str] | None) -> dict[str, str | None]:
    """Return a quantity as two cells, the number and its unit."""
    return {f"{name}_value": quantity["value"], f"{name}_unit": quantity["unit"]} if quantity else {}


def _product_cells(one: Mapping[str, Any]) -> dict[str, Any]:
    lots = [
        f"{lot['number']} {lot['amount']['value']} {lot['amount']['unit']}" for lot in one.get("lots") or []
    ]
    return {
        "product": one.get("product"),
        "product_name": one.get("name"),
        "registration": one.get("registration"),
        "active_ingredients": "; ".join(one.get("active_ingredients") or []),
        "lots": "; ".join(lots),
        **_apart("amount", one.get("amount")),
        **_apart("rate", one.get("rate_applied")),
        **_apart("per_area", one.get("per_area")),
    }


AT = "farms/<uuid:farm>/application-records"
urlpatterns = [
    path(AT, Records.as_view()),
    path(f"{AT}.csv", RecordsCsv.as_view()),
    path(f"{AT}/<uuid:id>", RecordHere.as_view()),
    path(f"{AT}/<uuid:id>/actions/correct", Correct.as_view()),
    path(f"{AT}/<uuid:id>/actions/void", Void.as_view()),
]
