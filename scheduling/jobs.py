"""The Celery jobs: each takes ids or nothing, makes one call, and may run twice."""

from __future__ import annotations

import datetime as dt
import logging
import uuid

from django.conf import settings
from django.utils import timezone
from kombu.exceptions import OperationalError

from orchard.api import idempotency
from orchard.farms import audit_chain
from orchard.farms.webhooks import sending
from orchard.tasks.services import holds
from scheduling import buds, outbox
from scheduling.celery import app

log = logging.getLogger(__name__)


@app.task(name="scheduling.relay")
def relay() -> int:
    """Send what is due in the outbox. The timer asks for it every second."""
    return outbox.relay(send=send, now=timezone.now())


@app.task(name="scheduling.deliver")
def deliver(event: str) -> int:
    """Do what one event of the outbox asks for, and those of its farm that waited for it."""
    return outbox.deliver_in_turn(uuid.UUID(event), send=send if settings.REDIS_URL else leave)


@app.task(name="scheduling.send_webhooks")
def send_webhooks() -> int:
    """Send the webhooks' deliveries that are due."""
    return sending.send_due(post=sending.post_to_public, clock=timezone.now)


@app.task(name="scheduling.free_long_held")
def free_long_held() -> int:
    """Give back the stock that is promised to orders which are held for too long."""
    longest = dt.timedelta(days=settings.HOLD_KEEPS_STOCK_DAYS)
    return holds.release_long_held(longest=longest, now=timezone.now())


@app.task(name="scheduling.seal_audit")
def seal_audit() -> int:
    """Seal the audit entries that have become final since the last time."""
    return audit_chain.seal(now=timezone.now())


@app.task(name="scheduling.forget_answers")
def forget_answers() -> int:
    """Delete the answers that are kept for idempotency keys and are too old to be asked for again."""
    return idempotency.forget(now=timezone.now())


@app.task(name="scheduling.forecast_buds")
def forecast_buds() -> int:
    """Forecast the bud stages of every farm's blocks, as of today. The timer asks for it a few times a
    day."""
    return buds.forecast_every_farm(now=timezone.now())


def leave(id: uuid.UUID) -> None:
    """Leave an event to the next relay, which here is the one who called."""


def send(id: uuid.UUID) -> None:
    """Hand one event to a worker; without a broker it is done at once, in this process."""
    try:
        deliver.apply_async(args=(str(id),), retry=False)
    except OperationalError as failure:
        log.warning("no broker took outbox event %s, it is sent again later: %s", id, failure)
