"""What differs between machines, from the environment; secrets may stand in files that it names."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from urllib.parse import quote, urlsplit, urlunsplit

from django.core.exceptions import ImproperlyConfigured

SECRETS = (
    "SECRET_KEY",
    "DATABASE_URL",
    "DATABASE_PASSWORD",
    "DATABASE_OWNER_URL",
    "DATABASE_OWNER_PASSWORD",
    "REDIS_URL",
    "REDIS_PASSWORD",
)
"""Each may be said as `NAME`, or in the file that `NAME_FILE` names."""


def with_files(environment: Mapping[str, str]) -> dict[str, str]:
    """Return the environment with the secrets of its files, without the line end of each.

    :raises ImproperlyConfigured: for a file that cannot be read, or is empty, or a secret said twice
    """
    found, faults = dict(environment), []
    for name in SECRETS:
        file = environment.get(f"{name}_FILE")
        if not file:
            continue
        if environment.get(name):
            faults.append(f"both {name} and {name}_FILE are set: leave one out")
            continue
        try:
            found[name] = Path(file).read_text(encoding="utf-8").strip()
        except (OSError, UnicodeDecodeError) as failure:
            faults.append(f"{name}_FILE names {file}, which cannot be read: {failure}")
        else:
            if not found[name]:
                faults.append(f"{name}_FILE names {file}, which is empty")
    if faults:
        raise ImproperlyConfigured("; ".join(faults) + ".")
    return found


def with_password(url: str, password: str | None) -> str:
    """Return an address with its password, where it has none itself."""
    parts = urlsplit(url)
    if not url or not password or parts.password:
        return url
    host = parts.netloc.rpartition("@")[2]
    return urlunsplit(parts._replace(netloc=f"{parts.username or ''}:{quote(password, safe='')}@{host}"))
