"""The one door to a farm: who may come in, as what, and which farm it is."""

from __future__ import annotations

import uuid

from django.contrib.auth.models import AnonymousUser
from django.utils.translation import gettext as _
from rest_framework.exceptions import NotAuthenticated
from rest_framework.request import Request

from orchard.api import permissions
from orchard.api.refusals import Fault, NotThere, RoleNotAllowed
from orchard.api.spoken import listed, spoken
from orchard.farms import fence
from orchard.farms.actors import Actor, Role
from orchard.farms.models import Farm, Membership, Person, Token


def signed_in(request: Request) -> Person | Token:
    """Return the person or the token that sends this.

    :raises NotAuthenticated: 401
    """
    if isinstance(request.auth, Token):
        return request.auth
    if request.user is None or isinstance(request.user, AnonymousUser):
        raise NotAuthenticated("send Authorization: Bearer TOKEN, or sign in")
    assert isinstance(request.user, Person)
    return request.user


def enter(request: Request, farm_id: uuid.UUID) -> tuple[Farm, Actor]:
    """Return the farm and what the sender is on it. Another farm's id is not there.

    The running transaction, in which the sender was found, sees the farm's rows from here on: where a token
    is looked up, its farm is opened.

    :raises NotThere: where the sender does not belong to that farm, or there is none
    """
    who = signed_in(request)
    if isinstance(who, Token):
        if farm_id != who.farm.id:
            raise NotThere(Fault("not_found", _("there is no such farm for you")))
        return who.farm, of_token(who)
    return enter_as(who, farm_id)


def enter_as(person: Person, farm_id: uuid.UUID) -> tuple[Farm, Actor]:
    """Return the farm and what a person who signed in is on it. The caller holds a transaction.

    :raises NotThere: where they do not belong to that farm, or there is none
    """
    rows = Membership.objects.select_related("farm", "person")
    member = rows.filter(person=person, farm__id=farm_id).first()
    if member is None:
        raise NotThere(Fault("not_found", _("there is no such farm for you")))
    fence.open_for_this_transaction(farm_id)
    return member.farm, of_member(member)


def of_token(token: Token) -> Actor:
    """Return the actor that a token is."""
    return Actor(
        kind="token",
        id=token.id,
        name=token.name,
        role=Role(token.role),
        scopes=frozenset(token.scopes),
        worker=token.worker.id if token.worker else None,
    )


def of_member(member: Membership) -> Actor:
    """Return the actor that a member is."""
    return Actor(
        kind="person",
        id=member.person.id,
        name=member.name,
        role=Role(member.role),
        language=member.language,
        worker=member.worker.id if member.worker else None,
    )


def demand(*, by: Actor, resource: str, verb: str) -> None:
    """Let pass who may do this.

    :raises RoleNotAllowed: 403 `role_not_allowed`, or `scope_missing` for an integration
    """
    if permissions.allows(role=by.role, scopes=by.scopes, resource=resource, verb=verb):
        return
    grant = permissions.TABLE[resource, verb]
    if by.role == Role.INTEGRATION:
        raise RoleNotAllowed(
            Fault("scope_missing", _("this needs the scope %(scope)s") % {"scope": grant.scope})
        )
    may = listed(grant.all_roles)
    raise RoleNotAllowed(
        Fault(
            "role_not_allowed",
            _("your role is %(role)s; this may be done by: %(may)s") % {"role": spoken(by.role), "may": may},
        )
    )
