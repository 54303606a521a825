"""Writing farms, members and tokens."""

from __future__ import annotations

import datetime as dt
import secrets
import uuid
import zoneinfo
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from mixing.quantities import QuantityError, parse_quantity, unit
from orchard.api import permissions
from orchard.api.refusals import Conflict, Fault, RoleNotAllowed, Unprocessable
from orchard.api.spoken import of_engine, spoken
from orchard.farms import fence, journal
from orchard.farms.actors import Actor, Role
from orchard.farms.authentication import digest
from orchard.farms.models import CalendarFeed, Farm, Membership, Person, Token

# What one may hand out: nobody makes a token that may do more than they may themselves.
RANK = {
    Role.OWNER: 6,
    Role.MANAGER: 5,
    Role.STOREKEEPER: 3,
    Role.CREW_LEAD: 3,
    Role.INTEGRATION: 4,
    Role.ADVISER: 2,
    Role.CREW_MEMBER: 1,
}
LIMITS = {
    "wind_minimum": "length/time",
    "wind_maximum": "length/time",
    "temperature_minimum": "temperature",
    "temperature_maximum": "temperature",
    "re_entry_minimum": "time",
    "quiet_from": "time",
    "quiet_until": "time",
}
"""Quiet hours are hours since midnight: 22 h until 6 h."""
A_DAY = 86400
USUAL_MEASURES = {
    "us": ("tbsp", "tsp", "cup", "fl_oz", "oz_wt", "lb"),
    "metric": ("mL", "g"),
}


def add_farm(
    *,
    name: str,
    zone: str,
    units: str,
    region: str,
    by: Actor,
    now: dt.datetime,
    owner: Person | None = None,
    **rest: Any,
) -> Farm:
    """Make a farm, and its maker the owner.

    :raises Unprocessable: for a zone, a unit or a limit that there is none of
    """
    check_farm(zone=zone, **rest)
    rest.setdefault("measures", list(USUAL_MEASURES[units]))
    with transaction.atomic():
        farm = Farm.objects.create(
            name=name,
            zone=zone,
            units=units,
            region=region,
            created_at=now,
            updated_at=now,
            created_by_kind=by.kind,
            created_by_id=by.id,
            created_by_name=by.name,
            **rest,
        )
        with fence.opened(farm.id):
            journal.created(farm, by=by, now=now)
            if owner is not None:
                name, role = str(owner), Role.OWNER.value
                journal.create(Membership, farm=farm, by=by, now=now, person=owner, name=name, role=role)
    return farm


def check_farm(**values: Any) -> None:
    """Let pass what a farm may say of itself.

    :raises Unprocessable: with every fault
    """
    faults: list[Fault] = []
    if "zone" in values and values["zone"] not in zoneinfo.available_timezones():
        faults.append(Fault("invalid", _("is a zone of the IANA list, such as America/Los_Angeles"), "/zone"))
    for at, name in enumerate(values.get("measures") or []):
        faults += _unit_faults(name, f"/measures/{at}")
    for name, raw in (values.get("limits") or {}).items():
        faults += _limit_faults(name, raw)
    if faults:
        raise Unprocessable(*faults)


def _unit_faults(name: str, pointer: str) -> Iterable[Fault]:
    try:
        if unit(name).dimension not in ("volume", "mass"):
            yield Fault("unit_kind", _("one measures a volume or a mass"), pointer)
    except QuantityError as fault:
        yield Fault(fault.code, of_engine(fault), pointer)


def _limit_faults(name: str, raw: Any) -> Iterable[Fault]:
    if name not in LIMITS:
        yield Fault(
            "unknown_field", _("the limits are %(limits)s") % {"limits": ", ".join(LIMITS)}, f"/limits/{name}"
        )
    elif raw is not None:
        try:
            found = parse_quantity(raw, dimensions=(LIMITS[name],))
            if name.startswith("quiet") and not 0 <= found.in_base() <= A_DAY:
                yield Fault(
                    "out_of_range", _("is the time since midnight, 0 to 24 h"), f"/limits/{name}/value"
                )
        except QuantityError as fault:
            yield Fault(
                fault.code, of_engine(fault), f"/limits/{name}" + (f"/{fault.field}" if fault.field else "")
            )


def change_farm(*, farm: Farm, by: Actor, now: dt.datetime, **values: Any) -> Farm:
    """Change what a farm says of itself. The caller holds its lock.

    :raises Unprocessable: as `add_farm`
    """
    check_farm(**values)
    journal.change(farm, by=by, now=now, **values)
    return farm


def add_member(
    *,
    farm: Farm,
    email: str,
    name: str,
    role: str,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    password: str | None = None,
    **rest: Any,
) -> Membership:
    """Make somebody a member; a person who is new to the service gets the password, if there is one.

    :raises Conflict: `already_member`
    """
    with transaction.atomic():
        person = Person.objects.filter(email=email.strip().lower()).first()
        if person is None:
            person = Person.objects.create_user(email=email, password=password, name=name)
        elif Membership.objects.for_farm(farm).filter(person=person).exists():
            raise Conflict(
                Fault("already_member", _("this person is a member of the farm already"), "/email")
            )
        return journal.create(
            Membership, farm=farm, by=by, now=now, id=id, person=person, name=name, role=role, **rest
        )


def change_member(*, member: Membership, by: Actor, now: dt.datetime, **values: Any) -> Membership:
    """Change a member's name, role, language or worker.

    :raises Conflict: `last_owner`
    """
    if values.get("role", Role.OWNER) != Role.OWNER:
        _keep_an_owner(member)
    journal.change(member, by=by, now=now, **values)
    return member


def remove_member(*, member: Membership, by: Actor, now: dt.datetime) -> None:
    """End a membership.

    :raises Conflict: `last_owner`
    """
    _keep_an_owner(member)
    journal.delete(member, by=by, now=now)


def _keep_an_owner(member: Membership) -> None:
    Farm.objects.select_for_update(no_key=True).get(id=member.farm.id)
    others = Membership.objects.for_farm(member.farm).filter(role=Role.OWNER).exclude(key=member.key)
    if member.role == Role.OWNER and not others.exists():
        raise Conflict(Fault("last_owner", _("a farm keeps at least one owner: name another first")))


@dataclass(frozen=True, slots=True)
class NewToken:
    """A token and its secret, which is shown this once."""

    token: Token
    secret: str


def add_token(
    *,
    farm: Farm,
    name: str,
    role: str,
    by: Actor,
    now: dt.datetime,
    id: uuid.UUID | None = None,
    scopes: Iterable[str] = (),
    expires_at: dt.datetime | None = None,
    worker: Any = None,
) -> NewToken:
    """Make a token of 256 random bits; only its hash is kept.

    :raises RoleNotAllowed: for a role above one's own
    :raises Unprocessable: for scopes that there are none of, or that belong to an integration only
    """
    wanted = sorted(set(scopes))
    if by.kind != "system" and RANK[Role(role)] > RANK[by.role]:
        raise RoleNotAllowed(
            Fault(
                "role_not_allowed",
                _("as %(role)s you cannot make a token for %(wanted)s")
                % {"role": spoken(by.role), "wanted": spoken(role)},
                "/role",
            )
        )
    unknown = [scope for scope in wanted if scope not in permissions.SCOPES]
    if unknown or (wanted and role != Role.INTEGRATION):
        detail = _("scopes are for integrations: %(scopes)s") % {"scopes": ", ".join(permissions.SCOPES)}
        raise Unprocessable(Fault("invalid", detail, "/scopes"))
    secret = "orc_" + secrets.token_urlsafe(32)
    with transaction.atomic():
        token = journal.create(
            Token,
            farm=farm,
            by=by,
            now=now,
            id=id,
            name=name,
            role=role,
            scopes=wanted,
            expires_at=expires_at,
            worker=worker,
            prefix=secret[:10],
            digest=digest(secret),
        )
    return NewToken(token, secret)


@dataclass(frozen=True, slots=True)
class NewFeed:
    """A calendar feed just made, and the secret of its address, to be shown this once."""

    feed: CalendarFeed
    secret: str


def add_calendar_feed(
    *, farm: Farm, name: str, by: Actor, now: dt.datetime, id: uuid.UUID | None = None, crew: Any = None
) -> NewFeed:
    """Make a private address for a calendar, of 256 random bits; only its hash is kept."""
    secret = secrets.token_urlsafe(32)
    with transaction.atomic():
        feed = journal.create(
            CalendarFeed, farm=farm, by=by, now=now, id=id, name=name, crew=crew, digest=digest(secret)
        )
    return NewFeed(feed, secret)


def feed_of(secret: str) -> CalendarFeed | None:
    """Return the feed whose address has this secret, unless it was revoked."""
    feeds = CalendarFeed.objects.filter(revoked_at=None).select_related("farm")
    return feeds.filter(digest=digest(secret)).first()


def revoke_calendar_feed(*, feed: CalendarFeed, by: Actor, now: dt.datetime) -> None:
    """Make a feed's address worthless at once."""
    journal.change(feed, by=by, now=now, action="delete", as_change="deleted", revoked_at=now)


def revoke_token(*, token: Token, by: Actor, now: dt.datetime) -> None:
    """Make a token worthless at once; the row stays, so that what it did keeps its name."""
    journal.change(token, by=by, now=now, action="delete", as_change="deleted", revoked_at=now)
