"""How many requests a caller may send: a fixed number a minute, over all web processes.

Source of the header fields: RateLimit header fields for HTTP, IETF HTTPAPI working group, draft 10, 2025
(from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from django.conf import settings

from orchard.api import counts

WINDOW_S = 60


@dataclass(frozen=True, slots=True)
class Allowance:
    """What is left of a caller's minute.

    :ivar left: requests that may still be sent; below zero where this one is too many
    :ivar seconds: until the next minute of the count begins
    """

    limit: int
    left: int
    seconds: int

    def headers(self) -> dict[str, str]:
        """Return the header fields that tell it."""
        return {
            "RateLimit-Policy": f'"minute";q={self.limit};w={WINDOW_S}',
            "RateLimit": f'"minute";r={max(self.left, 0)};t={self.seconds}',
        }


def count(*, caller: str, at: float) -> Allowance | None:
    """Count one request of a caller; None where there is no limit.

    :param at: seconds of the clock
    """
    limit: int = settings.RATE_LIMIT_PER_MINUTE
    if limit <= 0:
        return None
    window = int(at // WINDOW_S)
    key = f"rate:{caller}:{window}"
    sent = counts.add(key, lasts_s=2 * WINDOW_S)
    return Allowance(limit=limit, left=limit - sent, seconds=left_of_minute(at=at))


def left_of_minute(*, at: float) -> int:
    """Return the seconds until the next minute of the count begins, never 0.

    :param at: seconds of the clock
    """
    return math.ceil((at // WINDOW_S + 1) * WINDOW_S - at)
