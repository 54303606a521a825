"""The addresses of farms, members, tokens, the audit, and the change feed."""

from __future__ import annotations

import base64
import binascii
import time
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.urls import path
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api import permissions
from orchard.api.fields import (
    QUANTITY_SCHEMA,
    Id,
    Input,
    Listed,
    ListQuery,
    Moment,
    Query,
    Reference,
    Shown,
    Text,
    Word,
    YesNo,
    between,
    wrong,
)
from orchard.api.refusals import Fault, Refusal, RoleNotAllowed
from orchard.farms import access, queries, services
from orchard.farms.actors import Actor, Role
from orchard.farms.endpoint import Changing, Collection, Endpoint, Making, Removing
from orchard.farms.models import AuditEntry, Change, Farm, Membership, Token

ROLES = [role.value for role in Role]
POLL = 0.25
LONGEST_WAIT = 30


@extend_schema_field({"type": "object", "additionalProperties": QUANTITY_SCHEMA})
class Limits(serializers.DictField):
    """Limits of the farm's own, by name."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        if not isinstance(data, dict):
            raise wrong("is an object of quantities by name")
        return data


class FarmShown(Shown):
    name = serializers.CharField()
    zone = serializers.CharField(help_text="IANA name")
    units = serializers.ChoiceField(choices=["us", "metric"])
    region = serializers.CharField(help_text="ISO 3166-1 or 3166-2")
    measures = serializers.ListField(child=serializers.CharField(), help_text="units of the measuring set")
    limits = Limits(help_text="limits that are stricter than a label's")
    emergency = serializers.CharField(allow_null=True)
    archived = serializers.BooleanField()


class FarmInput(Input):
    id = Id(made_here=True, required=False, help_text="UUIDv7 that the client made")
    name = Text(max_length=200)
    zone = Text(max_length=64, help_text="IANA name, such as America/Los_Angeles")
    units = Word(["us", "metric"])
    region = Text(max_length=6, help_text="ISO 3166, such as US-CA")
    measures = Listed(child=Text(max_length=20), required=False)
    limits = Limits(required=False)
    emergency = Text(allow_null=True, allow_blank=True, required=False)

    def validate_region(self, value: str) -> str:
        country, _, part = value.partition("-")
        if not (len(country) == 2 and country.isascii() and country.isalpha() and country.isupper()):
            raise wrong("is an ISO 3166 code, such as US-CA or ES")
        if "-" in value and not (part.isascii() and part.isalnum() and part.isupper() and len(part) <= 3):
            raise wrong("is an ISO 3166 code, such as US-CA or ES")
        return value


class FarmChange(FarmInput):
    id = None  # type: ignore[assignment]
    archived = YesNo(required=False)


class Farms(Collection):
    """The farms that the sender belongs to."""

    resource = "farm"
    verbs = {}
    shown = FarmShown
    asked = FarmInput

    def enter(self, request: Request, **kwargs: Any) -> None:
        self.who = access.signed_in(request)
        self.farm = Farm(zone="UTC")

    def rows(self, **filters: Any) -> QuerySet[Farm]:
        if isinstance(self.who, Token):
            return Farm.objects.filter(id=self.who.farm.id, **filters)
        return queries.farms_of(self.who).filter(**filters)

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Make a farm; its maker becomes the owner."""
        if isinstance(self.who, Token):
            raise RoleNotAllowed(Fault("role_not_allowed", "a farm is made by a person who has signed in"))
        self.by = Actor(kind="person", id=self.who.id, name=str(self.who), role=Role.OWNER)
        return self.once(self._post)

    def create(self, **values: Any) -> Farm:  # type: ignore[override]
        assert not isinstance(self.who, Token)
        return services.add_farm(by=self.by, now=self.now, owner=self.who, **values)

    def _audit_refusal(self, refusal: Refusal) -> None:
        """There is no farm yet to write it to."""


class FarmHere(Changing):
    """One farm."""

    resource = "farm"
    shown = FarmShown
    asked = FarmChange

    def find(self, **kwargs: Any) -> None:
        self.thing = self.farm
        if self.request.method == "PATCH":
            self.thing = Farm.objects.select_for_update(no_key=True).get(id=self.farm.id)

    def change(self, row: Farm, **values: Any) -> Farm:
        return services.change_farm(farm=row, by=self.by, now=self.now, **values)


def workers(*, farm: Farm) -> QuerySet[Any]:
    """Return the farm's workers, by the reference that a member has to one."""
    worker: Any = Membership._meta.get_field("worker").related_model
    rows: QuerySet[Any] = worker.objects.for_farm(farm)
    return rows


class MemberShown(Shown):
    email = serializers.EmailField(source="person.email")
    name = serializers.CharField()
    role = serializers.ChoiceField(choices=ROLES)
    language = serializers.CharField()
    worker = Id(allow_null=True)


class MemberInput(Input):
    id = Id(made_here=True, required=False)
    email = serializers.EmailField(max_length=254)
    name = Text(max_length=200)
    role = Word([role for role in ROLES if role != Role.INTEGRATION])
    language = Word(["en", "es"], required=False)
    worker = Reference(workers, required=False, allow_null=True)


class MemberChange(MemberInput):
    id = None  # type: ignore[assignment]
    email = None  # type: ignore[assignment]


class Members(Making):
    """Who belongs to the farm."""

    resource = "member"
    shown = MemberShown
    asked = MemberInput

    def rows(self, **filters: Any) -> QuerySet[Membership]:
        return queries.members(farm=self.farm).filter(**filters)

    def create(self, **values: Any) -> Membership:
        return services.add_member(farm=self.farm, by=self.by, now=self.now, **values)


class Member(Changing, Removing):
    """One member."""

    resource = "member"
    shown = MemberShown
    asked = MemberChange

    def rows(self) -> QuerySet[Membership]:
        return queries.members(farm=self.farm)

    def change(self, row: Membership, **values: Any) -> Membership:
        return services.change_member(member=row, by=self.by, now=self.now, **values)

    def remove(self, row: Membership) -> None:
        services.remove_member(member=row, by=self.by, now=self.now)


class TokenShown(Shown):
    name = serializers.CharField()
    role = serializers.ChoiceField(choices=ROLES)
    scopes = serializers.ListField(child=serializers.CharField())
    expires_at = Moment(allow_null=True)
    worker = Id(allow_null=True)
    prefix = serializers.CharField(help_text="first characters of the token, to know it by")
    last_used_at = Moment(allow_null=True)


class TokenInput(Input):
    id = Id(made_here=True, required=False)
    name = Text(max_length=200)
    role = Word(ROLES)
    scopes = Listed(child=Word(permissions.SCOPES), required=False)
    expires_at = Moment(required=False, allow_null=True)
    worker = Reference(workers, required=False, allow_null=True)


class Tokens(Making):
    """Keys for programs and phones. The answer to POST shows the `token`, this once."""

    resource = "token"
    shown = TokenShown
    asked = TokenInput

    def rows(self, **filters: Any) -> QuerySet[Token]:
        return queries.tokens(farm=self.farm).filter(**filters)

    def create(self, **values: Any) -> Token:
        made = services.add_token(farm=self.farm, by=self.by, now=self.now, **values)
        self.secret = made.secret
        return made.token

    def post(self, request: Request, **kwargs: Any) -> Response:
        """Make a token; an answer that is given again does not show it again."""
        response = self.once(self._post)
        if response.status_code == 201 and hasattr(self, "secret"):
            response.data = {**response.data, "token": self.secret}
        return response


class TokenHere(Removing):
    """One token; DELETE revokes it at once."""

    resource = "token"
    shown = TokenShown

    def rows(self) -> QuerySet[Token]:
        return queries.tokens(farm=self.farm)

    def remove(self, row: Token) -> None:
        services.revoke_token(token=row, by=self.by, now=self.now)


class AuditShown(serializers.Serializer):
    id = Id()
    at = Moment()
    by = serializers.SerializerMethodField()
    action = serializers.CharField()
    resource = serializers.CharField()
    resource_id = Id(allow_null=True)
    before = serializers.JSONField(allow_null=True, help_text="the changed fields before")
    after = serializers.JSONField(allow_null=True, help_text="the changed fields after")
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
    cursor = Text(required=False)
    resource = Text(required=False)
    resource_id = Id(required=False)
    by = Id(required=False, help_text="id of the person or token")
    outcome = Word(["done", "refused"], required=False)


between(AuditQuery, Moment, since="since", until="until")


class Audit(Collection):
    """Who did what, before and after; refused actions too. Nothing in it can be changed."""

    resource = "audit_entry"
    shown = AuditShown
    query = AuditQuery

    def rows(self, **filters: Any) -> QuerySet[AuditEntry]:
        return queries.audit(farm=self.farm, **filters)


class ChangeShown(serializers.Serializer):
    cursor = serializers.SerializerMethodField(help_text="keep the last; ask for what comes after it")
    at = Moment()
    resource = serializers.CharField()
    id = Id(source="resource_id")
    change = serializers.ChoiceField(choices=["created", "updated", "deleted", "voided"])
    etag = serializers.CharField()
    url = serializers.CharField(source="path")

    @extend_schema_field(str)
    def get_cursor(self, row: Change) -> str:
        return cursor_of((row.transaction_number, row.seq))


class ChangesShown(serializers.Serializer):
    items = ChangeShown(many=True)
    cursor = serializers.CharField(allow_null=True, help_text="the last, to keep")
    next = serializers.CharField(allow_null=True)


class ChangesQuery(Query):
    after = Text(
        required=False, help_text="cursor of the last change that you have; none: from the beginning"
    )
    limit = serializers.IntegerField(min_value=1, max_value=500, required=False)
    wait = serializers.IntegerField(
        min_value=0, max_value=3600, required=False, help_text="seconds to wait for a change, 30 at most"
    )


def cursor_of(place: tuple[int, int]) -> str:
    """Return the text that stands for a place in the feed."""
    return base64.urlsafe_b64encode(f"{place[0]}.{place[1]}".encode()).decode().rstrip("=")


def place_of(cursor: str) -> tuple[int, int]:
    """Return the place that a cursor stands for.

    :raises Refusal: 400 `cursor_invalid`
    """
    try:
        text = base64.b64decode(cursor + "=" * (-len(cursor) % 4), altchars=b"-_", validate=True).decode(
            "ascii"
        )
        transaction_number, seq = text.split(".")
        place = int(transaction_number), int(seq)
    except (ValueError, binascii.Error):
        place = (-1, -1)
    if not all(0 <= number < 2**63 for number in place):
        raise Refusal(Fault("cursor_invalid", "this cursor is not one of ours", "/after"))
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
        found = self.read(
            place_of(after) if after else None, limit + 1, min(asked.get("wait", 0), LONGEST_WAIT)
        )
        more, found = len(found) > limit, found[:limit]
        cursor = cursor_of((found[-1].transaction_number, found[-1].seq)) if found else after
        query = request.query_params.copy()
        if cursor:
            query["after"] = cursor
        address = request.build_absolute_uri(f"{request.path}?{query.urlencode()}") if more else None
        items = ChangeShown(found, many=True, context=self.context()).data
        return Response({"items": items, "cursor": cursor, "next": address})

    def read(self, after: tuple[int, int] | None, limit: int, wait: float) -> list[Change]:
        """Return what comes after, waiting for it where nothing is there yet."""
        end = time.monotonic() + wait
        while True:
            with transaction.atomic():
                found = queries.changes(farm=self.farm, after=after, limit=limit)
            if found or time.monotonic() >= end:
                return found
            time.sleep(POLL)


urlpatterns = [
    path("farms", Farms.as_view()),
    path("farms/<uuid:farm>", FarmHere.as_view()),
    path("farms/<uuid:farm>/members", Members.as_view()),
    path("farms/<uuid:farm>/members/<uuid:id>", Member.as_view()),
    path("farms/<uuid:farm>/tokens", Tokens.as_view()),
    path("farms/<uuid:farm>/tokens/<uuid:id>", TokenHere.as_view()),
    path("farms/<uuid:farm>/audit", Audit.as_view()),
    path("farms/<uuid:farm>/changes", Changes.as_view()),
]
