"""What every endpoint of a farm does before and after its own few lines.

The order of refusals is the contract's: 401, 404 for another farm, 403, 404 for the thing, 405, 415 or 413,
428 or 412, 400 or 422, 409. A write runs in one transaction, which a refusal rolls back; a refused action
is then written to the audit.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import functools
import zoneinfo
from typing import Any, ClassVar

from django.core.exceptions import PermissionDenied
from django.db import IntegrityError, OperationalError, transaction
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from orchard.api import bodies, idempotency, problems, rates, spent
from orchard.api.fields import Input, Query
from orchard.api.problems import faults_in
from orchard.api.refusals import (
    Conflict,
    Fault,
    PreconditionMissing,
    Refusal,
    Stale,
    TooMany,
    Unprocessable,
)
from orchard.farms import access, fence, journal
from orchard.farms.actors import Actor
from orchard.farms.models import Farm, Person, Token
from orchard.farms.rows import FarmRow

READS = ("GET", "HEAD", "OPTIONS")
TRIES = 4
AGAIN = ("40001", "40P01")  # serialization failure, deadlock: PostgreSQL asks to try again


class Endpoint(APIView):
    """One address below a farm.

    :cvar resource: name in the permission table
    :cvar verbs: which verb of the table each method is
    :cvar shown: how a row is written out
    :cvar asked: how a body is read
    :cvar query: which query names are known
    :cvar media_types: what a body may be
    :cvar one_transaction: False for a read that has transactions of its own
    """

    resource: ClassVar[str] = ""
    verbs: ClassVar[dict[str, str]] = {"GET": "read", "POST": "create", "PATCH": "update", "DELETE": "delete"}
    shown: ClassVar[type[Any] | None] = None
    asked: ClassVar[type[Input] | None] = None
    query: ClassVar[type[Query]] = Query
    media_types: ClassVar[tuple[str, ...]] = bodies.TYPES
    one_transaction: ClassVar[bool] = True

    farm: Farm
    by: Actor
    now: dt.datetime
    allowance: rates.Allowance | None = None

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Run each request in one transaction, a write again where the database asks for it."""
        with fence.as_before(), contextlib.ExitStack() as self.reading:
            if request.method in READS:
                return super().dispatch(request, *args, **kwargs)
            return self._write_again_if_asked(request, *args, **kwargs)

    def _write_again_if_asked(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        for left in reversed(range(TRIES)):
            try:
                return self._write(request, *args, **kwargs)
            except OperationalError as error:
                if left == 0 or getattr(error.__cause__, "sqlstate", None) not in AGAIN:
                    raise
            except IntegrityError:
                return problems.plain(
                    409,
                    Fault(
                        "state_conflict", _("something else changed at the same moment: read again and retry")
                    ),
                )
        raise AssertionError("unreachable")

    def _write(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        self.refusal: Refusal | None = None
        with transaction.atomic():
            response = super().dispatch(request, *args, **kwargs)
            if response.status_code >= 400:
                transaction.set_rollback(True)
        if self.refusal is not None:
            with fence.opened(self.farm.id):
                self._audit_refusal(self.refusal)
        return response

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Let in who may come in, in the contract's order."""
        self.now = timezone.now()
        translation.activate(translation.get_language_from_request(request._request))
        request.accepted_renderer, request.accepted_media_type = self.perform_content_negotiation(
            request, force=True
        )
        if request.method in READS and self.one_transaction:
            self.reading.enter_context(transaction.atomic())
        self._count(access.signed_in(request))
        self.enter(request, **kwargs)
        verb = self.verbs.get(request.method or "")
        if verb is not None and hasattr(self, (request.method or "").lower()):
            access.demand(by=self.by, resource=self.resource, verb=self.verb(verb))
        self.find(**kwargs)
        if request.method not in self.allowed_methods:
            raise exceptions.MethodNotAllowed(request.method or "")
        writes = request.method in ("POST", "PATCH")
        self.raw = bodies.receive(request._request, types=self.media_types) if writes else b""

    def _count(self, who: Person | Token) -> None:
        """Count the request against the sender's minute.

        :raises TooMany: 429
        """
        self.allowance = rates.count(caller=str(who.pk), at=self.now.timestamp())
        if self.allowance is not None and self.allowance.left < 0:
            if isinstance(who, Token):
                sent = self.request.headers["Authorization"]
                spent.remember(sent, limit=self.allowance.limit, at=self.now.timestamp())
            wait = {"Retry-After": str(self.allowance.seconds)}
            raise TooMany(spent.too_many(self.allowance.limit), headers=wait)

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        if self.allowance is not None:
            for name, value in self.allowance.headers().items():
                response[name] = value
        return super().finalize_response(request, response, *args, **kwargs)

    def enter(self, request: Request, **kwargs: Any) -> None:
        """Find the farm and who the sender is on it; from here on the farm's rows can be seen."""
        self.farm, self.by = access.enter(request, kwargs["farm"])
        translation.activate(self.language(request))

    def language(self, request: Request) -> str:
        """Return the language to answer in: what the request accepts, else the member's."""
        if "HTTP_ACCEPT_LANGUAGE" in request.META:
            return translation.get_language_from_request(request._request)
        return self.by.language

    def verb(self, verb: str) -> str:
        """Return the verb of the permission table; actions say their own."""
        return verb

    def find(self, **kwargs: Any) -> None:
        """Find the thing that the address names; a collection names none."""

    def handle_exception(self, exc: Exception) -> Response:
        if isinstance(exc, OperationalError) and getattr(exc.__cause__, "sqlstate", None) in AGAIN:
            raise exc
        if isinstance(exc, Conflict):
            self.refusal = exc
        if isinstance(exc, (PermissionDenied, exceptions.AuthenticationFailed)) and not hasattr(self, "now"):
            self.now = timezone.now()
        return super().handle_exception(exc)

    def _audit_refusal(self, refusal: Refusal) -> None:
        thing = getattr(self, "thing", None)
        reason = self.body.get("reason") if isinstance(self.body, dict) else None
        journal.refused(
            self.farm,
            by=self.by,
            now=self.now,
            action=self.verb(self.verbs.get(self.request.method or "", "")),
            resource=self.resource,
            resource_id=getattr(thing, "id", None),
            codes=[fault.code for fault in refusal.faults],
            reason=reason if isinstance(reason, str) else None,
        )

    # reading the request

    @functools.cached_property
    def body(self) -> Any:
        """What the body says.

        :raises Refusal: 400
        """
        return bodies.parse(self.raw)

    def context(self) -> dict[str, Any]:
        """Return what the fields need to know."""
        return {"farm": self.farm, "by": getattr(self, "by", None), "now": self.now, "zone": self.zone()}

    def zone(self) -> zoneinfo.ZoneInfo:
        """Return the zone in which times are told."""
        return zoneinfo.ZoneInfo(self.farm.zone)

    def asked_for(self, *, partial: bool = False, asked: type[Input] | None = None) -> dict[str, Any]:
        """Return the body's values.

        :raises Unprocessable: with every fault
        """
        form = (asked or self.asked or Input)(data=self.body, partial=partial, context=self.context())
        if not form.is_valid():
            raise Unprocessable(*faults_in(form.errors))
        return dict(form.validated_data)

    def filters(self) -> dict[str, Any]:
        """Return the query's values.

        :raises Refusal: 400 with every fault, `unknown_parameter` for a name that is not known
        """
        form = self.query(data=self.request.query_params.dict(), context=self.context())
        if form.is_valid():
            return dict(form.validated_data)
        raise Refusal(
            *(
                Fault("unknown_parameter" if f.code == "unknown_field" else f.code, f.detail, f.pointer)
                for f in faults_in(form.errors)
            )
        )

    # writing the answer

    def show(self, row: Any) -> dict[str, Any]:
        """Return a row as the contract writes it."""
        assert self.shown is not None
        return dict(self.shown(row, context=self.context()).data)

    def answer(self, row: FarmRow, status: int = 200) -> Response:
        """Return the response with one resource, its ETag, and 304 where the reader has it already."""
        if status == 200 and self.request.method == "GET" and "If-None-Match" in self.request.headers:
            tag = self.tag(row)
            if self._has_it(tag):
                return Response(status=304, headers={"ETag": tag})
        shown = self.show(row)
        headers = {"ETag": shown.get("etag", row.etag)}
        if status in (201, 202):
            headers["Location"] = row.path
        return Response(shown, status=status, headers=headers)

    def tag(self, row: FarmRow) -> str:
        """Return the entity tag of a row as it is shown here."""
        return row.etag

    def is_version(self, row: FarmRow, asked: str) -> bool:
        """Say whether a tag that was sent is that of the row as it stands."""
        return asked == row.etag

    def _has_it(self, etag: str) -> bool:
        asked = self.request.headers.get("If-None-Match", "")
        return asked.strip() == "*" or etag in [one.strip().removeprefix("W/") for one in asked.split(",")]

    def match(self, row: FarmRow, *, happened: bool = False) -> None:
        """Demand that the sender has seen this version of the row.

        :param happened: True for what has happened and cannot be unsaid: `*` is taken
        :raises PreconditionMissing: 428
        :raises Stale: 412
        """
        asked = self.request.headers.get("If-Match")
        if asked is None:
            raise PreconditionMissing(
                Fault("if_match_required", _("send the ETag that you have read as If-Match"))
            )
        tags = [one.strip() for one in asked.split(",")]
        if any(self.is_version(row, one) for one in tags) or (happened and "*" in tags):
            return
        raise Stale(
            Fault(
                "stale",
                _("it has changed since you read it: read it again"),
                refers_to=(self.resource, str(row.id)),
            )
        )

    def once(self, do: Any) -> Response:
        """Do a POST, or give the first answer again where the Idempotency-Key has been seen."""
        key = self.request.headers.get("Idempotency-Key")
        if key is None:
            response: Response = do()
            return response
        return idempotency.answer_once(
            caller=f"{self.by.kind}:{self.by.id}",
            method="POST",
            path=self.request.path[:400],
            key=key,
            body=self.raw,
            now=self.now,
            do=do,
        )


class SignedIn(Endpoint):
    """An address outside any farm, for whoever has signed in or sends a token."""

    verbs: ClassVar[dict[str, str]] = {}

    def enter(self, request: Request, **kwargs: Any) -> None:
        self.farm = Farm(zone="UTC")
        if (key := request.headers.get("Idempotency-Key")) is not None:
            idempotency.demand_sound(key)
        translation.activate(self.language(request))

    def language(self, request: Request) -> str:
        return translation.get_language_from_request(request._request)

    def once(self, do: Any) -> Response:
        """Nothing is written, so nothing is remembered."""
        response: Response = do()
        return response

    def _audit_refusal(self, refusal: Refusal) -> None:
        """There is no farm to write it to."""
