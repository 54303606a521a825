"""Reading a JSON body: size, depth and characters are bounded before anything is made of it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, UnreadablePostError
from django.utils.translation import gettext as _
from rest_framework.exceptions import UnsupportedMediaType

from orchard.api.refusals import Fault, Refusal

LARGEST = 1024 * 1024
DEEPEST = 32
TYPES = ("application/json", "application/merge-patch+json")


class TooLarge(Refusal):
    """More than a body may hold."""

    status = 413
    title = "The request is too large"


def receive(request: HttpRequest, *, types: Sequence[str] = TYPES) -> bytes:
    """Return the body's bytes.

    :param types: what the address takes
    :raises UnsupportedMediaType: 415
    :raises TooLarge: 413, over 1 MiB
    """
    raw = _raw(request)
    if raw.strip() and (request.content_type or "").lower() not in types:
        detail = _("Content-Type %(sent)s is not taken here: send %(taken)s") % {
            "sent": request.content_type or _("(none)"), "taken": _(" or ").join(types)
        }  # fmt: skip
        raise UnsupportedMediaType(request.content_type or "nothing", detail=detail)
    return raw


def parse(raw: bytes) -> Any:
    """Return what the body says; an empty body is `{}`.

    :raises Refusal: 400, where it is not JSON, is nested too deep, or holds what is no text
    """
    if not raw.strip():
        return {}
    try:
        text = raw.decode("utf-8")
        value = json.loads(text, parse_constant=_no_constant)
    except (ValueError, RecursionError):
        raise Refusal(Fault("invalid", _("the body is not JSON in UTF-8"))) from None
    _bounded(value, DEEPEST)
    return value


def _raw(request: HttpRequest) -> bytes:
    try:
        raw = request.body
    except RequestDataTooBig:
        raise TooLarge(Fault("too_large", _("a body holds at most 1 MiB: send less at a time"))) from None
    except UnreadablePostError:
        raise Refusal(Fault("invalid", _("the body ended too early"))) from None
    promised = request.META.get("CONTENT_LENGTH") or ""
    if promised.isdecimal() and len(raw) < int(promised):  # a sender who went away: the rest may matter
        raise Refusal(Fault("invalid", _("the body ended too early: send it again")))
    if len(raw) > LARGEST:
        raise TooLarge(Fault("too_large", _("a body holds at most 1 MiB: send less at a time")))
    return raw


def _no_constant(word: str) -> Any:
    raise ValueError(word)


def _bounded(value: Any, levels: int) -> None:
    """Demand that objects and lists stand in one another so many levels deep at most."""
    if levels == 0 and isinstance(value, (dict, list)):
        says = _("the body is nested more than %(most)s levels deep") % {"most": DEEPEST}
        raise Refusal(Fault("invalid", says))
    if isinstance(value, dict):
        for name, inner in value.items():
            _readable(name)
            _bounded(inner, levels - 1)
    elif isinstance(value, list):
        for inner in value:
            _bounded(inner, levels - 1)
    elif isinstance(value, str):
        _readable(value)


def _readable(text: str) -> None:
    if "\x00" in text or any("\ud800" <= c <= "\udfff" for c in text):
        raise Refusal(Fault("invalid", _("the body holds a NUL or half a character (a lone surrogate)")))
