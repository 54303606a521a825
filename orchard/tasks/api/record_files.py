"""Application records as files: CSV for spreadsheets, PDF for the folder."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from typing import Any

from django.http import HttpResponse
from django.urls import path
from django.utils import translation
from rest_framework.request import Request

from orchard.api.fields import Word
from orchard.tasks.api.papers import AS_PDF, LanguageQuery, pdf
from orchard.tasks.api.record_fields import RecordQuery
from orchard.tasks.api.records import RecordHere, Records
from orchard.tasks.api.schedule import safe
from orchard.tasks.models import ApplicationRecord
from orchard.tasks.papers import record_pdf

MOST = 5000
MOST_ON_PAPER = 500
COLUMNS = (
    "id", "kind", "status", "corrects", "corrected_by", "reason", "work_order", "block", "block_name", "crop",
    "eppo", "use", "started_at", "finished_at", "received_at", "sprayer", "crew", "sprayed_by", "licences",
    "bbch", "targets", "spray_value", "spray_unit", "area_value", "area_unit", "trees", "wind_value",
    "wind_unit", "wind_direction", "temperature_value", "temperature_unit", "humidity_percent", "product",
    "product_name", "registration", "active_ingredients", "amount_value", "amount_unit", "rate_value",
    "rate_unit", "per_area_value", "per_area_unit", "re_entry_value", "re_entry_unit", "pre_harvest_value",
    "pre_harvest_unit", "lots", "re_entry_until", "harvest_not_before", "leftover_value", "leftover_unit",
    "leftover_fate", "nothing_unusual", "incidents", "flags", "not_stated", "mix_check", "note",
)  # fmt: skip


class File(Records):
    """The records that the list's filters let through, oldest first, in one file."""

    http_method_names = ["get", "head", "options"]

    def found(self, *, most: int) -> tuple[list[ApplicationRecord], int]:
        """Return the records, and how many more there are."""
        asked = self.filters()
        for name in ("limit", "cursor", "language"):
            asked.pop(name, None)
        for name, column in (("created_since", "created_at__gte"), ("updated_since", "updated_at__gte")):
            if name in asked:
                asked[column] = asked.pop(name)
        rows = self.rows(**asked).order_by("finished_at", "id")
        shown = list(rows[:most])
        return shown, rows.count() - most if len(shown) == most else 0


class RecordsCsv(File):
    """The records as CSV in UTF-8, one line a product, 5,000 records at most; filters as the list's."""

    @property
    def responses(self) -> Any:
        return {(200, "text/csv"): str}

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Read them, oldest first."""
        rows, _ = self.found(most=MOST)
        out = io.StringIO()
        writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
        writer.writeheader()
        for item, row in zip(self.listed(rows), rows, strict=True):
            writer.writerows(lines(item, row))
        response = HttpResponse(out.getvalue(), content_type="text/csv; charset=utf-8")
        response["Content-Disposition"] = 'attachment; filename="application-records.csv"'
        return response


class PrintedQuery(RecordQuery):
    language = Word(["en", "es"], required=False, help_text="of the words; else as the request asks")


class RecordsPdf(File):
    """The records on paper, 500 at most; filters as the list's."""

    query = PrintedQuery
    responses = AS_PDF

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Print them, oldest first; the same records give the same file."""
        with translation.override(self.filters().get("language") or translation.get_language()):
            rows, more = self.found(most=MOST_ON_PAPER)
            made_at = max((row.updated_at for row in rows), default=self.farm.created_at)
            made = record_pdf.render(rows, farm=self.farm, made_at=made_at, left_out=more)
        return pdf(made, name="application-records")


class RecordPdf(RecordHere):
    """One record on paper."""

    query = LanguageQuery
    responses = AS_PDF

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Print it; the same record gives the same file."""
        with translation.override(self.filters().get("language") or translation.get_language()):
            made = record_pdf.render([self.thing], farm=self.farm, made_at=self.thing.updated_at)
        return pdf(made, name=f"application-record-{self.thing.id}")


def lines(item: Mapping[str, Any], row: ApplicationRecord) -> Iterator[dict[str, str]]:
    """Yield the lines of one record, each cell so that no spreadsheet takes it for a formula."""
    people, weather, rest = item["people"] or [], item["weather"] or {}, item["leftover"] or {}
    spray, place = item["spray"] or {}, item["place"] or {}
    shared = {
        **{name: item[name] for name in COLUMNS if name in item},
        "block_name": place.get("name"),
        "crop": place.get("crop"),
        "eppo": place.get("eppo"),
        "sprayer": row.sprayer.name if row.sprayer else None,
        "crew": row.crew.name if row.crew else None,
        "sprayed_by": "; ".join(one["name"] for one in people),
        "licences": "; ".join(one["licence"] for one in people if one["licence"]),
        "bbch": (item["stage"] or {}).get("bbch"),
        "targets": "; ".join(item["targets"] or []),
        "incidents": "; ".join(item["incidents"] or []),
        "flags": "; ".join(f"{one['code']}: {one['says']}" for one in item["flags"]),
        "not_stated": "; ".join(f"{one['element']} ({one['rule']})" for one in item["not_stated"] or []),
        "trees": spray.get("trees"),
        "wind_direction": weather.get("wind_direction"),
        "humidity_percent": weather.get("humidity_percent"),
        "leftover_fate": rest.get("fate"),
        **_apart("leftover", rest.get("volume")),
        **_apart("spray", spray.get("total")),
        **_apart("area", spray.get("area")),
        **_apart("wind", weather.get("wind")),
        **_apart("temperature", weather.get("temperature")),
    }
    for one in item["products"] or [{}]:
        cells = {**shared, **_product_cells(one)}
        yield {name: safe("" if cells.get(name) is None else str(cells[name])) for name in COLUMNS}


def _apart(name: str, quantity: Mapping[str, str] | None) -> dict[str, str | None]:
    """Return a quantity as two cells, the number and its unit."""
    return {f"{name}_value": quantity["value"], f"{name}_unit": quantity["unit"]} if quantity else {}


def _product_cells(one: Mapping[str, Any]) -> dict[str, Any]:
    lots = [
        f"{lot['number']} {lot['amount']['value']} {lot['amount']['unit']}" for lot in one.get("lots") or []
    ]
    return {
        "product": one.get("product"),
        "product_name": one.get("name"),
        "registration": one.get("registration"),
        "active_ingredients": "; ".join(one.get("active_ingredients") or []),
        "lots": "; ".join(lots),
        **_apart("amount", one.get("amount")),
        **_apart("rate", one.get("rate_applied")),
        **_apart("per_area", one.get("per_area")),
        **_apart("re_entry", one.get("re_entry")),
        **_apart("pre_harvest", one.get("pre_harvest")),
    }


AT = "farms/<uuid:farm>/application-records"
urlpatterns = [
    path(f"{AT}.csv", RecordsCsv.as_view()),
    path(f"{AT}.pdf", RecordsPdf.as_view()),
    path(f"{AT}/<uuid:id>/page.pdf", RecordPdf.as_view()),
]
