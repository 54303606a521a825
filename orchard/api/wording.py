"""What goes wrong in the reader's own language: a title for each status, a sentence for each code."""

from __future__ import annotations

import functools
import tomllib
from pathlib import Path
from typing import Any

from django.utils import translation

TABLE = Path(__file__).parent / "errors.toml"


@functools.cache
def _table() -> dict[str, Any]:
    return tomllib.loads(TABLE.read_text("utf-8"))


def sentence(code: str) -> str | None:
    """Return the short sentence for a code in the language in use; None in English."""
    words = _table().get((translation.get_language() or "en")[:2]) or {"codes": {}}
    found: str | None = words["codes"].get(code)
    return found


def meanings() -> dict[str, str]:
    """Return every code there is, with what it means and what to do, for whoever writes a program."""
    found: dict[str, str] = _table()["meaning"]
    return found


def in_spanish(code: str) -> str:
    """Return the short sentence that a person who reads Spanish gets for a code."""
    found: str = _table()["es"]["codes"][code]
    return found


def in_own_words(document: dict[str, Any]) -> dict[str, Any]:
    """Return a problem document with its title in the language of the request, and `says` for each fault.

    In English nothing is added, since `detail` is. A code without a sentence stays English and is marked.
    """
    words = _table().get((translation.get_language() or "en")[:2])
    if words is None:
        return document
    errors = [
        {**fault, "says": words["codes"][fault["code"]]}
        if fault["code"] in words["codes"]
        else {**fault, "untranslated": True}
        for fault in document["errors"]
    ]
    title = words["titles"].get(str(document["status"]), document["title"])
    return {**document, "title": title, "errors": errors}
