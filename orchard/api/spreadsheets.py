"""CSV that spreadsheets open: UTF-8, one kind of line end, and no cell that they would run."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.http import HttpResponse

FORMULA = tuple("=+-@\t\r\n＝＋－＠")  # some editions run the wide ones too
BELOW_ZERO = re.compile(r"-[0-9]+(\.[0-9]+)?")


def safe(cell: str) -> str:
    """Return a cell with a leading apostrophe where a spreadsheet would run it; a number stays a number.

    Source: CSV Injection, OWASP Foundation, 2023 (from memory).
    """
    return f"'{cell}" if cell.startswith(FORMULA) and not BELOW_ZERO.fullmatch(cell) else cell


def cell(value: Any) -> str:
    """Return a value as a cell: nothing for None, `true` and `false`, no formula."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return "" if value is None else safe(str(value))


def file(name: str, columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> HttpResponse:
    """Return the answer with a CSV file of that name; what a row does not say is an empty cell."""
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({column: cell(row.get(column)) for column in columns})
    response = HttpResponse(out.getvalue(), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    return response
