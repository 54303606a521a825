"""Every page there is, as the addresses tell: a page without a row fails where this is asked."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver, reverse

OPEN = ("start", "sign-in", "offline", "signed-out")
"""Pages that need nobody signed in."""

CREW = ("today", "work", "sent", "incident", "emergency")
"""Pages that a crew has on its phone."""

OFFICE = ("season", "block", "plan", "hours", "mix", "store", "people", "filed", "first-steps")
"""Pages of those who plan and keep the store."""

ONE_FILE = ("docs", "emergency-list.html")
"""Pages that bring their own style along, to be kept or read by programs' authors."""

NO_PAGE = {
    "sign-out": "leads to the sign-in",
    "language": "leads back to the page it was chosen on",
    "worker": "a script",
    "manifest": "JSON",
    "readyz": "JSON",
    "key": "JSON",
    "act": "takes a form; shows `work` again where it refuses",
    "answer": "takes a form; shows `store` again where it refuses",
    "decide": "takes a form; shows `plan` again where it refuses",
}
PAGES = (*OPEN, *CREW, *OFFICE, *ONE_FILE)


def names() -> set[str]:
    """Return the name of every address outside `/admin/` that may answer with a page."""
    return {_name(one) for one in _patterns(get_resolver().url_patterns) if _may_be_a_page(one)}


def address(name: str, *, farm: Any, work: Any, draft: Any, block: Any) -> str:
    """Return where a page is, on a farm with an order given out, a draft and a block."""
    if name == "emergency-list.html":
        return f"{farm.path}/emergency-list.html"
    ids = {"work": {"order": work.id}, "hours": {"order": draft.id}, "block": {"block": block.id}}.get(
        name, {}
    )
    return reverse(name, kwargs=ids if name in (*OPEN, "docs") else {"farm": farm.id, **ids})


def _patterns(rows: list[Any]) -> Iterator[URLPattern]:
    for one in rows:
        if isinstance(one, URLPattern):
            yield one
        elif isinstance(one, URLResolver) and str(one.pattern) != "admin/":
            yield from _patterns(one.url_patterns)


def _name(one: URLPattern) -> str:
    return str(one.name or str(one.pattern).rsplit("/", 1)[-1])


def _may_be_a_page(one: URLPattern) -> bool:
    """Return whether it is one of the pages' own addresses, or one of the REST surface that answers HTML."""
    module = one.callback.__module__
    ours = module.startswith(("orchard.web", "django.contrib.auth", "django.views.i18n"))
    return ours or _name(one) == "docs" or str(one.pattern).endswith(".html")
