"""Doing from a page what a program does over HTTP: the same address, rights, checks, journals and answers.

A form's names are paths into the body, `observed.wind.value`; what was left empty is not sent. The script of
the pages builds the same body from the same form (`static/web/body.js`), so that a phone without a signal
keeps what it would have sent.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse, QueryDict

from orchard.api import inner_calls

SKIPPED = ("csrfmiddlewaretoken", "key")
TRUE = "true"


def body_of(form: QueryDict) -> dict[str, Any]:
    """Return the JSON body that a form stands for.

    `.value` beside `.unit` is a quantity, dropped where the value is empty; numbers between dots are places
    in a list; a name that ends in `:int` or `:bool` says its type.
    """
    tree: dict[str, Any] = {}
    for name in form:
        if name not in SKIPPED:
            _put(tree, name, str(form[name]).strip())
    return _pruned(tree) or {}


def _put(tree: dict[str, Any], name: str, text: str) -> None:
    path, _, kind = name.partition(":")
    *above, last = path.split(".")
    for part in above:
        tree = tree.setdefault(part, {})
    tree[last] = _typed(text, kind)


def _typed(text: str, kind: str) -> Any:
    if kind == "bool":
        return text == TRUE
    if kind == "int" and text.lstrip("-").isdecimal():
        return int(text)
    return text


def _pruned(tree: Any) -> Any:
    """Return a branch without what was left empty; None where nothing remains."""
    if not isinstance(tree, dict):
        return None if tree == "" else tree
    kept = {name: found for name, one in tree.items() if (found := _pruned(one)) is not None}
    if "unit" in tree and "value" not in kept:
        return None
    if "lot" in tree and "amount" not in kept:
        return None
    if tree and all(name.isdecimal() for name in tree):
        return [kept[name] for name in sorted(kept, key=int)] or None
    return kept or None


def call(
    request: HttpRequest,
    path: str,
    body: Mapping[str, Any],
    *,
    headers: Mapping[str, str],
    method: str = "POST",
) -> HttpResponse:
    """Send a body to an address of the REST surface as the person who is signed in; return its answer.

    The page's own token against forgery was checked before.
    """
    return inner_calls.call(request, path, json.dumps(body).encode(), headers=headers, method=method)


def problem(response: HttpResponse) -> dict[str, Any]:
    """Return the problem document of an answer that refuses."""
    found: dict[str, Any] = json.loads(response.content)
    return found
