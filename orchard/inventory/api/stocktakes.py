"""The addresses of stocktakes."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ValidationError

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
    Word,
    YesNo,
    wrong,
)
from orchard.farms.resources import Acting, Changing, Making
from orchard.inventory import amounts
from orchard.inventory import queries as store
from orchard.inventory import stocktake_queries as queries
from orchard.inventory.api.fields import EveryDigit
from orchard.inventory.models import Stocktake
from orchard.inventory.services import stocktakes
from orchard.inventory.services.stocktakes import Counted


class CountShown(serializers.Serializer):
    """One lot: what was found, and what the book said at that moment."""

    lot = Id()
    counted = EveryDigit(help_text="as it was entered")
    counted_at = Moment(source="moment", help_text="the moment whose book it is set against")
    book = serializers.SerializerMethodField(
        help_text="at the moment of the count, in the product's stock unit; kept when it is closed; "
        "null while it is counted blind"
    )
    difference = serializers.SerializerMethodField(
        help_text="counted less book, in the counted unit; null while it is counted blind"
    )
    uses_since_last_count = serializers.SerializerMethodField(
        help_text="up to the moment of the count; null while it is counted blind"
    )
    question = serializers.SerializerMethodField(help_text="null: it agrees with the book")
    reason = serializers.CharField(allow_null=True, help_text="of the difference, once posted")
    movement = Id(allow_null=True, help_text="the `adjust` that was made of it")

    @extend_schema_field(EveryDigit(allow_null=True))
    def get_book(self, line: Any) -> dict[str, str] | None:
        return None if _hidden(line) else amounts.shown_stock(line.book, line.lot.product)

    @extend_schema_field(EveryDigit(allow_null=True))
    def get_difference(self, line: Any) -> dict[str, str] | None:
        return None if _hidden(line) else amounts.shown(queries.difference(line))

    @extend_schema_field({"type": ["integer", "null"]})
    def get_uses_since_last_count(self, line: Any) -> int | None:
        return None if _hidden(line) else line.uses

    @extend_schema_field({"type": ["string", "null"], "enum": ["spray_missing", "record_wrong", None]})
    def get_question(self, line: Any) -> str | None:
        return None if _hidden(line) else queries.question(line)


def _hidden(line: Any) -> bool:
    return queries.is_hidden(line.stocktake)


class StocktakeShown(Shown):
    status = serializers.ChoiceField(choices=list(queries.STATUSES))
    counts = CountShown(many=True, source="lines")
    counted_at = Moment()
    location = serializers.CharField(allow_null=True)
    note = serializers.CharField(allow_null=True)
    blind = serializers.BooleanField(help_text="the book is shown to nobody until the counting has ended")
    revealed_at = Moment(allow_null=True, help_text="when a blind counting ended")


class CountInput(Input):
    lot = Reference(store.lots)
    counted = Amount(*amounts.DIMENSIONS, sign="zero", help_text="zero or more, in any unit that fits")

    def validate(self, attrs: dict[str, Any]) -> Any:
        return Counted(attrs["lot"], attrs["counted"])


class StocktakeChange(Input):
    counts = Listed(child=CountInput(), help_text="all of them: what is sent takes the place of what was")
    counted_at = Moment(past=True, required=False, help_text="now where absent")
    location = Text(max_length=200, required=False, allow_null=True)
    note = Text(required=False, allow_null=True)


class StocktakeInput(StocktakeChange):
    id = Id(made_here=True, required=False)
    blind = YesNo(required=False, help_text="true: count without seeing the book")


class StocktakeQuery(ListQuery):
    status = Word(queries.STATUSES, required=False)


class Stocktakes(Making):
    """Counts of what is on the shelf."""

    resource = "stocktake"
    shown = StocktakeShown
    asked = StocktakeInput
    query = StocktakeQuery

    def rows(self, **filters: Any) -> QuerySet[Stocktake]:
        return queries.stocktakes(farm=self.farm).filter(**filters)

    def create(self, **values: Any) -> Stocktake:
        return stocktakes.add_stocktake(farm=self.farm, by=self.by, now=self.now, **values)


class StocktakeHere(Changing):
    """One stocktake."""

    resource = "stocktake"
    shown = StocktakeShown
    asked = StocktakeChange

    def rows(self) -> QuerySet[Stocktake]:
        return queries.stocktakes(farm=self.farm)

    def change(self, row: Stocktake, **values: Any) -> Stocktake:
        return stocktakes.change_stocktake(stocktake=row, by=self.by, now=self.now, **values)

    def _has_it(self, etag: str) -> bool:
        """Never say "not modified" of an open one: the book beside it moves though its ETag does not."""
        return self.thing.status != "open" and super()._has_it(etag)


@extend_schema_field(
    {
        "type": "object",
        "additionalProperties": {"type": "string"},
        "description": "by the id of the lot, one for each difference",
        "examples": [{"0197e4a2-7c1e-7a3b-9d52-0c8f3a6b1e11": "spilt while filling"}],
    }
)
class Reasons(serializers.Field):
    """Texts by the ids of lots."""

    def to_internal_value(self, data: Any) -> dict[uuid.UUID, str]:
        if not isinstance(data, dict):
            raise wrong(_("is an object: for each lot that differs its id and the reason"))
        text, faults, found = Text(allow_blank=True, allow_null=True), {}, {}
        for id, reason in data.items():
            try:
                found[Id().to_internal_value(id)] = text.run_validation(reason) or ""
            except ValidationError as error:
                faults[id] = error.detail
        if faults:
            raise ValidationError(faults)
        return found


class PostInput(Input):
    reasons = Reasons(required=False)


class StocktakeAction(Acting):
    """What moves a stocktake on. Write `do`."""

    resource = "stocktake"
    shown = StocktakeShown

    def rows(self) -> QuerySet[Stocktake]:
        return queries.stocktakes(farm=self.farm)


class PostStocktake(StocktakeAction):
    """Make the book agree with the count, with a reason for each difference."""

    action = "post"
    asked = PostInput

    def do(self, row: Stocktake, **values: Any) -> Stocktake:
        reasons = values.get("reasons", {})
        return stocktakes.post_stocktake(stocktake=row, reasons=reasons, by=self.by, now=self.now)


class CancelStocktake(StocktakeAction):
    """Put it aside: the book stays as it is."""

    action = "cancel"

    def do(self, row: Stocktake, **values: Any) -> Stocktake:
        return stocktakes.cancel_stocktake(stocktake=row, by=self.by, now=self.now)


class RevealStocktake(StocktakeAction):
    """End the counting of a blind stocktake: from now on the book is shown and no count is taken."""

    action = "reveal"

    def do(self, row: Stocktake, **values: Any) -> Stocktake:
        return stocktakes.reveal_stocktake(stocktake=row, by=self.by, now=self.now)
