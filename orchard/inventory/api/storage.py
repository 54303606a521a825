"""The addresses of the places of the store, and of what is not kept as it should be."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.utils import translation
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import (
    Amount,
    ArchivedQuery,
    Id,
    Input,
    Listed,
    Moment,
    Query,
    Shown,
    Text,
    Whole,
    Word,
    YesNo,
)
from orchard.farms.resources import Changing, PutAway, Removing
from orchard.inventory import storage
from orchard.inventory import storage_queries as queries
from orchard.inventory.api.fields import InStore
from orchard.inventory.models import StorePlace
from orchard.inventory.services import places
from orchard.inventory.shelf_models import KEPT_BESIDE


class PlaceShown(Shown):
    name = serializers.CharField(help_text="as lots say their location")
    cabinet = serializers.CharField(allow_null=True, help_text="places of one cabinet stand above each other")
    level = serializers.IntegerField(allow_null=True, help_text="1 is the lowest of the cabinet")
    locked = serializers.BooleanField(allow_null=True, help_text="null: not known")
    ventilated = serializers.BooleanField(allow_null=True)
    signed = serializers.BooleanField(allow_null=True, help_text="a warning sign is on its door")
    bund = Amount(allow_null=True, help_text="volume that it holds back when something leaks")
    temperature_minimum = Amount(allow_null=True, help_text="coldest that it gets")
    temperature_maximum = Amount(allow_null=True, help_text="hottest that it gets")
    kept_beside = serializers.ListField(child=serializers.ChoiceField(choices=KEPT_BESIDE))
    archived = serializers.BooleanField()


class PlaceInput(Input):
    id = Id(made_here=True, required=False)
    name = Text(max_length=200)
    cabinet = Text(max_length=200, required=False, allow_null=True)
    level = Whole(min_value=1, max_value=100, required=False, allow_null=True)
    locked = YesNo(required=False, allow_null=True)
    ventilated = YesNo(required=False, allow_null=True)
    signed = YesNo(required=False, allow_null=True)
    bund = Amount("volume", sign="zero", required=False, allow_null=True)
    temperature_minimum = Amount("temperature", sign="any", required=False, allow_null=True)
    temperature_maximum = Amount("temperature", sign="any", required=False, allow_null=True)
    kept_beside = Listed(child=Word(KEPT_BESIDE), required=False, help_text="what else is kept there")


class PlaceChange(PlaceInput):
    id = None  # type: ignore[assignment]
    archived = YesNo(required=False)


class PlaceQuery(ArchivedQuery):
    name = Text(required=False)
    cabinet = Text(required=False)


class Places(InStore, PutAway):
    """The places of the store: what is known of lock, bund, temperatures and what else is kept there."""

    resource = "store_place"
    shown = PlaceShown
    asked = PlaceInput
    query = PlaceQuery

    def all_rows(self) -> QuerySet[StorePlace]:
        return queries.places(farm=self.farm)

    def create(self, **values: Any) -> StorePlace:
        return places.add_place(farm=self.farm, by=self.by, now=self.now, **values)


class PlaceHere(InStore, Changing, Removing):
    """One place of the store."""

    resource = "store_place"
    shown = PlaceShown
    asked = PlaceChange

    def rows(self) -> QuerySet[StorePlace]:
        return queries.places(farm=self.farm)

    def change(self, row: StorePlace, **values: Any) -> StorePlace:
        return places.change_place(place=row, by=self.by, now=self.now, **values)

    def remove(self, row: StorePlace) -> None:
        places.remove_place(place=row, by=self.by, now=self.now)


class StorageSource(serializers.Serializer):
    """A publication that a rule rests on."""

    title = serializers.CharField()
    publisher = serializers.CharField()
    year = serializers.IntegerField()
    kind = serializers.CharField()
    where = serializers.CharField()


class StorageFindingShown(serializers.Serializer):
    """Something in the store that is not kept as a rule says."""

    id = serializers.CharField(help_text="of the rule; never reused")
    severity = serializers.ChoiceField(choices=storage.SEVERITIES)
    basis = serializers.ChoiceField(choices=storage.BASES)
    place = serializers.CharField(allow_null=True)
    says = serializers.CharField()
    do = serializers.CharField(help_text="what to do about it")
    products = serializers.ListField(child=serializers.UUIDField())
    lots = serializers.ListField(child=serializers.UUIDField())
    sources = StorageSource(many=True)
    locator = serializers.CharField(help_text="where in the first source")


class StorageFindingsShown(serializers.Serializer):
    """What of the present stock is not kept as it should be. The label and local rules come first."""

    as_of = Moment()
    items = StorageFindingShown(many=True)


class StorageFindings(InStore):
    """What is not kept as labels and publications say, stops first."""

    resource = "storage_finding"
    shown = StorageFindingsShown
    query = Query

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read it for the stock of this moment."""
        self.filters()
        language = (translation.get_language() or "en")[:2]
        found = queries.findings(farm=self.farm, on=self.today())
        as_of = self.now.astimezone(self.context()["zone"]).isoformat()
        return Response({"as_of": as_of, "items": [_shown(one, language) for one in found]})


def _shown(finding: storage.Finding, language: str) -> dict[str, Any]:
    says, do = finding.says(language)
    names = ("title", "publisher", "year", "kind", "where")
    return {
        "id": finding.rule.id,
        "severity": finding.rule.severity,
        "basis": finding.rule.basis,
        "place": finding.place,
        "says": says,
        "do": do,
        "products": list(dict.fromkeys(one.product for one in finding.lots)),
        "lots": [one.lot for one in finding.lots],
        "sources": [{name: source[name] for name in names} for source in finding.rule.sources],
        "locator": finding.rule.locator,
    }
