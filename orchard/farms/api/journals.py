"""The addresses of the audit and of the change feed."""

from __future__ import annotations

import base64
import binascii
import datetime as dt
import json
import time
import uuid
from typing import Any
from urllib.parse import urlencode

from django.db.models import QuerySet
from django.urls import path
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api import pages, spreadsheets
from orchard.api.fields import (
    Anything,
    Id,
    ListQuery,
    Moment,
    Query,
    Text,
    WholeAsked,
    Word,
    between,
)
from orchard.api.refusals import Fault, Refusal
from orchard.farms import fence, queries
from orchard.farms.actors import Role
from orchard.farms.endpoint import Endpoint
from orchard.farms.models import AuditEntry
from orchard.farms.resources import Collection

POLL = 0.25

LONGEST_WAIT = 30


class AuditShown(serializers.Serializer):
    id = Id()
    at = Moment()
    by = serializers.SerializerMethodField()
    action = serializers.CharField()
    resource = serializers.CharField()
    resource_id = Id(allow_null=True)
    before = Anything(allow_null=True, help_text="the changed fields before")
    after = Anything(allow_null=True, help_text="the changed fields after")
    reason = serializers.CharField(allow_null=True)
    outcome = serializers.ChoiceField(choices=["done", "refused"])
    codes = serializers.ListField(child=serializers.CharField())
    request_id = serializers.CharField(allow_null=True)

    @extend_schema_field({"type": "object"})
    def get_by(self, row: AuditEntry) -> dict[str, Any]:
        by = {"kind": row.by_kind, "id": str(row.by_id) if row.by_id else None, "name": row.by_name}
        return {**by, "role": row.by_role}


class AuditQuery(Query):
    limit = ListQuery().fields["limit"]
    cursor = Text(max_length=1000, required=False)
    resource = Text(required=False)
    resource_id = Id(required=False)
    by = Id(required=False, help_text="id of the person or token")
    outcome = Word(["done", "refused"], required=False)
    role = Word([role.value for role in Role], required=False, help_text="that they had at the time")
    by_kind = Word(["person", "token", "system"], required=False)
    action = Text(max_length=40, required=False, help_text="`create`, `update`, `delete` or an action's name")
    request_id = Text(max_length=64, required=False)


between(AuditQuery, Moment, since="since", until="until")


class Audit(Collection):
    """Who did what, before and after; refused actions too. Nothing in it can be changed."""

    resource = "audit_entry"
    shown = AuditShown
    query = AuditQuery

    def rows(self, **filters: Any) -> QuerySet[AuditEntry]:
        return queries.audit(farm=self.farm, **filters)


AUDIT_COLUMNS = (
    "at", "by_kind", "by_id", "by_name", "by_role", "action", "resource", "resource_id", "outcome", "codes",
    "reason", "request_id", "before", "after",
)  # fmt: skip
MOST = 5000


class AuditCsv(Audit):
    """The audit as CSV in UTF-8, oldest first, 5,000 entries at most; filters as the list's."""

    http_method_names = ["get", "head", "options"]

    @property
    def responses(self) -> Any:
        return {(200, "text/csv"): str}

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Read it."""
        asked = {k: v for k, v in self.filters().items() if k not in ("limit", "cursor")}
        found = self.listed(list(self.rows(**asked).order_by("id")[:MOST]))
        return spreadsheets.file("audit", AUDIT_COLUMNS, (_flat(one) for one in found))


def _flat(entry: dict[str, Any]) -> dict[str, Any]:
    by = entry["by"]
    who = {f"by_{name}": by[name] for name in ("kind", "id", "name", "role")}
    kept = {name: json.dumps(entry[name]) if entry[name] else None for name in ("before", "after")}
    return {**entry, **who, **kept, "codes": "; ".join(entry["codes"])}


class ChangeShown(serializers.Serializer):
    """One line of the feed. The document shows it; `told` writes it, since a reader may ask for many."""

    cursor = serializers.CharField(help_text="keep the last; ask for what comes after it")
    at = Moment()
    resource = serializers.CharField()
    id = Id()
    change = serializers.ChoiceField(choices=["created", "updated", "deleted", "voided"])
    etag = serializers.CharField()
    url = serializers.CharField()


def told(rows: list[queries.Told], *, farm: uuid.UUID, zone: dt.tzinfo) -> list[dict[str, Any]]:
    """Return lines as `ChangeShown` describes them; what is rendered writes the moment and the id."""
    of = _sign(farm)
    return [
        {
            "cursor": _closed(transaction_number, seq, of),
            "at": at.astimezone(zone),
            "resource": resource,
            "id": id,
            "change": change,
            "etag": etag,
            "url": url,
        }
        for transaction_number, seq, at, resource, id, change, etag, url in rows
    ]


class ChangesShown(serializers.Serializer):
    items = ChangeShown(many=True)
    cursor = serializers.CharField(allow_null=True, help_text="the last, to keep")
    next = serializers.CharField(allow_null=True)


class ChangesQuery(Query):
    after = Text(
        required=False, help_text="cursor of the last change that you have; none: from the beginning"
    )
    limit = WholeAsked(min_value=1, max_value=500, unit=gettext_noop("rows"), required=False)
    wait = WholeAsked(
        min_value=0,
        max_value=3600,
        unit=gettext_noop("seconds"),
        required=False,
        help_text="seconds to wait for a change, 30 at most",
    )


def cursor_of(place: tuple[int, int], *, farm: uuid.UUID) -> str:
    """Return the text that stands for a place in a farm's feed."""
    return _closed(*place, _sign(farm))


def _sign(farm: uuid.UUID) -> bytes:
    return farm.hex.encode()


def _closed(transaction_number: int, seq: int, farm: bytes) -> str:
    said = b"%d.%d.%b" % (transaction_number, seq, farm)  # base64 makes no sign of it that an address has not
    return binascii.b2a_base64(said, newline=False).rstrip(b"=").decode()


def place_of(cursor: str, *, farm: uuid.UUID) -> tuple[int, int]:
    """Return the place that a cursor stands for. One that was kept from before cursors named a farm holds.

    :raises Refusal: 400 `cursor_invalid`
    :raises NotThere: for a cursor of another farm
    """
    try:
        text = base64.b64decode(cursor + "=" * (-len(cursor) % 4), altchars=b"-_", validate=True).decode(
            "ascii"
        )
        transaction_number, seq, *of = text.split(".")
        place = int(transaction_number), int(seq)
        [given_by] = [uuid.UUID(hex=one) for one in of] or [farm]
    except (ValueError, binascii.Error):
        place, given_by = (-1, -1), farm
    if not all(0 <= number < 2**63 for number in place):
        raise Refusal(Fault("cursor_invalid", _("this cursor is not one of ours"), "/after"))
    pages.demand_own(given_by, farm=farm, pointer="/after")
    return place


class Changes(Endpoint):
    """Every change in commit order, with no gaps and no repeats for a reader who keeps its cursor."""

    resource = "change"
    shown = ChangesShown
    query = ChangesQuery

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read on from a cursor."""
        asked = self.filters()
        limit, after = asked.get("limit", 100), asked.get("after")
        place = place_of(after, farm=self.farm.id) if after else None
        found = self.read(place, limit + 1, min(asked.get("wait", 0), LONGEST_WAIT))
        more, found = len(found) > limit, found[:limit]
        items = told(found, farm=self.farm.id, zone=self.zone())
        cursor = items[-1]["cursor"] if items else after
        query = urlencode({**request.query_params.dict(), "after": cursor})
        address = request.build_absolute_uri(f"{request.path}?{query}") if more else None
        return Response({"items": items, "cursor": cursor, "next": address})

    def read(self, after: tuple[int, int] | None, limit: int, wait: float) -> list[queries.Told]:
        """Return what comes after, waiting for it where nothing is there yet."""
        end = time.monotonic() + wait
        found = queries.changes(farm=self.farm, after=after, limit=limit)
        if not found:
            self.reading.close()  # it waits in no transaction, and opens its farm for each look
        while not found and time.monotonic() < end:
            time.sleep(POLL)
            with fence.opened(self.farm.id):
                found = queries.changes(farm=self.farm, after=after, limit=limit)
        return found


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path(f"{_AT}audit", Audit.as_view()),
    path(f"{_AT}audit.csv", AuditCsv.as_view()),
    path(f"{_AT}changes", Changes.as_view()),
]
