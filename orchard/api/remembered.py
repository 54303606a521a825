"""Reading the same thing once in a long read: a list that asks of each of its rows what stands against it.

Outside `reading_once` nothing is remembered, so that whatever writes always reads what is there.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")
_read: ContextVar[dict[Any, Any] | None] = ContextVar("what was read", default=None)


@contextmanager
def reading_once() -> Iterator[None]:
    """Remember what is read inside; nothing may be written there."""
    token = _read.set({})
    try:
        yield
    finally:
        _read.reset(token)


def remembered(read: Callable[P, R]) -> Callable[P, R]:
    """Let a read be done once for the same keyword arguments, all hashable, inside `reading_once`."""

    @functools.wraps(read)
    def wrapped(*args: P.args, **kwargs: P.kwargs) -> R:
        found = _read.get()
        if found is None:
            return read(*args, **kwargs)
        key = (read.__module__, read.__qualname__, args, tuple(sorted(kwargs.items())))
        if key not in found:
            found[key] = read(*args, **kwargs)
        answer: R = found[key]
        return answer

    return wrapped
