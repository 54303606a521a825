"""Who sends a request: a bearer token, or a person who has signed in at the pages."""

from __future__ import annotations

import datetime as dt
import hashlib
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework import authentication, exceptions
from rest_framework.request import Request

from orchard.api import statements
from orchard.farms import fence
from orchard.farms.models import Farm, Token

SEEN_EVERY = dt.timedelta(minutes=1)
FIND_AND_OPEN = f"""
    SELECT {fence.opening("token.farm_id")},
        {statements.columns(Token, "token")}, {statements.columns(Farm, "farm")}
    FROM {Token._meta.db_table} AS token JOIN {Farm._meta.db_table} AS farm ON farm.id = token.farm_id
    WHERE token.digest = $1
"""
"""One round trip: the token, its farm, and that farm's rows in sight for the running transaction."""


def digest(secret: str) -> str:
    """Return the hash that a token is kept as. A token has 256 random bits, so one round is enough."""
    return hashlib.sha256(secret.encode()).hexdigest()


class BearerToken(authentication.BaseAuthentication):
    """`Authorization: Bearer TOKEN` (RFC 6750)."""

    def authenticate(self, request: Request) -> tuple[Any, Token] | None:
        words = authentication.get_authorization_header(request).split()
        if not words or words[0].lower() != b"bearer":
            return None
        if len(words) != 2:
            raise exceptions.AuthenticationFailed(_("write Authorization: Bearer TOKEN"))
        try:
            secret = words[1].decode("ascii")
        except UnicodeDecodeError:
            raise exceptions.AuthenticationFailed(_("this is not one of our tokens")) from None
        return None, self.find(secret)

    def find(self, secret: str) -> Token:
        """Return the token, its farm open in a running transaction; note once a minute that it was used.

        :raises AuthenticationFailed: for one that is unknown, revoked or expired
        """
        now = timezone.now()
        token = _found(secret)
        if token is None or token.revoked_at is not None:
            raise exceptions.AuthenticationFailed(_("this token is unknown or was revoked"))
        if token.expires_at is not None and token.expires_at <= now:
            raise exceptions.AuthenticationFailed(_("this token has expired: ask the manager for a new one"))
        if token.last_used_at is None or token.last_used_at < now - SEEN_EVERY:
            used = Token.objects.filter(key=token.key)
            transaction.on_commit(lambda: used.update(last_used_at=now))  # so that a read stays one
        return token

    def authenticate_header(self, request: Request) -> str:
        return 'Bearer realm="orchard"'


def _found(secret: str) -> Token | None:
    rows = statements.read(FIND_AND_OPEN, [digest(secret)])
    if not rows:
        return None
    length = len(Token._meta.concrete_fields)
    found = rows[0][1:]
    token = statements.load(Token, found[:length])
    token.farm = statements.load(Farm, found[length:])
    return token


class BearerTokenScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """How the OpenAPI document shows it."""

    target_class = BearerToken
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A token of one farm, or of one integration.",
        }
