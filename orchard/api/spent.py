"""Who has used up the minute is refused at the door, before anything is looked up for them.

A program that sends fifty times what it may costs others their time with each refusal that asks the database
who it is. So each web process remembers the tokens that it refused, as hashes, until their minute is over.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from orchard.api import problems, rates
from orchard.api.refusals import Fault

MOST = 10_000
"""Tokens remembered at most: with more, some are looked up again."""
_until: dict[bytes, tuple[float, int]] = {}


def remember(authorization: str, *, limit: int, at: float) -> None:
    """Refuse whoever sends this header for the rest of the minute.

    :param at: seconds of the clock
    """
    if len(_until) >= MOST:
        _until.clear()
    _until[_hash(authorization)] = (at + rates.left_of_minute(at=at), limit)


def refused_at_the_door(
    answer: Callable[[HttpRequest], HttpResponseBase],
) -> Callable[[HttpRequest], HttpResponseBase]:
    """Answer who was refused in this minute already; let all others in (middleware)."""

    def at_the_door(request: HttpRequest) -> HttpResponseBase:
        sent = request.headers.get("Authorization") if _until else None
        until, limit = _until.get(_hash(sent), (0.0, 0)) if sent else (0.0, 0)
        at = timezone.now().timestamp()
        if at >= until or limit != settings.RATE_LIMIT_PER_MINUTE or not request.path.startswith("/api/"):
            return answer(request)
        with translation.override(translation.get_language_from_request(request)):
            response = problems.plain(429, too_many(limit))
        allowance = rates.Allowance(limit=limit, left=0, seconds=rates.left_of_minute(at=at))
        for name, value in {**allowance.headers(), "Retry-After": str(allowance.seconds)}.items():
            response[name] = value
        return response

    return at_the_door


def too_many(limit: int) -> Fault:
    """Return what is said to whoever sends more than that a minute."""
    return Fault("too_many_requests", _("%(limit)s a minute: wait a little") % {"limit": limit})


def _hash(authorization: str) -> bytes:
    return hashlib.sha256(authorization.encode("utf-8", "surrogateescape")).digest()
