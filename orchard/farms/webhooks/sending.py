"""Deliveries on their way: claimed, signed, sent to an address that was judged, tried for three days."""

from __future__ import annotations

import datetime as dt
import http.client
import json
import logging
import socket
import ssl
import threading
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet
from standardwebhooks import Webhook as Signer

from orchard.farms.models import Webhook, WebhookDelivery
from orchard.farms.webhooks import addresses

log = logging.getLogger(__name__)

SECONDS = 10  # a receiver has to answer; the specification asks for 15 to 30 s at most, and it works later
SECONDS_IN_ALL = 30  # of one try: who answers a letter each few seconds would else hold a worker for good
LEASE = dt.timedelta(minutes=1)
PAUSES = tuple(
    dt.timedelta(seconds=s)
    for s in (5, 30, 120, 600, 1800, 3600, 7200, 14_400, 21_600, 28_800, 43_200, 57_600, 86_400)
)
"""74 hours in all: a receiver that fell over on a Friday evening still gets it on Monday morning."""
DEAD_AFTER = dt.timedelta(days=3)
GONE = 410


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of one try.

    :ivar status: of the answer; None where there was none
    """

    status: int | None
    error: str | None = None

    @property
    def taken(self) -> bool:
        return self.status is not None and 200 <= self.status < 300


Post = Callable[[str, dict[str, str], bytes], Answer]
"""Sends a body with headers to a URL."""


def send_due(*, post: Post, clock: Callable[[], dt.datetime], most: int = 20) -> int:
    """Send what is due, one by one; return how many were tried. Any number may run side by side.

    Of one webhook and one thing only the oldest is sent: the next waits until that was taken or given up.
    """
    sent = 0
    while sent < most and (delivery := _claim(now=clock())):
        headers, body = signed(delivery, now=clock())
        answer = post(delivery.webhook.url, headers, body)
        _note(delivery.key, answer, headers=headers, now=clock())
        sent += 1
    return sent


def _claim(*, now: dt.datetime) -> WebhookDelivery | None:
    """Return the oldest that is due, which for a while nobody else gets."""
    with transaction.atomic():
        found = _due(now).select_for_update(skip_locked=True, of=("self",)).first()
        if found is not None:
            found.next_at = now + LEASE
            found.attempt += 1
            found.save(update_fields=["next_at", "attempt"])
        return found


def _due(now: dt.datetime) -> QuerySet[WebhookDelivery]:
    before = WebhookDelivery.objects.filter(
        Q(seq__lt=OuterRef("seq")) | Q(seq=OuterRef("seq"), id__lt=OuterRef("id")),
        webhook=OuterRef("webhook"),
        subject=OuterRef("subject"),
        state="waiting",
    )
    waiting = WebhookDelivery.objects.filter(state="waiting", next_at__lte=now, webhook__enabled=True)
    return waiting.exclude(Exists(before)).select_related("webhook", "farm").order_by("seq", "id")


def signed(delivery: WebhookDelivery, *, now: dt.datetime) -> tuple[dict[str, str], bytes]:
    """Return the headers and the body of a try; while a secret changes over, both sign."""
    body = json.dumps(delivery.request_body, separators=(",", ":"))
    hook, at = delivery.webhook, now.replace(microsecond=0)
    secrets = [hook.secret]
    if hook.old_secret and hook.old_secret_until and hook.old_secret_until > now:
        secrets.append(hook.old_secret)
    signatures = [Signer(one).sign(str(delivery.id), at.astimezone(dt.UTC), body) for one in secrets]
    headers = {
        "content-type": "application/json",
        "user-agent": "orchard-operations",
        "webhook-id": str(delivery.id),
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": " ".join(signatures),
    }
    return headers, body.encode()


def _note(key: uuid.UUID, answer: Answer, *, headers: dict[str, str], now: dt.datetime) -> None:
    with transaction.atomic():
        hooks = Webhook.objects.select_for_update(no_key=True)
        hook = hooks.get(deliveries__key=key)
        row = WebhookDelivery.objects.select_for_update().get(key=key)
        row.request_headers, row.status, row.error = headers, answer.status, answer.error
        row.updated_at = now
        if answer.taken:
            row.state, hook.failing_since = "delivered", None
        else:
            hook.failing_since = hook.failing_since or now
            _try_again_or_give_up(row, hook, answer, now=now)
        row.save()
        hook.save(update_fields=["failing_since", "enabled", "paused_because"])


def _try_again_or_give_up(row: WebhookDelivery, hook: Webhook, answer: Answer, *, now: dt.datetime) -> None:
    if answer.status == GONE:
        row.state, hook.enabled, hook.paused_because = "failed", False, "the receiver answered 410 Gone"
    elif row.attempt > len(PAUSES):
        row.state = "failed"
    else:
        row.next_at = now + PAUSES[row.attempt - 1]
    if hook.enabled and hook.failing_since and now - hook.failing_since >= DEAD_AFTER:
        hook.enabled = False
        hook.paused_because = f"nothing was taken since {hook.failing_since.isoformat(timespec='seconds')}"


def post_to_public(url: str, headers: dict[str, str], body: bytes) -> Answer:
    """Send to the address that a name stands for now, if it is public.

    Redirects are not followed, and of the answer nothing is read but its status and its headers.
    """
    try:
        at = addresses.target(url)
        address = addresses.public_address(at.host, at.port, resolve=addresses.look_up)
        connection = _ToAddress(at.host, at.port, address=address)
        with _at_most(SECONDS_IN_ALL, connection):
            connection.request("POST", at.path, body=body, headers=headers)
            return Answer(connection.getresponse().status)
    except addresses.NotAllowed as reason:
        return Answer(None, f"address_not_allowed: {reason}")
    except (addresses.Unresolved, OSError, http.client.HTTPException) as failure:
        return Answer(None, f"{type(failure).__name__}: {failure}"[:500])


@contextmanager
def _at_most(seconds: float, connection: _ToAddress) -> Iterator[None]:
    """Hang up after so many seconds, however far a connection has come; close it in any case."""
    timer = threading.Timer(seconds, connection.hang_up)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
        connection.close()


class _ToAddress(http.client.HTTPSConnection):
    """Speaks to a name at one address of it, and asks for the certificate of the name."""

    def __init__(self, host: str, port: int, *, address: str) -> None:
        self._tls = ssl.create_default_context()
        super().__init__(host, port, timeout=SECONDS, context=self._tls)
        self._address = address
        self._line: socket.socket | None = None

    def connect(self) -> None:
        plain = socket.create_connection((self._address, self.port), timeout=SECONDS)
        self._line = plain.dup()  # TLS takes the other for itself, from the first greeting on
        self.sock = self._tls.wrap_socket(plain, server_hostname=self.host)

    def hang_up(self) -> None:
        """End both directions: who waits for the other side hears that it is over."""
        if self._line is not None:
            with suppress(OSError):
                self._line.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        super().close()
        if self._line is not None:
            self._line.close()
