"""The id that one request goes by, in the audit and in its answer: the sender's own, else a fresh one."""

from __future__ import annotations

import re
import uuid
from contextvars import ContextVar

HEADER = "X-Request-Id"
FIT = re.compile(r"[A-Za-z0-9._-]{1,64}\Z", re.ASCII)
current: ContextVar[str | None] = ContextVar("request_id", default=None)


def begin(sent: str | None) -> str:
    """Take the id that the sender gave, where it is a plain word of at most 64 signs, else make one."""
    taken = sent if sent is not None and FIT.match(sent) else str(uuid.uuid4())
    current.set(taken)
    return taken
