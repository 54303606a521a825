"""The addresses of mix checks, overrides and the named calculations."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from mixing.calculations import CalculationError, calculate, listing
from orchard.api.fields import (
    Amount,
    Anything,
    Id,
    Input,
    Listed,
    ListQuery,
    Moment,
    Reference,
    Shown,
    Text,
    Word,
    YesNo,
    wrong,
)
from orchard.api.refusals import Fault, NotThere, Unprocessable
from orchard.blocks import queries as blocks
from orchard.crews import queries as crews
from orchard.farms.endpoint import SignedIn
from orchard.farms.resources import Making, Single
from orchard.inventory import queries as stock
from orchard.inventory.models import LabelVersion
from orchard.tasks import check_queries, checks, queries
from orchard.tasks.models import MixCheck, Override
from orchard.tasks.services import checking

RATES = tuple(
    f"{amount}/{per}" for amount in ("mass", "volume") for per in ("volume", "area", "tree", "length")
)
ANY = {"type": "object", "additionalProperties": True}


@extend_schema_field(ANY)
class AsIs(serializers.JSONField):
    """An object that the engine reads; its faults come back at their pointers."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, dict):
            raise wrong(_("is an object"))
        return data


class Rated(Input):
    """One product of a mix."""

    product = Reference(stock.products)
    rate = Amount(*RATES, "ppm", help_text="such as oz_wt/gal, lb/acre, percent_vv")
    label = Id(  # type: ignore[assignment]
        required=False, allow_null=True, help_text="label version; the one in force where absent"
    )


class MixInput(Input):
    """A mix for a block: what the farm does not know by itself."""

    id = Id(made_here=True, required=False)
    block = Reference(blocks.blocks)
    sprayer = Reference(crews.plain_sprayers)
    products = Listed(child=Rated(), required=False, min_length=1, max_length=20)
    leftover_of = Reference(
        queries.work_orders, required=False, help_text="work order whose leftover this is"
    )
    spray = AsIs(required=False, allow_null=True, help_text="as in the mix check; `area` from the block")
    at = Moment(required=False, help_text="now where absent")
    targets = Listed(child=Text(max_length=100), required=False)
    stage = AsIs(required=False, allow_null=True, help_text="a what-if; the block's latest where absent")
    water = AsIs(required=False, allow_null=True)
    weather = AsIs(required=False, allow_null=True, help_text="from the weather hours at `at` where absent")
    season = Text(max_length=40, required=False, allow_null=True)
    measures = Listed(child=Text(max_length=20), required=False, allow_null=True)
    dry_run = YesNo(required=False, help_text="true: answered with 200, nothing stored")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if "leftover_of" in attrs:
            if "products" in attrs:
                raise serializers.ValidationError(
                    {"products": [_("a leftover has the order's products")]}, code="invalid"
                )
            if not (attrs.get("spray") or {}).get("total"):
                raise serializers.ValidationError(
                    {"spray": [_("say how much is left: spray.total")]}, code="required"
                )
        elif "products" not in attrs:
            raise serializers.ValidationError({"products": [_("name the products")]}, code="required")
        return attrs


class MixCheckShown(Shown):
    id = serializers.SerializerMethodField(help_text="null for a dry run")  # type: ignore[assignment]
    block = Id()
    sprayer = Id(allow_null=True)
    at = Moment()
    verdict = serializers.ChoiceField(choices=["stop", "caution", "ok"])
    report = serializers.JSONField(help_text="as in the mix check; the `id` of a product is the product's")
    request = serializers.JSONField(help_text="as resolved: what the engine was given")
    overrides = serializers.SerializerMethodField()

    @extend_schema_field({"type": ["string", "null"], "format": "uuid"})
    def get_id(self, row: MixCheck) -> str | None:
        return None if row._state.adding else str(row.id)

    @extend_schema_field({"type": "array", "items": {"type": "string", "format": "uuid"}})
    def get_overrides(self, row: MixCheck) -> list[str]:
        return [] if row._state.adding else sorted(str(one.id) for one in row.overrides.all())


class MixCheckQuery(ListQuery):
    block = Id(required=False, source="block__id")
    verdict = Word(["stop", "caution", "ok"], required=False)


class MixChecks(Making):
    """Checks of a mix for a block, stored with all that they rested on."""

    resource = "mix_check"
    shown = MixCheckShown
    asked = MixInput
    query = MixCheckQuery

    def rows(self, **filters: Any) -> QuerySet[MixCheck]:
        return check_queries.mix_checks(farm=self.farm).filter(**filters)

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Check a mix."""
        if isinstance(self.body, dict) and self.body.get("dry_run") is True:
            made = self.create(**self.asked_for())
            return Response(self.show(made))
        return super().post(request, **kwargs)

    def create(self, **values: Any) -> MixCheck:
        order = values.pop("leftover_of", None)
        values["products"] = checks.of_order(order=order) if order else self.wanted(values["products"])
        if order is not None:
            values.setdefault("targets", order.targets)
        return checks.check_mix(
            farm=self.farm,
            asked=self.body,
            leftover=order is not None,
            by=self.by,
            now=self.now,
            language=checking.language(),
            **values,
        )

    def wanted(self, products: list[dict[str, Any]]) -> list[checks.Wanted]:
        """Return the products with the label versions that they name."""
        return [
            checks.Wanted(one["product"], one["rate"], label_version(one, at))
            for at, one in enumerate(products)
        ]


def label_version(one: dict[str, Any], at: int) -> LabelVersion | None:
    """Return the label version that a product of a body names.

    :raises Unprocessable: `not_found`
    """
    if one.get("label") is None:
        return None
    found = stock.labels(product=one["product"]).filter(id=one["label"]).first()
    if found is None:
        raise Unprocessable(
            Fault("not_found", _("this product has no such label version"), f"/products/{at}/label")
        )
    return found


class MixCheckHere(Single):
    """One check."""

    resource = "mix_check"
    shown = MixCheckShown

    def rows(self) -> QuerySet[MixCheck]:
        return check_queries.mix_checks(farm=self.farm)


class OverrideShown(Shown):
    mix_check = Id()
    finding = serializers.CharField()
    products = serializers.ListField(child=serializers.CharField())
    reason = serializers.CharField()
    reference = serializers.CharField()


class OverrideInput(Input):
    id = Id(made_here=True, required=False)
    mix_check = Reference(check_queries.mix_checks)
    finding = Text(max_length=120, help_text="id of the finding")
    products = Listed(child=Reference(stock.products), required=False, help_text="the products it is about")
    reason = Text(help_text="10 characters or more")
    reference = Text(help_text="label, adviser or publication that it rests on")


class Overrides(Making):
    """Published stops that a manager took upon themselves."""

    resource = "override"
    shown = OverrideShown
    asked = OverrideInput

    def rows(self, **filters: Any) -> QuerySet[Override]:
        return check_queries.overrides(farm=self.farm).filter(**filters)

    def create(self, **values: Any) -> Override:
        values.setdefault("products", [])
        return checks.override(farm=self.farm, by=self.by, now=self.now, **values)


class OverrideHere(Single):
    """One of them."""

    resource = "override"
    shown = OverrideShown

    def rows(self) -> QuerySet[Override]:
        return check_queries.overrides(farm=self.farm)


class ReportShown(serializers.Serializer):
    verdict = serializers.ChoiceField(choices=["stop", "caution", "ok"])
    findings = serializers.ListField(child=serializers.JSONField())
    not_checked = serializers.ListField(child=serializers.JSONField())
    order = serializers.ListField(child=serializers.JSONField())
    loads = serializers.ListField(child=serializers.JSONField())
    totals = serializers.ListField(child=serializers.JSONField())
    dial = Anything(allow_null=True)
    year = serializers.ListField(child=serializers.JSONField(), allow_null=True)
    protection = Anything(allow_null=True)
    re_entry = Anything(allow_null=True)
    harvest = Anything(allow_null=True)
    jar_test = Anything(allow_null=True)
    cleaning = serializers.ListField(child=serializers.JSONField())
    cautions = serializers.ListField(child=serializers.CharField())
    rules = serializers.JSONField()


class EngineInput(Input):
    """The request of the mix check, with labels in place: see the mix check's own description.

    Null is the same as absent: it was not said. The engine reads the body itself; this form describes it.
    """

    crop = Text(max_length=500)
    stage = AsIs(required=False, allow_null=True)
    region = Text(max_length=6, required=False, allow_null=True)
    targets = Listed(child=Text(max_length=500), required=False, allow_null=True)
    season = Text(max_length=500, required=False, allow_null=True)
    at = Moment(required=False, allow_null=True)
    sprayer = AsIs()
    water = AsIs(required=False, allow_null=True)
    spray = AsIs(required=False, allow_null=True)
    weather = AsIs(required=False, allow_null=True)
    products = Listed(child=AsIs(), min_length=1, max_length=20)
    history = Listed(child=AsIs(), required=False, allow_null=True, max_length=5000)
    measures = Listed(child=Text(max_length=500), required=False, allow_null=True)


class MixCheckOfNoFarm(SignedIn):
    """The engine alone: nothing is stored, no farm is asked."""

    shown = ReportShown
    asked = EngineInput

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Check a mix as it stands."""
        return Response(checks.engine_report(self.body, language=self.language(request)))


class CalculationLine(serializers.Serializer):
    name = serializers.CharField()


class CalculationsShown(serializers.Serializer):
    items = serializers.ListField(
        child=serializers.JSONField(), help_text="each with its schemas and sources"
    )


class Calculations(SignedIn):
    """The named calculations."""

    shown = CalculationsShown

    def get(self, request: Request, **kwargs: Any) -> Response:
        """List them with their schemas and sources."""
        self.filters()
        return Response({"items": listing()})


class CalculationShown(serializers.Serializer):
    steps = serializers.ListField(
        child=serializers.JSONField(), help_text="the formula with its numbers put in"
    )
    source = serializers.JSONField()  # type: ignore[assignment]


@extend_schema_field(ANY)
class CalculationInput(Input):
    """The inputs of the calculation, as its schema in the list says."""


class Calculation(SignedIn):
    """One calculation by name."""

    shown = CalculationShown
    asked = CalculationInput

    def find(self, **kwargs: Any) -> None:
        if kwargs["name"] not in {one["name"] for one in listing()}:
            raise NotThere(
                Fault("not_found", _("there is no such calculation: GET /api/v1/calculations lists them"))
            )

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Work it out."""
        try:
            return Response(calculate(kwargs["name"], self.body, language=self.language(request)))
        except CalculationError as error:
            raise Unprocessable(
                *(Fault(f["code"], f["detail"], f["pointer"]) for f in error.errors)
            ) from None


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path("mix-checks", MixCheckOfNoFarm.as_view()),
    path("calculations", Calculations.as_view()),
    path("calculations/<str:name>", Calculation.as_view()),
    path(f"{_AT}mix-checks", MixChecks.as_view()),
    path(f"{_AT}mix-checks/<uuid:id>", MixCheckHere.as_view()),
    path(f"{_AT}overrides", Overrides.as_view()),
    path(f"{_AT}overrides/<uuid:id>", OverrideHere.as_view()),
]
