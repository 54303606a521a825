"""What the law asks of an application record, as the rows of `elements.toml`, held against a record."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

TABLE = Path(__file__).with_name("elements.toml")


@dataclass(frozen=True, slots=True)
class Element:
    """One element of one rule.

    :ivar where: path into the record; `*` wants it of each, `some` of at least one
    :ivar only_if: what makes it due: `restricted_use` or `stage_limited`; None for always
    """

    element: str
    rule: str
    where: str
    only_if: str | None


@cache
def table() -> tuple[Element, ...]:
    """Return the rows of the table."""
    raw = _raw()
    return tuple(
        Element(
            row["element"],
            f"{raw['sources'][row['source']]['publisher']} {row['locator']}",
            row["where"],
            row.get("only_if"),
        )
        for row in raw["element"]
    )


def not_stated(record: Mapping[str, Any]) -> list[dict[str, str]]:
    """Return the elements that are due and that a record does not hold: `[{"element", "rule", "where"}]`.

    :param record: as it is kept: `started_at`, `finished_at`, `place`, `spray`, `products` …
    """
    due = {"restricted_use": _restricted(record), "stage_limited": _stage_limited(record)}
    return [
        {"element": row.element, "rule": row.rule, "where": row.where}
        for row in table()
        if (row.only_if is None or due[row.only_if]) and not holds(record, row.where)
    ]


def holds(record: Mapping[str, Any], where: str) -> bool:
    """Return whether a record says something at a path."""
    first, *rest = where.split(".")
    if not rest:
        return record.get(first) not in (None, "", [], {})
    inner = record.get(first)
    if rest[0] in ("*", "some"):
        found = [holds(one, ".".join(rest[1:])) for one in inner or []]
        return bool(found) and (all(found) if rest[0] == "*" else any(found))
    return isinstance(inner, Mapping) and holds(inner, ".".join(rest))


def _labels(record: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    for product in record.get("products") or []:
        yield product.get("label") or {}


def _restricted(record: Mapping[str, Any]) -> bool:
    return any(label.get("restricted_use") for label in _labels(record))


def _stage_limited(record: Mapping[str, Any]) -> bool:
    uses: Iterable[Mapping[str, Any]] = [use for label in _labels(record) for use in label.get("uses") or []]
    return any(use.get("stages") for use in uses)


def eppo_code(crop: str) -> str | None:
    """Return the EPPO code of a crop; None where the table has none."""
    return _raw()["eppo"].get(crop.casefold())  # type: ignore[no-any-return]


def days_until_late() -> int:
    """Return the days after an application from which its entry is late."""
    return int(_raw()["late"]["days"])


def display_time() -> dt.timedelta:
    """Return how long an application stays on the notice after its interval, or its end."""
    return dt.timedelta(days=_raw()["display"]["days"])


def post_within() -> dt.timedelta:
    """Return how soon after its end an application is to be on the notice."""
    return dt.timedelta(hours=_raw()["display"]["within_hours"])


def beside() -> tuple[str, ...]:
    """Return what hangs beside the notice."""
    return tuple(row["element"] for row in _raw()["beside"])


@cache
def _raw() -> dict[str, Any]:
    return tomllib.loads(TABLE.read_text(encoding="utf-8"))
