"""The addresses of members and tokens."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.urls import path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.api import permissions
from orchard.api.fields import (
    Id,
    Input,
    Listed,
    Moment,
    Reference,
    Shown,
    Text,
    Word,
)
from orchard.farms import queries, services
from orchard.farms.actors import Role
from orchard.farms.models import Farm, Membership, Token
from orchard.farms.resources import Changing, Making, Removing

ROLES = [role.value for role in Role]


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


_AT = "farms/<uuid:farm>/"
urlpatterns = [
    path(f"{_AT}members", Members.as_view()),
    path(f"{_AT}members/<uuid:id>", Member.as_view()),
    path(f"{_AT}tokens", Tokens.as_view()),
    path(f"{_AT}tokens/<uuid:id>", TokenHere.as_view()),
]
