"""One shape for everything that goes wrong: RFC 9457 problem documents that list every fault."""

from __future__ import annotations

import logging
from collections.abc import Iterable, Iterator, Mapping, Sequence
from http import HTTPStatus
from typing import Any

from django.core.exceptions import PermissionDenied
from django.db import DataError, IntegrityError, OperationalError
from django.http import Http404, HttpRequest, JsonResponse
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt
from rest_framework import exceptions, serializers
from rest_framework.response import Response

from orchard.api import wording
from orchard.api.refusals import Fault, Refusal

log = logging.getLogger(__name__)
CONTENT_TYPE = "application/problem+json"
PAGE = "/api/v1/problems"
"""Where each code is explained; `type` points to its place there."""

_TITLES = {
    400: "The request cannot be read",
    401: "Sign in or send a token",
    403: "Your role may not do this",
    404: "There is no such thing here",
    405: "This cannot be done to this address",
    406: "No such form is offered",
    409: "This cannot be done now",
    413: "The request is too large",
    415: "This kind of body is not taken here",
    422: "The content is wrong",
    429: "Too many requests",
    500: "Something went wrong on our side",
    503: "Not available just now",
}
_CODES = {
    "null": "required",
    "blank": "required",
    "empty": "required",
    "max_length": "out_of_range",
    "min_length": "out_of_range",
    "max_value": "out_of_range",
    "min_value": "out_of_range",
    "not_a_list": "invalid",
    "does_not_exist": "not_found",
    "unique": "invalid",
}


class FaultShown(serializers.Serializer):
    """One fault."""

    pointer = serializers.CharField(
        allow_blank=True, help_text="JSON pointer into the body; empty for the whole"
    )
    code = serializers.CharField(help_text="stable word to act on")
    detail = serializers.CharField(help_text="a sentence for a person, in the request's language")
    says = serializers.CharField(required=False, help_text="the same, shorter, in the request's language")
    untranslated = serializers.BooleanField(
        required=False,
        help_text="true: `says` is missing, since there is no sentence in the request's language",
    )


class ProblemShown(serializers.Serializer):
    """A problem document (RFC 9457)."""

    type = serializers.CharField(
        help_text="what went wrong first, the same for good: `/api/v1/problems#` and the first fault's code;"
        " the page behind it says what it means and what to do"
    )
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    errors = FaultShown(many=True)  # type: ignore[assignment]
    state = serializers.CharField(required=False, help_text="of the work order, where an action was refused")
    open_moves = serializers.ListField(
        child=serializers.CharField(), required=False, help_text="what that state allows the sender now"
    )
    kept = serializers.BooleanField(
        required=False, help_text="true: what was told is kept in the order's `conflicts` or duplicates"
    )


def document(status: int, faults: Iterable[Fault], title: str | None = None) -> dict[str, Any]:
    """Return the problem document for a status and its faults."""
    shown = [fault.as_json() for fault in faults]
    title = title or _TITLES.get(status) or HTTPStatus(status).phrase
    detail = "; ".join(_among(shown)) or title
    kind = kind_of(shown[0]["code"] if shown else "invalid")
    told = {"type": kind, "title": title, "status": status, "detail": detail[:2000]}
    return wording.in_own_words({**told, "errors": shown})


def kind_of(code: str) -> str:
    """Return the `type` of a problem whose first fault has this code."""
    return f"{PAGE}#{code}"


def respond(status: int, faults: Iterable[Fault], title: str | None = None, headers: Any = None) -> Response:
    """Return the response that carries a problem document."""
    response = Response(document(status, faults, title), status=status, headers=dict(headers or {}))
    response.content_type = CONTENT_TYPE
    return response


def plain(status: int, *faults: Fault) -> JsonResponse:
    """Return the same for what is answered before any view."""
    return JsonResponse(document(status, faults), status=status, content_type=CONTENT_TYPE)


def _among(shown: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Yield the sentence of each fault: of several, where each is."""
    for fault in shown:
        where = f"{fault['pointer']}: " if len(shown) > 1 and fault["pointer"] else ""
        yield f"{where}{fault['detail'].rstrip('.') if len(shown) > 1 else fault['detail']}"


def faults_in(detail: Any, pointer: str = "") -> list[Fault]:
    """Return every fault of a validation error, each with its JSON pointer."""
    if isinstance(detail, Mapping):
        return [f for name, inner in detail.items() for f in faults_in(inner, step(pointer, name))]
    if isinstance(detail, (list, tuple)):
        if all(isinstance(one, exceptions.ErrorDetail) for one in detail):
            return [Fault(_code(one), str(one), pointer) for one in detail]
        return [f for at, inner in enumerate(detail) for f in faults_in(inner, f"{pointer}/{at}")]
    return [Fault(_code(detail), str(detail), pointer)]


def _code(detail: Any) -> str:
    """Return our code for a fault; what the framework calls its own way and nobody acts on is `invalid`."""
    code = getattr(detail, "code", None) or "invalid"
    code = _CODES.get(code, code)
    return code if code in wording.meanings() else "invalid"


def step(pointer: str, name: object) -> str:
    """Return the pointer one step down (RFC 6901); faults of the whole object add no step."""
    if name in ("", "non_field_errors"):
        return pointer
    return f"{pointer}/{str(name).replace('~', '~0').replace('/', '~1')}"


def on_exception(error: Exception, context: Mapping[str, Any]) -> Response | None:
    """Turn whatever a view raises into a problem document (the framework's exception handler)."""
    if isinstance(error, Refusal):
        return respond(error.status, error.faults, error.title, error.headers)
    if isinstance(error, exceptions.ValidationError):
        return respond(422, faults_in(error.detail))
    if isinstance(error, (Http404, exceptions.NotFound)):
        return respond(404, [Fault("not_found", _("there is no such thing here"))])
    if isinstance(error, (PermissionDenied, exceptions.PermissionDenied)):
        return respond(403, [Fault("role_not_allowed", str(error) or _("your role may not do this"))])
    if isinstance(error, exceptions.MethodNotAllowed):
        return _other_method(context["request"].method, context["view"].allowed_methods)
    if isinstance(error, exceptions.APIException):
        return _framework(error)
    if isinstance(error, (DataError, IntegrityError)):
        log.exception("the database refused what the checks let through")
        return respond(
            409, [Fault("state_conflict", _("the database refused this: read it again and retry"))]
        )
    if isinstance(error, OperationalError):
        log.exception("the database did not answer")
        return respond(
            503,
            [Fault("try_again", _("the database did not answer: try again"))],
            headers={"Retry-After": "5"},
        )
    return None


def _other_method(method: str, allowed: Iterable[str]) -> Response:
    names = ", ".join(allowed)
    says = _("%(method)s cannot be done to this address: it takes %(allowed)s")
    faults = [Fault("method_not_allowed", says % {"method": method, "allowed": names})]
    return respond(405, faults, headers={"Allow": names})


def _framework(error: exceptions.APIException) -> Response:
    headers = {}
    if challenge := getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = challenge
    if wait := getattr(error, "wait", None):
        headers["Retry-After"] = str(int(wait) + 1)
    code = {401: "not_signed_in", 415: "media_type", 429: "too_many_requests"}.get(
        error.status_code, str(error.default_code)
    )
    return respond(error.status_code, [Fault(code, str(error.detail))], headers=headers)


@csrf_exempt
def not_found(request: HttpRequest, exception: Exception | None = None) -> JsonResponse:
    """Answer an address that does not exist."""
    return plain(404, Fault("not_found", _("there is no such address")))


def broken(request: HttpRequest) -> JsonResponse:
    """Answer what should never happen, without a word about the inside."""
    return plain(500, Fault("broken", _("this is our fault: it has been written down")))


def csrf(request: HttpRequest, reason: str = "") -> JsonResponse:
    """Answer a form or a call of a signed-in page that lacks its token against forgery."""
    return plain(403, Fault("csrf_failed", _("reload the page and send it again")))
