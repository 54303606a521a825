"""Every address of the API, taken from the URL resolver, so that a new one cannot be forgotten."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver
from uuid6 import uuid7

METHODS = ("GET", "POST", "PATCH", "DELETE")
OPEN = {"openapi.json", "docs", "problems", "^.*$"}


@dataclass(frozen=True)
class Route:
    """One method of one address."""

    method: str
    pattern: str
    view: Any

    @property
    def resource(self) -> str:
        return self.view.resource

    @property
    def verb(self) -> str | None:
        verb = self.view.verbs.get(self.method)
        return self.view.verb(verb) if verb else None

    def path(self, farm: object) -> str:
        """Return the address with this farm, and ids of things that are not there."""
        text = self.pattern.replace("<uuid:farm>", str(farm)).replace("<str:name>", "delta_t")
        while "<uuid:" in text:
            before, _, rest = text.partition("<uuid:")
            text = f"{before}{uuid7()}{rest.partition('>')[2]}"
        return f"/{text}"


def routes() -> Iterator[Route]:
    """Yield every method of every address below /api/v1 that asks who is calling."""
    for pattern, callback in _patterns(get_resolver().url_patterns, ""):
        if not pattern.startswith("api/v1/") or pattern.removeprefix("api/v1/") in OPEN:
            continue
        view = callback.view_class(**callback.view_initkwargs)
        for method in METHODS:
            if method in view.allowed_methods:
                yield Route(method, pattern, view)


def _patterns(found: Any, before: str) -> Iterator[tuple[str, Any]]:
    for one in found:
        text = before + str(one.pattern)
        if isinstance(one, URLResolver):
            yield from _patterns(one.url_patterns, text)
        elif isinstance(one, URLPattern):
            yield text, one.callback
