"""Reading farms and the people on them."""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from typing import Any

from django.db.models import Case, Count, Min, Q, QuerySet, Value, When

from orchard.api import statements
from orchard.farms.models import (
    AuditEntry,
    CalendarFeed,
    Change,
    Farm,
    Membership,
    OutboxEvent,
    Person,
    Token,
    Webhook,
    WebhookDelivery,
)


def farms_of(person: Person) -> QuerySet[Farm]:
    """Return the farms that a person belongs to."""
    return Farm.objects.filter(id__in=Membership.objects.filter(person=person).values("farm"))


def members(*, farm: Farm) -> QuerySet[Membership]:
    """Return the farm's members with their people and workers."""
    return Membership.objects.for_farm(farm).select_related("farm", "person", "worker")


def tokens(*, farm: Farm) -> QuerySet[Token]:
    """Return the farm's tokens that were not revoked."""
    return Token.objects.for_farm(farm).filter(revoked_at=None).select_related("farm", "worker")


def audit(
    *,
    farm: Farm,
    resource: str | None = None,
    resource_id: uuid.UUID | None = None,
    by: uuid.UUID | None = None,
    outcome: str | None = None,
    role: str | None = None,
    by_kind: str | None = None,
    action: str | None = None,
    request_id: str | None = None,
    since: dt.datetime | None = None,
    until: dt.datetime | None = None,
) -> QuerySet[AuditEntry]:
    """Return who did what, oldest first."""
    wanted: dict[str, Any] = {
        "resource": resource,
        "resource_id": resource_id,
        "by_id": by,
        "outcome": outcome,
        "by_role": role,
        "by_kind": by_kind,
        "action": action,
        "request_id": request_id,
        "at__gte": since,
        "at__lte": until,
    }
    rows = AuditEntry.objects.for_farm(farm).select_related("farm")
    return rows.filter(**{name: value for name, value in wanted.items() if value is not None})


OLDEST = "pg_snapshot_xmin(pg_current_snapshot())::text::bigint + orchard_transaction_offset()"
"""The lowest transaction that may still be running: everything below it is final."""
FURTHER = f"""
    SELECT transaction_number, seq, at, resource, resource_id, change, etag, path FROM {Change._meta.db_table}
    WHERE farm_id = $1 AND (transaction_number, seq) > ($2::bigint, $3::bigint)
        AND transaction_number < {OLDEST}
    ORDER BY transaction_number, seq LIMIT $4
"""


Told = tuple[int, int, dt.datetime, str, uuid.UUID, str, str, str]
"""One line of the change feed: its place, two numbers; then the other columns of `FURTHER`."""


def changes(*, farm: Farm, after: tuple[int, int] | None, limit: int) -> list[Told]:
    """Return the next changes in an order that no late commit can get behind.

    A number from a sequence is given before its row is committed, so a reader that follows it misses what
    commits late. Transactions below the oldest running one are over; among them the order never changes.
    """
    return statements.read(FURTHER, [farm.id, *(after or (0, 0)), limit])


@dataclass(frozen=True, slots=True)
class OutboxLag:
    """How much waits in the outbox, and since when; of what waits, how much has failed at its last try."""

    waiting: int
    failing: int
    set_aside: int
    oldest: dt.timedelta | None

    @property
    def oldest_seconds(self) -> int | None:
        """Age of the oldest that waits [s]."""
        return None if self.oldest is None else int(self.oldest.total_seconds())


def outbox_lag(*, now: dt.datetime) -> OutboxLag:
    """Return what waits in the outbox, over all farms."""
    open_ = Q(processed_at=None, set_aside_at=None)
    found = OutboxEvent.objects.filter(processed_at=None).aggregate(
        waiting=Count("id", filter=open_),
        failing=Count("id", filter=open_ & ~Q(last_error=None)),
        set_aside=Count("id", filter=~Q(set_aside_at=None)),
        first=Min("created_at", filter=open_),
    )
    oldest = now - found["first"] if found["first"] else None
    return OutboxLag(
        waiting=found["waiting"], failing=found["failing"], set_aside=found["set_aside"], oldest=oldest
    )


def set_aside(*, farm: Farm) -> list[OutboxEvent]:
    """Return the events of a farm that failed too often and wait for `replay_outbox`, oldest first."""
    rows = OutboxEvent.objects.for_farm(farm).filter(processed_at=None, set_aside_at__isnull=False)
    return list(rows.order_by("seq", "id"))


def jobs_to_do() -> list[tuple[str, str, int]]:
    """Return how many events of all farms are not done, by kind and state (waiting, failing, set_aside)."""
    state = Case(
        When(~Q(set_aside_at=None), then=Value("set_aside")),
        When(~Q(last_error=None), then=Value("failing")),
        default=Value("waiting"),
    )
    open_ = OutboxEvent.objects.filter(processed_at=None).annotate(state=state)
    return list(open_.values_list("kind", "state").annotate(Count("id")).order_by("kind", "state"))


@dataclass(frozen=True, slots=True)
class WebhooksLag:
    """How many deliveries wait, failed at their last try, were given up; and how many webhooks are paused."""

    waiting: int
    failing: int
    failed: int
    paused: int


def webhooks_lag() -> WebhooksLag:
    """Return what waits to be told to other systems, over all farms."""
    waiting = Q(state="waiting")
    found = WebhookDelivery.objects.exclude(state="delivered").aggregate(
        waiting=Count("key", filter=waiting),
        failing=Count("key", filter=waiting & ~Q(error=None)),
        failed=Count("key", filter=Q(state="failed")),
    )
    return WebhooksLag(**found, paused=Webhook.objects.exclude(paused_because=None).count())


def webhooks(*, farm: Farm) -> QuerySet[Webhook]:
    """Return the farm's webhooks."""
    return Webhook.objects.for_farm(farm).select_related("farm")


def calendar_feeds(*, farm: Farm) -> QuerySet[CalendarFeed]:
    """Return the farm's calendar feeds that were not revoked."""
    return CalendarFeed.objects.for_farm(farm).filter(revoked_at=None).select_related("farm", "crew")
