"""The id that one request goes by in log, audit and answer: the sender's own, else a fresh one.

What is done later in the background, because of a request, goes by its id as well.
"""

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
def follows(asked: str | None) -> Iterator[None]:
    """Let what happens within go by the id of the request that it follows from, where there was one."""
    before = current.set(asked)
    try:
        yield
    finally:
        current.reset(before)


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
