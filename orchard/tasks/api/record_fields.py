"""What an application record shows, and what is written on paper or corrected in one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

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
from orchard.inventory import queries as store
from orchard.tasks import queries
from orchard.tasks.api.checks import RATES
from orchard.tasks.api.fields import ObservedInput, as_said
from orchard.tasks.api.telling import LeftoverInput, LotUsed
from orchard.tasks.models import ApplicationRecord
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


class Flags(serializers.JSONField):
    """What was passed, in words; what the words are made of is for the pages."""

    def to_representation(self, value: Any) -> Any:
        return [{"code": one["code"], "says": one["says"]} for one in value]


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
    flags = Flags(help_text="`[{code, says}]`: `rate_exceeded`, `late_entry`, `limit_passed`")
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
    lot = Id(
        required=False, source="of_lot", help_text="wherever that lot stood: the same number of the product"
    )
    status = Word(["current", "corrected", "void"], required=False)
    work_order = Id(required=False, source="work_order__id")


between(RecordQuery, Moment, since="finished_at__gte", until="finished_at__lte")
