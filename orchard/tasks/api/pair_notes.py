"""The addresses of what a farm has seen of its pairs of products."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from rest_framework import serializers

from orchard.api.fields import Day, Id, Input, Listed, ListQuery, Moment, Reference, Shown, Text, Word
from orchard.farms.models import Farm
from orchard.farms.resources import Acting, Making, Single
from orchard.inventory import queries as store
from orchard.inventory.shelf_models import ProductDocument
from orchard.tasks import pair_notes
from orchard.tasks.experience import JUDGED, SEEN_IN, PairNote


def _papers(*, farm: Farm) -> QuerySet[ProductDocument]:
    return ProductDocument.objects.for_farm(farm).select_related("product")


class PairNoteShown(Shown):
    products = serializers.SerializerMethodField(help_text="ids of the two")
    seen_in = serializers.ChoiceField(choices=SEEN_IN)
    judged = serializers.ChoiceField(choices=JUDGED, help_text="how a mix check with both finds it")
    seen = serializers.CharField()
    seen_on = serializers.DateField()
    photo = Id(allow_null=True, help_text="among the papers of one of the products")
    lifted_at = Moment(allow_null=True, help_text="from then on it counts no more")
    lifted_because = serializers.CharField(allow_null=True)

    def get_products(self, row: PairNote) -> list[str]:
        return [str(row.first.id), str(row.second.id)]


class PairNoteInput(Input):
    id = Id(made_here=True, required=False)
    products = Listed(child=Reference(store.products), min_length=2, max_length=2)
    seen_in = Word(SEEN_IN)
    judged = Word(JUDGED, help_text="how a mix check with both finds it; it is never milder for it")
    seen = Text(help_text="what was seen, in words")
    seen_on = Day(help_text="on the farm, not ahead")
    photo = Reference(
        _papers,
        required=False,
        allow_null=True,
        help_text="a picture among the papers of one of the products",
    )


class PairNoteQuery(ListQuery):
    judged = Word(JUDGED, required=False)


class PairNotes(Making):
    """What the farm has seen of pairs of products itself. It only tightens its mix checks."""

    resource = "pair_note"
    shown = PairNoteShown
    asked = PairNoteInput
    query = PairNoteQuery

    def rows(self, **filters: Any) -> QuerySet[PairNote]:
        return pair_notes.pair_notes(farm=self.farm, **filters)

    def create(self, **values: Any) -> PairNote:
        first, second = values.pop("products")
        return pair_notes.add_pair_note(
            farm=self.farm, first=first, second=second, by=self.by, now=self.now, **values
        )


class PairNoteHere(Single):
    """One of them."""

    resource = "pair_note"
    shown = PairNoteShown

    def rows(self) -> QuerySet[PairNote]:
        return pair_notes.pair_notes(farm=self.farm)


class LiftInput(Input):
    reason = Text(help_text="what has been found out since")


class Lift(Acting):
    """Let a note count no more: the owner's alone, since checks may be milder from then on."""

    action = "lift"
    resource = "pair_note"
    shown = PairNoteShown
    asked = LiftInput

    def rows(self) -> QuerySet[PairNote]:
        return pair_notes.pair_notes(farm=self.farm)

    def do(self, row: PairNote, **values: Any) -> PairNote:
        return pair_notes.lift(note=row, by=self.by, now=self.now, **values)


_AT = "farms/<uuid:farm>/pair-notes"
urlpatterns = [
    path(_AT, PairNotes.as_view()),
    path(f"{_AT}/<uuid:id>", PairNoteHere.as_view()),
    path(f"{_AT}/<uuid:id>/actions/lift", Lift.as_view()),
]
