"""Many calls in one, each done or refused by itself: for a phone that comes back with what it kept."""

from __future__ import annotations

import json
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import Resolver404, path
from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from orchard.api import idempotency, inner_calls, problems
from orchard.api.fields import Anything, Input, Listed, Text, Word, wrong
from orchard.api.refusals import Fault
from orchard.farms.endpoint import SignedIn

MOST = 1_000
FARMS = "/api/v1/farms/"


class CallInput(Input):
    method = Word(["POST", "PATCH"], required=False, help_text="POST where absent")
    path = Text(max_length=400, help_text="the address, from `/api/v1/farms/` on")
    body = Anything(required=False, help_text="what the address takes; `{}` where absent")
    if_match = Text(max_length=200, required=False, help_text="as the header")
    idempotency_key = Text(
        max_length=idempotency.LONGEST_KEY, required=False, help_text="as the header, for this call"
    )

    def validate_body(self, body: Any) -> Any:
        if not isinstance(body, dict):
            raise wrong(_("is an object"))
        return body


class BulkInput(Input):
    items = Listed(child=CallInput(), max_length=MOST, help_text="up to 1,000, done in this order")


class CalledShown(serializers.Serializer):
    """What one call was answered."""

    status = serializers.IntegerField(help_text="as if it had been sent alone")
    etag = serializers.CharField(allow_null=True)
    location = serializers.CharField(allow_null=True)
    body = Anything(allow_null=True, help_text="the resource, or the problem document")


class BulkShown(serializers.Serializer):
    """One answer to each call, in the order of the calls."""

    items = CalledShown(many=True)  # type: ignore[assignment]


class Bulk(SignedIn):
    """Calls that are each done in a transaction of their own: one that is refused stops no other."""

    shown = BulkShown
    asked = BulkInput
    one_transaction = False

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Open no transaction: each call has its own."""
        return APIView.dispatch(self, request, *args, **kwargs)

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Do up to 1,000 calls of POST and PATCH; each is answered as if it had been sent alone.

        An `Idempotency-Key` of the whole stands for one of each call that has none of its own, so that
        the same calls may be sent again after an answer that was lost. Each call counts against the minute;
        what is over it is answered 429 by itself, to be sent again.
        """
        asked = self.asked_for()["items"]
        return Response({"items": [self._done(place, **one) for place, one in enumerate(asked)]})

    def _done(self, place: int, *, path: str, method: str = "POST", body: Any = None, **more: str) -> Any:
        headers = {name.replace("_", "-"): value for name, value in more.items()}
        whole = self.request.headers.get("Idempotency-Key")
        if whole and method == "POST" and "idempotency_key" not in more:
            headers["Idempotency-Key"] = f"{whole[: idempotency.LONGEST_KEY - 6]}/{place}"
        raw = json.dumps({} if body is None else body).encode()
        return _told(self._sent(path, raw, method, headers))

    def _sent(self, path: str, raw: bytes, method: str, headers: dict[str, str]) -> HttpResponse:
        if not path.startswith(FARMS) or "?" in path:
            return problems.plain(
                404,
                Fault(
                    "not_found",
                    _("an address begins with %(farms)s and has no query") % {"farms": FARMS},
                    "/path",
                ),
            )
        outer = self.request._request
        try:
            return inner_calls.call(outer, path, raw, headers=headers, method=method)
        except Resolver404:
            return problems.plain(404, Fault("not_found", _("there is no such address"), "/path"))


def _told(answer: HttpResponse) -> dict[str, Any]:
    return {
        "status": answer.status_code,
        "etag": answer.headers.get("ETag"),
        "location": answer.headers.get("Location"),
        "body": json.loads(answer.content) if answer.content else None,
    }


urlpatterns = [path("bulk", Bulk.as_view())]
