"""What most addresses of a farm are: a list of rows and where one is added, or one row."""

from __future__ import annotations

import hashlib
import json
import uuid
from typing import Any, ClassVar

from django.db.models import QuerySet
from django.http.response import HttpResponseBase
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api import idempotency, pages
from orchard.api.fields import ArchivedQuery, Input, ListQuery, Query
from orchard.api.refusals import (
    Fault,
    NotThere,
)
from orchard.farms import journal
from orchard.farms.endpoint import READS, Endpoint
from orchard.farms.rows import FarmRow


class Collection(Endpoint):
    """A list of rows, and where one is added. Write `rows`, and `create` where rows are made over HTTP."""

    query: ClassVar[type[Query]] = ListQuery
    order: ClassVar[tuple[str, ...]] = ("id",)
    made_status: ClassVar[int] = 201

    def rows(self, **filters: Any) -> QuerySet[Any]:
        """Return the farm's rows that the filters let through."""
        raise NotImplementedError

    def create(self, **values: Any) -> FarmRow:
        """Make a row with one call down."""
        raise NotImplementedError

    def read(self, rows: QuerySet[Any]) -> list[Any]:
        """Return the rows of a page as `listed` takes them."""
        return list(rows)

    def listed(self, found: list[Any]) -> list[dict[str, Any]]:
        """Return the rows of one page as the contract writes them."""
        assert self.shown is not None
        return [dict(one) for one in self.shown(found, many=True, context=self.context()).data]

    def cursors_of(self) -> uuid.UUID:
        """Return whose cursors these are: a farm's, and another farm's are not there."""
        return self.farm.id

    def get(self, request: Request, **kwargs: Any) -> HttpResponseBase:
        """List."""
        asked = self.filters()
        limit, cursor = asked.pop("limit", pages.DEFAULT_LIMIT), asked.pop("cursor", None)
        since = {
            column: asked.pop(name)
            for name, column in (("created_since", "created_at__gte"), ("updated_since", "updated_at__gte"))
            if name in asked and issubclass(self.query, ListQuery)
        }
        rows = self.rows(**asked).filter(**since)
        found, onward = pages.page(
            rows, farm=self.cursors_of(), order=self.order, limit=limit, cursor=cursor, read=self.read
        )
        query = request.query_params.copy()
        if onward:
            query["cursor"] = onward
        address = request.build_absolute_uri(f"{request.path}?{query.urlencode()}") if onward else None
        headers = {"Link": f'<{address}>; rel="next"'} if address else {}
        return Response({"items": self.listed(found), "next": address}, headers=headers)

    def _post(self) -> Response:
        own = self.body.get("id") if isinstance(self.body, dict) else None
        values = self.asked_for()
        if own is None:
            return self.answer(self.create(**values), self.made_status)
        values["id"] = uuid.UUID(own)
        first = self._made_before(values["id"])
        return self.answer(first, 200) if first else self.answer(self.create(**values), self.made_status)

    def _made_before(self, own: uuid.UUID) -> FarmRow | None:
        """Return the row that the same id and body made before.

        :raises Conflict: `id_taken` where the body was another
        """
        digest = hashlib.sha256(json.dumps(self.body, sort_keys=True).encode()).hexdigest()
        where = f"{self.farm.id}{self.request.path}"
        if idempotency.made_once(where=where, id=own, digest=digest, now=self.now):
            return None
        return self.made(own)

    def made(self, own: uuid.UUID) -> FarmRow:
        """Return the row of this collection with that id, put away or not."""
        row: FarmRow = self.rows().get(id=own)
        return row


class Making(Collection):
    """A collection that rows are added to."""

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Add one."""
        return self.once(self._post)


class PutAway(Making):
    """A list from which what was put away is left out unless asked for. Write `all_rows`."""

    query: ClassVar[type[Query]] = ArchivedQuery

    def all_rows(self) -> QuerySet[Any]:
        """Return the farm's rows."""
        raise NotImplementedError

    def rows(self, *, archived: bool | None = None, **filters: Any) -> QuerySet[Any]:
        rows = self.all_rows().filter(**filters)
        return rows if archived or self.request.method != "GET" else rows.filter(archived=False)


class Single(Endpoint):
    """One row. Write `rows`, and `change` or `remove` where it may be changed or deleted."""

    thing: Any

    def rows(self) -> QuerySet[Any]:
        """Return the farm's rows among which the address's id is looked up."""
        raise NotImplementedError

    def find(self, **kwargs: Any) -> None:
        rows = self.rows()
        if self.request.method not in READS and self.request.method in self.allowed_methods:
            rows = rows.select_for_update(of=("self",), no_key=True)
        self.thing = rows.filter(id=kwargs["id"]).first()
        if self.thing is None:
            raise NotThere(Fault("not_found", _("there is no such thing on this farm")))

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Read it."""
        self.filters()
        return self.answer(self.thing)


class Acting(Single):
    """An action on one row, at `actions/` and its name. Write `do`.

    :cvar action: the verb of the permission table
    :cvar happened: True where it tells of what cannot be unsaid: `If-Match: *` is taken
    """

    http_method_names = ["post", "options"]
    verbs: ClassVar[dict[str, str]] = {"POST": "action"}
    asked: ClassVar[type[Input] | None] = Input
    action: ClassVar[str] = ""
    happened: ClassVar[bool] = False
    made_status: ClassVar[int] = 200

    def verb(self, verb: str) -> str:
        return self.action

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Do it."""
        return self.once(self.act)

    def act(self) -> Response:
        """Do it to the version that the sender has seen."""
        self.match(self.thing, happened=self.happened)
        return self.answer(self.do(self.thing, **self.asked_for()), self.made_status)

    def do(self, row: Any, **values: Any) -> Any:
        """Do it with one call down; return the row after it."""
        raise NotImplementedError


class Changing(Single):
    """One row that may be changed. Write `change`."""

    def change(self, row: Any, **values: Any) -> Any:
        """Change it with one call down; return the row after it."""
        raise NotImplementedError

    def patch(self, request: Request, **kwargs: Any) -> Response:
        """Change it (JSON merge patch, RFC 7396)."""
        self.match(self.thing)
        return self.answer(self.change(self.thing, **self.asked_for(partial=True)))


class Removing(Single):
    """One row that may be deleted while nothing refers to it."""

    def remove(self, row: Any) -> None:
        """Delete it with one call down."""
        journal.delete(row, by=self.by, now=self.now)

    def delete(self, request: Request, **kwargs: Any) -> Response:
        """Delete it."""
        self.match(self.thing)
        self.remove(self.thing)
        return Response(status=204)
