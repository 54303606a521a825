"""Counts that end by themselves, shared by all web processes: requests of a minute, wrong passwords.

They stand in the cache. While its server does not answer each process counts for itself, and asks it again
after a few seconds, so that no request fails with it.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import TypeVar

from django.core.cache import BaseCache, caches

log = logging.getLogger(__name__)

ALONE_S = 5.0
_alone_until = 0.0
Found = TypeVar("Found")


def add(name: str, *, lasts_s: int) -> int:
    """Count one more and return how many there are.

    :param lasts_s: seconds after the first until all are forgotten
    """
    return _asked(lambda cache: _add(cache, name, lasts_s))


def of(name: str) -> int:
    """Return how many there are."""
    return _asked(lambda cache: int(cache.get(name, 0)))


def forget(name: str) -> None:
    """Begin at nothing again."""
    _asked(lambda cache: cache.delete(name))


def _add(cache: BaseCache, name: str, lasts_s: int) -> int:
    for _ in range(2):
        try:
            return cache.incr(name)
        except ValueError:  # it is the first, or was forgotten just now
            if cache.add(name, 1, timeout=lasts_s):
                return 1
    return 1


def _asked(ask: Callable[[BaseCache], Found]) -> Found:
    global _alone_until
    if time.monotonic() >= _alone_until:
        try:
            return ask(caches["default"])
        except Exception as failure:
            _alone_until = time.monotonic() + ALONE_S
            log.warning("the shared counts cannot be reached, each process counts alone: %s", failure)
    return ask(caches["alone"])
