"""The address of what was used in a month, as JSON and as CSV."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

from django.urls import path
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api import spreadsheets
from orchard.api.fields import Amount, Id, Moment, Query, wrong
from orchard.farms.endpoint import Endpoint
from orchard.tasks.use_reports import UseReport, use_report

MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])\Z", re.ASCII)


@extend_schema_field(
    {
        "type": "string",
        "pattern": r"^(19[0-9]{2}|20[0-9]{2}|21[0-9]{2}|2200)-(0[1-9]|1[0-2])$",
        "examples": ["2026-12"],
    }
)
class Month(serializers.Field):
    """A month, `2026-12`; read as its first day."""

    def to_internal_value(self, data: Any) -> dt.date:
        found = MONTH.match(data) if isinstance(data, str) else None
        if found is None or not 1900 <= int(found[1]) <= 2200:
            raise wrong(_("write a month as 2026-12"))
        return dt.date(int(found[1]), int(found[2]), 1)

    def to_representation(self, value: dt.date) -> str:
        return f"{value:%Y-%m}"


class UseShown(serializers.Serializer):
    block = Id()
    block_name = serializers.CharField(source="block.name")
    crop = serializers.CharField(source="block.crop")
    product = serializers.UUIDField()
    product_name = serializers.CharField(source="name", help_text="as on the label then")
    registration = serializers.CharField(allow_null=True)
    amount = Amount(help_text="of product, in all")
    area = Amount(allow_null=True, help_text="treated ground, counted anew for each application")
    applications = serializers.IntegerField()
    application_records = serializers.ListField(child=Id(), source="records")


class AmendmentShown(serializers.Serializer):
    application_record = Id(source="*")
    kind = serializers.CharField(help_text="`correction` or `void`")
    corrects = Id()
    reason = serializers.CharField(allow_null=True)
    at = Moment(source="received_at")


class UseReportShown(serializers.Serializer):
    month = serializers.SerializerMethodField(help_text="`2026-12`")
    due_on = serializers.DateField(help_text="where the month is to be reported by the 10th of the next")
    as_of = Moment(help_text="the moment that it shows")
    version = serializers.IntegerField(help_text="1, and one more for each amendment")
    amendments = AmendmentShown(many=True, help_text="what was corrected or voided, first first")
    items = UseShown(many=True, source="uses")

    def get_month(self, row: UseReport) -> str:
        return f"{row.starts_on:%Y-%m}"


class UseReportQuery(Query):
    month = Month(help_text="`2026-12`, by the start of an application on the farm's calendar")
    as_of = Moment(required=False, help_text="as it stood then; now where absent")


class UseReports(Endpoint):
    """What was used in a month by block and product: the records that stand, and what was amended."""

    resource = "use_report"
    shown = UseReportShown
    query = UseReportQuery

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Read a month."""
        return Response(self.show(self.report()))

    def report(self) -> UseReport:
        """Return the report that is asked for."""
        asked = self.filters()
        return use_report(farm=self.farm, month=asked["month"], as_of=asked.get("as_of", self.now))


COLUMNS = (
    "month", "version", "block", "block_name", "crop", "product", "product_name", "registration",
    "amount_value", "amount_unit", "area_value", "area_unit", "applications",
)  # fmt: skip


class UseReportsCsv(UseReports):
    """The month as CSV in UTF-8, one line for each block and product."""

    http_method_names = ["get", "head", "options"]

    @property
    def responses(self) -> Any:
        return {(200, "text/csv"): str}

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Read a month."""
        told = self.show(self.report())
        rows = (
            {
                **one,
                "month": told["month"],
                "version": told["version"],
                **{f"amount_{name}": value for name, value in one["amount"].items()},
                **{f"area_{name}": value for name, value in (one["area"] or {}).items()},
            }
            for one in told["items"]
        )
        return spreadsheets.file(f"use-{told['month']}", COLUMNS, rows)


_AT = "farms/<uuid:farm>/use-reports"
urlpatterns = [path(_AT, UseReports.as_view()), path(f"{_AT}.csv", UseReportsCsv.as_view())]
