"""The addresses of what is printed: tank sheets and the posting notice, as JSON and as PDF."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.urls import path
from django.utils import translation
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api.fields import QUANTITY_SCHEMA, Id, Moment, Query, Word
from orchard.farms.endpoint import Endpoint
from orchard.tasks.api.orders import BelowOrder
from orchard.tasks.papers import notice_pdf, notices, sheet_pdf, sheets

PDF = "application/pdf"
AS_PDF = {(200, PDF): OpenApiTypes.BINARY}


def pdf(content: bytes, *, name: str) -> HttpResponse:
    """Return a PDF that a browser shows at once, with a name to keep it under."""
    response = HttpResponse(content, content_type=PDF)
    response["Content-Disposition"] = f'inline; filename="{name}.pdf"'
    return response


@extend_schema_field(QUANTITY_SCHEMA)
class KeptAmount(serializers.JSONField):
    """A quantity that is written out as it was kept."""


class LanguageQuery(Query):
    language = Word(["en", "es"], required=False, help_text="of the sentences; else as the request asks")


class NamedOnSheet(serializers.Serializer):
    id = Id()
    name = serializers.CharField()


class NamedBlock(NamedOnSheet):
    crop = serializers.CharField()


class NamedSprayer(NamedOnSheet):
    kind = serializers.CharField()


class StepShown(serializers.Serializer):
    step = serializers.IntegerField(help_text="counted from 1, in the order of mixing")
    action = serializers.ChoiceField(choices=["fill", "add", "wait", "agitate"])
    product = Id(allow_null=True)
    name = serializers.CharField(allow_null=True, help_text="the product's, or water")
    exact = KeptAmount(allow_null=True, help_text="exact amount for this load")
    measure = serializers.ListField(
        child=KeptAmount(), help_text="what to measure, largest first; together nearest to `exact`"
    )
    note = serializers.CharField()


StepShown._declared_fields["for"] = KeptAmount(  # type: ignore[attr-defined]
    allow_null=True, help_text="how long, in minutes"
)


class LoadOnSheet(serializers.Serializer):
    number = serializers.IntegerField()
    spray = KeptAmount(help_text="the finished spray")
    water = KeptAmount(help_text="in all")
    steps = StepShown(many=True)


class TankSheetShown(serializers.Serializer):
    """For each load what to measure, in which order, with what on."""

    work_order = Id()
    number = serializers.IntegerField()
    revision = serializers.IntegerField()
    status = serializers.CharField()
    kind = serializers.CharField()
    title = serializers.CharField()
    instructions = serializers.CharField(allow_null=True)
    language = serializers.ChoiceField(choices=["en", "es"])
    url = serializers.CharField(help_text="of the order's page, as in the square code")
    farm = serializers.CharField()
    emergency = serializers.CharField(allow_null=True)
    block = NamedBlock(allow_null=True)
    sprayer = NamedSprayer(allow_null=True)
    crew = NamedOnSheet(allow_null=True)
    handlers = NamedOnSheet(many=True)
    starts_at = Moment(help_text="planned")
    targets = serializers.ListField(child=serializers.CharField())
    spray = KeptAmount(allow_null=True, help_text="of the whole job, where the order says it so")
    signal_word = serializers.CharField(allow_null=True)
    wear = serializers.ListField(child=serializers.CharField(), help_text="who mixes and sprays")
    wear_in_treated_block = serializers.ListField(child=serializers.CharField(), help_text="early entry")
    watch = serializers.ListField(child=serializers.CharField(), help_text="findings of the mix check")
    before = serializers.ListField(child=serializers.CharField(), help_text="to tick before the start")
    loads = LoadOnSheet(many=True)
    dial = serializers.JSONField(allow_null=True, help_text="as in the mix check, for hose-end sprayers")
    totals = serializers.ListField(child=serializers.DictField(), help_text="as in the mix check, with names")
    after = serializers.ListField(child=serializers.CharField(), help_text="washing, step by step")
    re_entry = KeptAmount(allow_null=True, help_text="how long to keep out after the end; null: unknown")
    harvest = KeptAmount(allow_null=True, help_text="how long before the harvest; null: unknown")
    cautions = serializers.ListField(child=serializers.CharField())


class TankSheet(BelowOrder):
    """The tank sheet of a work order that was issued."""

    resource = "tank_sheet"
    shown = TankSheetShown
    query = LanguageQuery
    conflicts = True  # a draft has no sheet

    def sheet(self) -> dict[str, Any]:
        """Return the sheet in the language that is active."""
        address = self.request.build_absolute_uri(sheets.page_of(self.order_row))
        return sheets.of_order(order=self.order_row, address=address)

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Read it."""
        with translation.override(self.filters().get("language") or translation.get_language()):
            return Response(self.show(self.sheet()))


class TankSheetPdf(TankSheet):
    """The tank sheet on one page, with a square code back to the order."""

    responses = AS_PDF

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Print it; the same order gives the same file."""
        order = self.order_row
        with translation.override(self.filters().get("language") or translation.get_language()):
            made = sheet_pdf.render(self.sheet(), farm=self.farm, made_at=order.updated_at)
        return pdf(made, name=f"tank-sheet-{order.number}-{order.revision}")


class NoticeItemShown(serializers.Serializer):
    state = serializers.ChoiceField(
        choices=list(notices.STATES),
        help_text="of the block as a whole; `unknown`: a label states no interval, keep out and ask",
    )
    record = Id(allow_null=True)
    work_order = Id(allow_null=True)
    block = NamedBlock()
    area = KeptAmount(allow_null=True, help_text="ground treated")
    products = serializers.ListField(
        child=serializers.DictField(), help_text="`[{name, registration, active_ingredients, re_entry}]`"
    )
    started_at = Moment()
    finished_at = Moment(allow_null=True, help_text="null: it is being sprayed")
    entry_allowed_from = Moment(allow_null=True, help_text="of the block as a whole; null: not known")
    harvest_not_before = serializers.DateField(allow_null=True)
    post_until = Moment(allow_null=True, help_text="30 days after the interval is over")
    early_entry = serializers.ListField(child=serializers.CharField(), help_text="codes of what to wear")


class PostingNoticeShown(serializers.Serializer):
    """Which blocks were treated, with what, and from when they may be entered: 40 CFR 170.311(b)."""

    farm = serializers.CharField()
    as_of = Moment()
    emergency = serializers.CharField(allow_null=True)
    beside = serializers.ListField(child=serializers.CharField(), help_text="what hangs beside the notice")
    items = NoticeItemShown(many=True)


class NoticeQuery(LanguageQuery):
    block = Id(required=False, help_text="tell of this block only")


class PostingNotice(Endpoint):
    """What is to be posted where workers see it, now."""

    resource = "posting_notice"
    shown = PostingNoticeShown
    query = NoticeQuery

    def notice(self) -> dict[str, Any]:
        """Return the notice as of now."""
        return notices.notice(farm=self.farm, now=self.now, block=self.filters().get("block"))

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Read it."""
        return Response(self.show(self.notice()))


class PostingNoticePdf(PostingNotice):
    """The posting notice on paper."""

    responses = AS_PDF

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Print it."""
        with translation.override(self.filters().get("language") or translation.get_language()):
            made = notice_pdf.render(self.notice(), farm=self.farm, made_at=self.now)
        return pdf(made, name="posting-notice")


_FARM = "farms/<uuid:farm>"
_ORDER = f"{_FARM}/work-orders/<uuid:order>"
urlpatterns = [
    path(f"{_ORDER}/tank-sheet", TankSheet.as_view()),
    path(f"{_ORDER}/tank-sheet.pdf", TankSheetPdf.as_view()),
    path(f"{_FARM}/posting-notice", PostingNotice.as_view()),
    path(f"{_FARM}/posting-notice.pdf", PostingNoticePdf.as_view()),
]
