"""Where counts are kept that all web processes share: in Redis where there is one, else in the process.

Without a broker there is one web process unless somebody asks for more, so its memory is the whole.
"""

from __future__ import annotations

from typing import Any

SECONDS = 0.25  # a count is not worth waiting for; `orchard.api.counts` goes on without it


def caches(*, redis_url: str) -> dict[str, dict[str, Any]]:
    """Return Django's CACHES: `default` is shared, `alone` is this process's own."""
    alone = {
        "BACKEND": "django.core.cache.backends.locmem.LocMemCache",
        "LOCATION": "alone",
        "OPTIONS": {"MAX_ENTRIES": 100_000},  # what is too much is forgotten, a guesser's count among it
    }
    if not redis_url:
        return {"default": alone, "alone": alone}
    shared = {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": redis_url,
        "KEY_PREFIX": "orchard",
        "OPTIONS": {"socket_connect_timeout": SECONDS, "socket_timeout": SECONDS},
    }
    return {"default": shared, "alone": alone}
