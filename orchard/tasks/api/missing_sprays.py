"""The address of what may explain a count that differs from the book."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import Id, Moment
from orchard.api.refusals import Conflict, Fault
from orchard.farms.resources import Single
from orchard.inventory import amounts, stocktake_queries
from orchard.inventory.api.fields import EveryDigit
from orchard.inventory.models import Stocktake
from orchard.tasks import missing_sprays


class CandidateShown(serializers.Serializer):
    """Something to look at."""

    kind = serializers.ChoiceField(choices=["work_order", "load", "application_record"])
    id = Id()
    title = serializers.CharField()
    block = serializers.CharField(allow_null=True)
    at = Moment(help_text="when it was planned, mixed or finished")
    because = serializers.ChoiceField(
        choices=missing_sprays.BECAUSE,
        help_text="`not_started`, `not_finished`, `loads_missing`, `cancelled`: it may have been sprayed "
        "without a word; `load_not_posted`: told and on its way; `record_void`: put back; `used`: perhaps "
        "said too much",
    )
    amount = EveryDigit(allow_null=True, help_text="what it would explain, in the stock unit")


class QuestionShown(serializers.Serializer):
    """One lot that differs from the book."""

    lot = Id()
    number = serializers.CharField()
    product = Id()
    question = serializers.ChoiceField(choices=["spray_missing", "record_wrong"])
    difference = EveryDigit(help_text="counted less book, in the stock unit")
    since = Moment(allow_null=True, help_text="its last posted count; null: never counted before")
    candidates = CandidateShown(many=True)


class QuestionsShown(serializers.Serializer):
    """What the differing lots of a stocktake ask, with what may explain each, the best fit first."""

    stocktake = Id()
    items = QuestionShown(many=True)


class MissingSprays(Single):
    """Orders without a record, loads on their way and voids since the last count of each lot that differs."""

    resource = "stocktake"
    shown = QuestionsShown

    def rows(self) -> QuerySet[Stocktake]:
        return stocktake_queries.stocktakes(farm=self.farm)

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read them."""
        self.filters()
        if stocktake_queries.is_hidden(self.thing):
            raise Conflict(
                Fault("state_conflict", _("it is counted blind: end the counting with reveal first"))
            )
        items = [_shown(one) for one in missing_sprays.questions(stocktake=self.thing)]
        found = {"stocktake": self.thing.id, "items": items}
        return Response(QuestionsShown(found, context=self.context()).data)


def _shown(question: missing_sprays.Question) -> dict[str, Any]:
    product = question.lot.product
    return {
        "lot": question.lot.id,
        "number": question.lot.number,
        "product": product.id,
        "question": question.asks,
        "difference": amounts.in_stock_unit(question.difference, product),
        "since": question.since,
        "candidates": [
            {
                "kind": one.kind,
                "id": one.id,
                "title": one.title,
                "block": one.block,
                "at": one.at,
                "because": one.because,
                "amount": None if one.amount is None else amounts.in_stock_unit(one.amount, product),
            }
            for one in question.candidates
        ],
    }


urlpatterns = [path("farms/<uuid:farm>/stocktakes/<uuid:id>/missing-sprays", MissingSprays.as_view())]
