"""The id that one request goes by in log, audit and answer: the sender's own, else a fresh one."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

HEADER = "X-Request-Id"
FIT = re.compile(r"[A-Za-z0-9._-]{1,64}\Z", re.ASCII)
current: ContextVar[str | None] = ContextVar("request_id", default=None)


@contextmanager
def request(sent: str | None) -> Iterator[str]:
    """Let what happens within go by one id.

    :param sent: what the sender gave: taken where it is a plain word of at most 64 signs
    """
    taken = sent if sent is not None and FIT.match(sent) else str(uuid.uuid4())
    before = current.set(taken)
    try:
        yield taken
    finally:
        current.reset(before)
