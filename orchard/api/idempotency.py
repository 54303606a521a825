"""The same key and body get the first answer again.

The answer is stored in the transaction that has the effect, under a lock that ends with it: after a crash
there is neither effect nor answer, and the key is free at once.
Source of the manner: The Idempotency-Key HTTP Header Field, IETF HTTPAPI working group, draft 07, 2025.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import uuid
from collections.abc import Callable
from typing import Any

from django.utils.translation import gettext as _
from rest_framework.response import Response

from orchard.api import statements
from orchard.api.models import KeptAnswer
from orchard.api.refusals import Conflict, Fault, Refusal, Unprocessable

KEPT_FOR = dt.timedelta(days=7)
LONGEST_KEY = 255


def answer_once(
    *,
    caller: str,
    method: str,
    path: str,
    key: str,
    body: bytes,
    now: dt.datetime,
    do: Callable[[], Response],
) -> Response:
    """Do it, or give the answer that was given before. The caller holds a transaction.

    :raises Refusal: 400 for a key that is empty or too long
    :raises Conflict: `idempotency_in_progress` while the first is still running
    :raises Unprocessable: `idempotency_key_reused` for another body under the same key
    """
    demand_sound(key)
    digest = hashlib.sha256(body).hexdigest()
    kept = _locked(caller, method, path, key)
    if kept is not None and kept.created_at < now - KEPT_FOR:
        kept.delete()
        kept = None
    if kept is not None:
        return _again(kept, digest)
    with statements.together():
        response = do()
        if response.status_code < 400:
            _keep(response, caller=caller, method=method, path=path, key=key, digest=digest, created_at=now)
        return response


def demand_sound(key: str) -> None:
    """Demand a key that can be kept.

    :raises Refusal: 400
    """
    if not 0 < len(key) <= LONGEST_KEY or not key.isprintable() or not key.isascii():
        raise Refusal(
            Fault(
                "invalid",
                _("an Idempotency-Key has 1 to %(most)s printable characters") % {"most": LONGEST_KEY},
            )
        )


LOCK_AND_FIND = f"""
    SELECT pg_try_advisory_xact_lock($5::bigint), kept.id
    FROM (SELECT 1) AS once LEFT JOIN {KeptAnswer._meta.db_table} AS kept
        ON caller = $1 AND method = $2 AND path = $3 AND key = $4
"""
"""One round trip. What another commits between our snapshot and our lock we do not see: then the key's unique
constraint refuses ours as a whole, and the sender, told to try again, gets the answer."""


def _locked(*place: str) -> KeptAnswer | None:
    ((held, id),) = statements.execute(LOCK_AND_FIND, (*place, _number("\x1f".join(place))))
    if not held:
        raise Conflict(
            Fault("idempotency_in_progress", _("the first request with this key is still running"))
        )
    return None if id is None else KeptAnswer.objects.get(id=id)


def _number(name: str) -> int:
    return int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], "big", signed=True)


def _wait(name: str) -> None:
    statements.execute("SELECT pg_advisory_xact_lock($1::bigint)", [_number(name)])


def _again(kept: KeptAnswer, digest: str) -> Response:
    if kept.digest != digest:
        raise Unprocessable(
            Fault(
                "idempotency_key_reused", _("this Idempotency-Key was used for another body: take a new one")
            )
        )
    return Response(kept.body, status=kept.status, headers=kept.headers)


def _keep(response: Response, **kept: Any) -> None:
    headers = {name: response[name] for name in ("Location", "ETag") if name in response}
    answer = {"status": response.status_code, "headers": headers, "body": response.data}
    statements.run(statements.add(KeptAnswer, {**kept, **answer}))


def forget(*, now: dt.datetime) -> int:
    """Delete the answers that are older than seven days; return how many."""
    return KeptAnswer.objects.filter(created_at__lt=now - KEPT_FOR).exclude(caller="id").delete()[0]


def made_once(*, where: str, id: uuid.UUID, digest: str, now: dt.datetime) -> bool:
    """Return whether this client-made id is new at this place; False where the same body made it before.

    The caller holds a transaction and makes the row in it, so that both stand or neither. Kept for ever.

    :raises Conflict: `id_taken` for another body
    """
    _wait(f"{where}\x1f{id}")
    place = {"caller": "id", "method": "POST", "path": where[:400], "key": str(id)}
    kept = KeptAnswer.objects.filter(**place).first()
    if kept is None:
        KeptAnswer.objects.create(**place, digest=digest, status=201, created_at=now)
        return True
    if kept.digest != digest:
        raise Conflict(Fault("id_taken", _("this id was used for something else: make a new one"), "/id"))
    return False
