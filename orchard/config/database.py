"""Which PostgreSQL holds the farms' rows, and as whom we speak to it."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import dj_database_url

OWNER_ROLE = "orchard_owner"
WEB_ROLE = "orchard_web"


def connections(*, environment: Mapping[str, str], folder: Path) -> dict[str, dict[str, Any]]:
    """Return Django's DATABASES: `default` reads and writes rows, `owner` makes the tables."""
    url = environment.get("DATABASE_URL", "postgres://orchard_web@127.0.0.1:5432/orchard")
    owner_url = environment.get("DATABASE_OWNER_URL", url)
    return {"default": dict(dj_database_url.parse(url)), "owner": dict(dj_database_url.parse(owner_url))}
