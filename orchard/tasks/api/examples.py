"""The addresses of the season plans that are shipped, and of taking one over."""

from __future__ import annotations

from typing import Any

from django.urls import path
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import (
    Amount,
    Anything,
    Day,
    Id,
    Input,
    Listed,
    Reference,
    Text,
    Word,
    named,
    wrong,
)
from orchard.api.refusals import Fault, NotThere
from orchard.blocks import queries as block_queries
from orchard.farms.endpoint import Endpoint
from orchard.inventory import queries as store
from orchard.tasks import adopting
from orchard.tasks.api.programmes import ProgrammeShown
from orchard.tasks.examples import Example, ExampleLine, Mix, Part, shipped


class SourceShown(serializers.Serializer):
    title = serializers.CharField()
    publisher = serializers.CharField()
    year = serializers.IntegerField(allow_null=True, default=None)
    where = serializers.CharField()


class PartShown(serializers.Serializer):
    what = serializers.CharField(help_text="ingredient or group of ingredients")
    rate = Anything(allow_null=True, help_text="as published; null: the label's own, or by its metal")
    metal = Anything(allow_null=True, help_text="`{of, rate}`: a rate that counts an element")
    products = serializers.ListField(
        child=serializers.UUIDField(),
        help_text="the farm's products that fit, the one that would be taken first",
    )


class MixShown(serializers.Serializer):
    products = PartShown(many=True)
    note = serializers.CharField(allow_null=True)


class ExampleLineShown(serializers.Serializer):
    key = serializers.CharField(help_text="to leave the line out by")
    title = serializers.CharField()
    kind = serializers.CharField()
    crops = serializers.ListField(child=serializers.CharField())
    stage = Anything(help_text="BBCH, `{from, to}`, both in")
    leaf_drop_minimum_percent = serializers.CharField(allow_null=True)
    targets = serializers.ListField(child=serializers.CharField())
    mix = MixShown(allow_null=True)
    alternatives = MixShown(many=True)
    volume_per_area = Anything(allow_null=True, help_text="spray per area, a quantity")
    repeat_after = Anything(allow_null=True, help_text="a quantity of time")
    note = serializers.CharField()
    sources = serializers.ListField(child=serializers.CharField())


class ExampleShown(serializers.Serializer):
    id = serializers.CharField()
    title = serializers.CharField()
    about = serializers.CharField()
    crops = serializers.ListField(child=serializers.CharField())
    sources = serializers.DictField(child=SourceShown())
    lines = ExampleLineShown(many=True)
    lacking = serializers.ListField(
        child=serializers.CharField(),
        help_text="what the first mixes ask for and no label in force offers for the crops grown here",
    )


class ExamplesShown(serializers.Serializer):
    items = ExampleShown(many=True)
    next = serializers.CharField(allow_null=True)


class _Looking(Endpoint):
    """What all share: an example as this farm sees it."""

    resource = "programme_example"

    def seen(self, example: Example) -> dict[str, Any]:
        shelf = adopting.shelf(farm=self.farm, on=store.day_on_farm(farm=self.farm, at=self.now))
        grown = set(
            block_queries.blocks(farm=self.farm).filter(archived=False).values_list("crop", flat=True)
        )
        lines = [_line(line, shelf, grown) for line in example.lines]
        lacking = {
            part["what"]
            for line in lines
            if line["mix"] and set(line["crops"]) & grown
            for part in line["mix"]["products"]
            if not part["products"]
        }
        return {
            "id": example.id,
            "title": example.title,
            "about": example.about,
            "crops": list(example.crops),
            "sources": example.sources,
            "lines": lines,
            "lacking": sorted(lacking),
        }


def _line(line: ExampleLine, shelf: adopting.Shelf, grown: set[str]) -> dict[str, Any]:
    crops = [crop for crop in line.crops if crop in grown] or list(line.crops)
    drop = line.leaf_drop_minimum_percent
    return {
        "key": line.key,
        "title": line.title,
        "kind": line.kind,
        "crops": list(line.crops),
        "stage": {"from": line.stage[0], "to": line.stage[1]},
        "leaf_drop_minimum_percent": None if drop is None else str(drop),
        "targets": list(line.targets),
        "mix": None if line.mix is None else _mix(line.mix, shelf, crops),
        "alternatives": [_mix(one, shelf, crops) for one in line.alternatives],
        "volume_per_area": line.volume_per_area.as_json() if line.volume_per_area else None,
        "repeat_after": line.repeat_after.as_json() if line.repeat_after else None,
        "note": line.note,
        "sources": list(line.sources),
    }


def _mix(mix: Mix, shelf: adopting.Shelf, crops: list[str]) -> dict[str, Any]:
    return {"products": [_part(one, shelf, crops) for one in mix.parts], "note": mix.note}


def _part(part: Part, shelf: adopting.Shelf, crops: list[str]) -> dict[str, Any]:
    rate = part.metal_rate
    return {
        "what": part.what,
        "rate": part.rate.as_json() if part.rate else None,
        "metal": {"of": part.metal, "rate": rate.as_json()} if rate else None,
        "products": [product.id for product, _ in shelf.fitting(part.what, crops=crops)],
    }


class Examples(_Looking):
    """Season plans as extension services publish them, with what of the farm's own would be taken."""

    shown = ExamplesShown

    def get(self, request: Request, **kwargs: Any) -> Response:
        """List them."""
        self.filters()
        return Response(self.show({"items": [self.seen(one) for one in shipped().values()], "next": None}))


class _Named(_Looking):
    """One example, by its id."""

    example: Example

    def find(self, **kwargs: Any) -> None:
        found = shipped().get(kwargs["name"])
        if found is None:
            raise NotThere(
                Fault(
                    "not_found",
                    _("there is no such example: %(shipped)s") % {"shipped": ", ".join(shipped())},
                )
            )
        self.example = found


class ExampleHere(_Named):
    """One of them."""

    shown = ExampleShown

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read it."""
        self.filters()
        return Response(self.show(self.seen(self.example)))


class AdoptInput(Input):
    """How the example is to be taken over."""

    id = Id(made_here=True, required=False, help_text="of the season plan")
    name = Text(max_length=200, required=False, help_text="the example's title where absent")
    status = Word(["advice", "active"], required=False)
    blocks = Listed(
        child=Reference(block_queries.blocks), required=False, allow_null=True, help_text="all where absent"
    )
    products = serializers.DictField(
        child=Reference(store.products),
        required=False,
        help_text='the farm\'s product for what is named, `{"copper": ID}`; else the one there is most of',
    )
    without = Listed(child=Text(max_length=60), required=False, help_text="keys of lines to leave out")
    volume_per_tree = Amount("volume", "volume/tree", required=False, allow_null=True)
    volume_per_area = Amount("volume/area", required=False, allow_null=True)

    def validate_products(self, value: Any) -> Any:
        if len(value) > 50:
            raise wrong(_("at most 50"))
        return value

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if attrs.get("volume_per_tree") and attrs.get("volume_per_area"):
            raise serializers.ValidationError(
                {"volume_per_tree": [_("give the spray per tree or per area, not both")]}, code="invalid"
            )
        return attrs


named(AdoptInput, "from", Day(source="starts_on"))
named(AdoptInput, "until", Day(source="ends_on"))


class Adopt(_Named):
    """Take it over: a season plan with the farm's own products, at rates that their labels allow."""

    http_method_names = ["post", "options"]
    verbs = {"POST": "adopt"}
    matches = False  # an example never changes
    shown = ProgrammeShown
    asked = AdoptInput

    @property
    def responses(self) -> Any:
        return {201: ProgrammeShown}

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Take it over."""
        return self.once(self._adopt)

    def _adopt(self) -> Response:
        asked = self.asked_for()
        terms = adopting.Terms(
            products=asked.pop("products", {}),
            left_out=frozenset(asked.pop("without", ())),
            blocks=asked.pop("blocks", None),
            volume_per_tree=asked.pop("volume_per_tree", None),
            volume_per_area=asked.pop("volume_per_area", None),
        )
        made = adopting.adopt(
            farm=self.farm, example=self.example, terms=terms, by=self.by, now=self.now, **asked
        )
        return self.answer(made, 201)


_AT = "farms/<uuid:farm>/programme-examples"
urlpatterns = [
    path(_AT, Examples.as_view()),
    path(f"{_AT}/<str:name>", ExampleHere.as_view()),
    path(f"{_AT}/<str:name>/actions/adopt", Adopt.as_view()),
]
