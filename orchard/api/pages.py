"""Lists in pages: a stable order that ends in the id, and a cursor that says where the next page begins.

A cursor belongs to the farm whose list it was given with; on another farm it is not there.
"""

from __future__ import annotations

import base64
import binascii
import json
import uuid
from collections.abc import Callable, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db.models import Model, Q, QuerySet
from django.utils.translation import gettext as _

from orchard.api.refusals import Fault, NotThere, Refusal

DEFAULT_LIMIT = 100


def page(
    rows: QuerySet[Any],
    *,
    farm: uuid.UUID,
    order: Sequence[str],
    limit: int,
    cursor: str | None,
    read: Callable[[QuerySet[Any]], list[Any]] = list,
) -> tuple[list[Any], str | None]:
    """Return one page of rows and the cursor of the next, or None.

    :param farm: id of the farm whose list it is
    :param order: column names, each ascending or with `-` before it; the last is unique within the farm
    :param read: how the rows of a page are read
    :raises Refusal: 400 `cursor_invalid`
    :raises NotThere: for a cursor of another farm
    """
    rows = rows.order_by(*order)
    if cursor:
        try:
            of, *values = _opened(cursor, 1 + len(order))
            rows = rows.filter(_after(order, values))
            demand_own(uuid.UUID(of), farm=farm, pointer="/cursor")
            found = read(rows[: limit + 1])
        except (ValueError, ValidationError, TypeError, binascii.Error):
            raise Refusal(Fault("cursor_invalid", _("this cursor is not one of ours"), "/cursor")) from None
    else:
        found = read(rows[: limit + 1])
    more = len(found) > limit
    return found[:limit], _closed(found[limit - 1], order, farm) if more else None


def demand_own(of: uuid.UUID, *, farm: uuid.UUID, pointer: str) -> None:
    """Demand that a cursor was given by this farm.

    :param of: id of the farm that gave it
    :raises NotThere: as for whatever belongs to another farm
    """
    if of != farm:
        raise NotThere(
            Fault("not_found", _("there is no such cursor on this farm: begin without one"), pointer)
        )


def _after(order: Sequence[str], values: Sequence[Any]) -> Q:
    """Return the condition of what comes later; the first column alone says where in an index it begins."""
    sides = [(name[1:], "lt") if name.startswith("-") else (name, "gt") for name in order]
    condition, equal = Q(), Q()
    for (column, side), value in zip(sides, values, strict=True):
        condition |= equal & Q(**{f"{column}__{side}": value})
        equal &= Q(**{column: value})
    first, side = sides[0]
    return condition if len(order) == 1 else Q(**{f"{first}__{side}e": values[0]}) & condition


def _closed(row: Model, order: Sequence[str], farm: uuid.UUID) -> str:
    values = [str(farm)]
    for name in order:
        value: Any = row
        for part in name.lstrip("-").split("__"):
            value = getattr(value, part)
        values.append(value.isoformat() if hasattr(value, "isoformat") else str(value))
    return base64.urlsafe_b64encode(json.dumps(values).encode()).decode().rstrip("=")


def _opened(cursor: str, length: int) -> list[str]:
    values = json.loads(base64.b64decode(cursor + "=" * (-len(cursor) % 4), altchars=b"-_", validate=True))
    if not isinstance(values, list) or len(values) != length or not all(isinstance(v, str) for v in values):
        raise ValueError(cursor)
    return values
