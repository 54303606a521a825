"""Writing webhooks, and what is to be delivered to them."""

from __future__ import annotations

import base64
import datetime as dt
import secrets
import uuid
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from orchard.api.refusals import Conflict, Fault, NotThere, Unprocessable
from orchard.farms import journal
from orchard.farms.actors import SYSTEM, Actor
from orchard.farms.models import Farm, OutboxEvent, Webhook, WebhookDelivery
from orchard.farms.webhooks import addresses, events

SECRET_BYTES = 32
OLD_SECRET_HOLDS = dt.timedelta(days=1)
MOST_WEBHOOKS = 20


def add_webhook(*, farm: Farm, by: Actor, now: dt.datetime, url: str, **values: Any) -> Webhook:
    """Make a webhook with a fresh secret.

    :raises Unprocessable: `address_not_allowed`
    :raises Conflict: where the farm has as many as it may have
    """
    check_address(url)
    if Webhook.objects.for_farm(farm).count() >= MOST_WEBHOOKS:
        raise Conflict(
            Fault(
                "state_conflict",
                _("a farm has %(most)s webhooks at most: delete one") % {"most": MOST_WEBHOOKS},
            )
        )
    return journal.create(Webhook, farm=farm, by=by, now=now, url=url, secret=new_secret(), **values)


def change_webhook(*, webhook: Webhook, by: Actor, now: dt.datetime, **values: Any) -> Webhook:
    """Change a webhook; one that is enabled again begins anew. The caller holds its lock.

    :raises Unprocessable: `address_not_allowed`
    """
    if "url" in values:
        check_address(values["url"])
    if values.get("enabled"):
        values |= {"failing_since": None, "paused_because": None}
    journal.change(webhook, by=by, now=now, **values)
    return webhook


def check_address(url: str) -> None:
    """Let pass an address that may be sent to. A name that cannot be looked up now is judged when it can.

    :raises Unprocessable: `address_not_allowed`
    """
    try:
        at = addresses.target(url)
        addresses.public_address(at.host, at.port, resolve=addresses.look_up)
    except addresses.NotAllowed as reason:
        raise Unprocessable(Fault("address_not_allowed", str(reason), "/url")) from None
    except addresses.Unresolved:
        return


def rotate_secret(*, webhook: Webhook, by: Actor, now: dt.datetime) -> Webhook:
    """Make a new secret; for a day both sign, so that the receiver can change over."""
    journal.change(
        webhook,
        by=by,
        now=now,
        action="rotate_secret",
        secret=new_secret(),
        old_secret=webhook.secret,
        old_secret_until=now + OLD_SECRET_HOLDS,
    )
    return webhook


def replay(*, webhook: Webhook, delivery: uuid.UUID, by: Actor, now: dt.datetime) -> WebhookDelivery:
    """Send a delivery again, as it was; the receiver knows it by its id.

    :raises NotThere: where the webhook has no such delivery
    :raises Conflict: `state_conflict` while it is still on its way
    """
    row = webhook.deliveries.select_for_update().filter(id=delivery).first()
    if row is None:
        raise NotThere(Fault("not_found", _("this webhook has no such delivery"), "/delivery"))
    if row.state == "waiting":
        raise Conflict(
            Fault(
                "state_conflict",
                _("it is still on its way; the next try is at %(next_at)s") % {"next_at": row.next_at},
            )
        )
    journal.change(row, by=by, now=now, action="replay", state="waiting", attempt=0, next_at=now)
    return row


def tell(*, event: OutboxEvent, now: dt.datetime) -> int:
    """Leave a delivery of this event to each webhook that wants it, and return how many want it.

    Twice is as once.
    """
    resource, collection = events.EVENTS[event.kind]
    url = f"/api/v1/farms/{event.farm.id}/{collection}/{event.subject}"
    body = {
        "type": event.kind,
        "timestamp": event.created_at.isoformat(),
        "data": {"resource": resource, "id": str(event.subject), "url": url},
    }
    hooks = Webhook.objects.for_farm(event.farm).filter(enabled=True).order_by("id")
    wanting = [hook for hook in hooks if events.wants(hook.events, event.kind)]
    with transaction.atomic():
        for hook in wanting:
            _leave(hook, event=event, body=body, now=now)
    return len(wanting)


def _leave(webhook: Webhook, *, event: OutboxEvent, body: dict[str, Any], now: dt.datetime) -> None:
    if webhook.deliveries.filter(event=event.id).exists():
        return
    journal.insert(
        WebhookDelivery,
        farm=event.farm,
        by=SYSTEM,
        now=now,
        webhook=webhook,
        event=event.id,
        kind=event.kind,
        subject=event.subject,
        seq=event.seq,
        request_body=body,
        next_at=now,
    )


def new_secret() -> str:
    """Return a fresh secret as the specification writes it."""
    return "whsec_" + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()
