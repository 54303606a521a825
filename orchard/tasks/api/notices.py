"""The addresses of notices to neighbours and schools, and of the rules that ask for them."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import (
    Amount,
    ArchivedQuery,
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
)
from orchard.blocks import queries as blocks
from orchard.farms.resources import Changing, Making, PutAway, Single
from orchard.tasks import queries, safety_queries
from orchard.tasks.api.orders import ORDER, BelowOrder
from orchard.tasks.models import Notice, NoticeRule
from orchard.tasks.safety import STEPS, TOLD_TO, WAYS
from orchard.tasks.services import notices


class NoticeRuleShown(Shown):
    name = serializers.CharField(help_text="whom to tell, in words")
    to = serializers.ChoiceField(choices=TOLD_TO)
    blocks = serializers.SerializerMethodField(help_text="where it holds; empty: on the whole farm")
    told_before = Amount(help_text="they are told so long before the start (time)")
    sign_before = Amount(allow_null=True, help_text="a sign stands so long before the start (time)")
    sign_after = Amount(allow_null=True, help_text="and so long after the end (time)")
    source = serializers.CharField(  # type: ignore[assignment]
        allow_null=True, help_text="the law or agreement it rests on"
    )
    archived = serializers.BooleanField()

    @extend_schema_field({"type": "array", "items": {"type": "string", "format": "uuid"}})
    def get_blocks(self, row: NoticeRule) -> list[str]:
        return sorted(str(one.id) for one in row.blocks.all())


class NoticeRuleInput(Input):
    id = Id(made_here=True, required=False)
    name = Text(max_length=200)
    to = Word(TOLD_TO)
    blocks = Listed(child=Reference(blocks.blocks), required=False)
    told_before = Amount("time", sign="zero")
    sign_before = Amount("time", sign="zero", required=False, allow_null=True)
    sign_after = Amount("time", sign="zero", required=False, allow_null=True)
    source = Text(required=False, allow_null=True)  # type: ignore[assignment]


class NoticeRuleChange(NoticeRuleInput):
    id = None  # type: ignore[assignment]
    archived = YesNo(required=False)


class NoticeRules(PutAway):
    """Whom the farm tells before it sprays: `issue` and `start` wait for it (`notice_missing`)."""

    resource = "notice_rule"
    shown = NoticeRuleShown
    asked = NoticeRuleInput
    query = ArchivedQuery

    def all_rows(self) -> QuerySet[NoticeRule]:
        return safety_queries.notice_rules(farm=self.farm)

    def create(self, **values: Any) -> NoticeRule:
        return notices.add_rule(farm=self.farm, by=self.by, now=self.now, **values)


class NoticeRuleHere(Changing):
    """One of them."""

    resource = "notice_rule"
    shown = NoticeRuleShown
    asked = NoticeRuleChange

    def rows(self) -> QuerySet[NoticeRule]:
        return safety_queries.notice_rules(farm=self.farm)

    def change(self, row: NoticeRule, **values: Any) -> NoticeRule:
        return notices.change_rule(rule=row, by=self.by, now=self.now, **values)


class NoticeShown(Shown):
    work_order = Id()
    rule = Id(allow_null=True)
    step = serializers.ChoiceField(choices=STEPS)
    who = serializers.CharField(help_text="who was told, or where the sign stands")
    how = serializers.ChoiceField(choices=WAYS)
    at = Moment(help_text="when it was done, as it was told")
    for_start_at = Moment(help_text="the planned start that was told of")
    note = serializers.CharField(allow_null=True)


class NoticeInput(Input):
    id = Id(made_here=True, required=False)
    work_order = Reference(queries.work_orders)
    rule = Reference(safety_queries.notice_rules, required=False, allow_null=True)
    step = Word(STEPS, required=False, help_text="`told` where absent")
    who = Text(max_length=300)
    how = Word(WAYS)
    at = Moment(past=True, required=False, help_text="now where absent")
    note = Text(required=False, allow_null=True)


class NoticeQuery(ListQuery):
    work_order = Id(required=False, source="work_order__id")
    rule = Id(required=False, source="rule__id")
    step = Word(STEPS, required=False)


class Notices(Making):
    """Who was told of a spray and when; signs put up and taken down: append-only."""

    resource = "notice"
    shown = NoticeShown
    asked = NoticeInput
    query = NoticeQuery

    def rows(self, **filters: Any) -> QuerySet[Notice]:
        return safety_queries.notices(farm=self.farm, **filters)

    def create(self, **values: Any) -> Notice:
        return notices.add_notice(farm=self.farm, by=self.by, now=self.now, **values)


class NoticeHere(Single):
    """One of them."""

    resource = "notice"
    shown = NoticeShown

    def rows(self) -> QuerySet[Notice]:
        return safety_queries.notices(farm=self.farm)


class DutyShown(serializers.Serializer):
    rule = Id()
    name = serializers.CharField(source="rule.name")
    step = serializers.ChoiceField(choices=STEPS)
    not_before = Moment(allow_null=True, help_text="for a sign that comes down")
    done_at = Moment(allow_null=True)


DutyShown._declared_fields["by"] = Moment(allow_null=True, help_text="the latest moment for it")  # type: ignore[attr-defined]


class DutiesShown(serializers.Serializer):
    items = DutyShown(many=True)


class Duties(BelowOrder):
    """Who is to be told of this order by when, when signs go up and come down, and what was done of it."""

    shown = DutiesShown

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read them."""
        self.filters()
        return Response(self.show({"items": notices.duties(order=self.order_row)}))


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path(f"{_AT}notice-rules", NoticeRules.as_view()),
    path(f"{_AT}notice-rules/<uuid:id>", NoticeRuleHere.as_view()),
    path(f"{_AT}notices", Notices.as_view()),
    path(f"{_AT}notices/<uuid:id>", NoticeHere.as_view()),
    path(f"{ORDER}/<uuid:order>/notice-duties", Duties.as_view()),
]
