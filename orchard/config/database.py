"""Which PostgreSQL holds the farms' rows, and as whom we speak to it."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import dj_database_url

from orchard.config.environment import with_password
from orchard.config.postgres.roles import DATABASE, OWNER_ROLE, WEB_ROLE

EVERY_FARM = "orchard.farm=*"  # what `orchard.farms.fence` reads: jobs and commands serve all farms
PLANNED_ONCE = "plan_cache_mode=force_generic_plan"
"""For what we prepare ourselves (`orchard.api.statements`): all of it finds rows by an index. The
server took longer to plan a page of the ledger anew than to read it. The ORM prepares nothing."""
ENGINE = "orchard.config.postgres"
KEEP_SECONDS = 60  # a thread keeps its connection between requests, and asks first whether it still lives


def connections(*, environment: Mapping[str, str], folder: Path) -> dict[str, dict[str, Any]]:
    """Return Django's DATABASES: `default` reads and writes rows, `owner` makes the tables.

    DATABASE_URL names a server; without it the project runs its own below `folder`. DATABASE_OWNER_URL is the
    same database as the role that owns the tables. With one address alone it owns them, and what answers
    requests takes the lesser role in each connection. DATABASE_PASSWORD and DATABASE_OWNER_PASSWORD are for
    addresses that have no password in them.
    """
    url = environment.get("DATABASE_URL")
    if not url:
        default = _with_option(_embedded(folder, role=WEB_ROLE), PLANNED_ONCE)
        return {"default": _with_option(default, EVERY_FARM), "owner": _embedded(folder, role=OWNER_ROLE)}
    web_password, owner_password = (
        environment.get(name) for name in ("DATABASE_PASSWORD", "DATABASE_OWNER_PASSWORD")
    )
    default = _server(with_password(url, web_password))
    owner = _server(
        with_password(environment.get("DATABASE_OWNER_URL") or url, owner_password or web_password)
    )
    if default["USER"] == owner["USER"]:
        default = _with_option(default, f"role={WEB_ROLE}")
    return {"default": _with_option(_with_option(default, PLANNED_ONCE), EVERY_FARM), "owner": owner}


def one_farm_at_a_time(addresses: Mapping[str, dict[str, Any]]) -> None:
    """Let connections begin with no farm open: for a process that answers requests, before its first one."""
    options = addresses["default"]["OPTIONS"]
    options["options"] = options["options"].replace(f"-c {EVERY_FARM}", "").strip()


def _with_option(address: dict[str, Any], option: str) -> dict[str, Any]:
    options = address.get("OPTIONS", {})
    said = f"{options.get('options', '')} -c {option}".strip()
    return {**address, "OPTIONS": {**options, "options": said}}


def _server(url: str) -> dict[str, Any]:
    return dict(dj_database_url.parse(url, engine=ENGINE, conn_max_age=KEEP_SECONDS, conn_health_checks=True))


def _embedded(folder: Path, *, role: str) -> dict[str, Any]:
    return {
        "ENGINE": ENGINE,
        "EMBEDDED": {"base": folder, "durable": True},
        "NAME": DATABASE,
        "USER": role,
        "CONN_MAX_AGE": KEEP_SECONDS,
        "CONN_HEALTH_CHECKS": True,
        "OPTIONS": {"sslmode": "disable"},  # whatever PGSSLMODE says of other servers
    }
