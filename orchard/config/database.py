"""Which PostgreSQL holds the farms' rows, and as whom we speak to it."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import dj_database_url

from orchard.config.postgres.roles import DATABASE, OWNER_ROLE, WEB_ROLE

KEEP_SECONDS = 60  # a thread keeps its connection between requests, and asks first whether it still lives


def connections(*, environment: Mapping[str, str], folder: Path) -> dict[str, dict[str, Any]]:
    """Return Django's DATABASES: `default` reads and writes rows, `owner` makes the tables.

    DATABASE_URL names a server; without it the project runs its own below `folder`. DATABASE_OWNER_URL is the
    same database as the role that owns the tables. With one address alone it owns them, and what answers
    requests takes the lesser role in each connection.
    """
    url = environment.get("DATABASE_URL")
    if not url:
        return {"default": _embedded(folder, role=WEB_ROLE), "owner": _embedded(folder, role=OWNER_ROLE)}
    default, owner = _server(url), _server(environment.get("DATABASE_OWNER_URL") or url)
    if default["USER"] == owner["USER"]:
        options = default.setdefault("OPTIONS", {})
        options["options"] = f"{options.get('options', '')} -c role={WEB_ROLE}".strip()
    return {"default": default, "owner": owner}


def _server(url: str) -> dict[str, Any]:
    return dict(dj_database_url.parse(url, conn_max_age=KEEP_SECONDS, conn_health_checks=True))


def _embedded(folder: Path, *, role: str) -> dict[str, Any]:
    return {
        "ENGINE": "orchard.config.postgres",
        "EMBEDDED": {"base": folder, "durable": True},
        "NAME": DATABASE,
        "USER": role,
        "CONN_MAX_AGE": KEEP_SECONDS,
        "CONN_HEALTH_CHECKS": True,
        "OPTIONS": {"sslmode": "disable"},  # whatever PGSSLMODE says of other servers
    }
