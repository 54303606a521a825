"""A sentence that is kept and read later, maybe in another language: its English, and what it is made of."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any, Self

from django.utils.formats import date_format
from django.utils.translation import gettext

from orchard.api.spoken import language

DAYS = {"en": "D j M", "es": r"D j \d\e F"}
"""How a day stands in a sentence: `Fri 29 Jan`."""


class Told(str):
    """A sentence in English that knows its text and its facts, so that it can be said in any language.

    :ivar text: as it stands in the catalogue, marked there with `gettext_noop`
    :ivar facts: what its names stand for: texts, days, or sentences of their own
    """

    text: str
    facts: Mapping[str, Any]

    __slots__ = ("facts", "text")

    def __new__(cls, text: str, /, **facts: Any) -> Self:
        made = super().__new__(cls, text % {name: _english(one) for name, one in facts.items()})
        made.text, made.facts = text, facts
        return made

    def as_json(self, names: Mapping[str, str] | None = None) -> dict[str, Any]:
        """Return it as it is kept.

        :param names: what stands in place of which id
        """
        return {
            "text": self.text,
            "facts": {name: _kept(one, names or {}) for name, one in self.facts.items()},
        }


class InEach(str):
    """A text that is there in every language already, such as a sentence of the engine: itself in English.

    :ivar texts: by language
    """

    texts: Mapping[str, str]

    __slots__ = ("texts",)

    def __new__(cls, texts: Mapping[str, str], /) -> Self:
        made = super().__new__(cls, texts["en"])
        made.texts = texts
        return made


def in_each(texts: Mapping[str, str]) -> Told:
    """Return a sentence that is there in every language already."""
    return Told("%(says)s", says=InEach(texts))


def joined(parts: Iterable[str], by: str) -> Told:
    """Return sentences or words as one."""
    facts = {f"p{place}": part for place, part in enumerate(parts)}
    return Told(by.join(f"%({name})s" for name in facts), **facts)


def said_of(kept: Mapping[str, Any]) -> str:
    """Return what something kept says, in the language in use where its parts are kept too."""
    return said(kept["told"]) if "told" in kept else str(kept["says"])


def because_of(sentences: Iterable[Told]) -> dict[str, Any]:
    """Return why a plan gives an order its day as it is kept: in English, and what that is made of."""
    whole = joined(sentences, "; ")
    return {"because": str(whole), "told": whole.as_json()}


def why(window: Mapping[str, Any] | None) -> str:
    """Return why a plan gave an order its day, in the language in use; empty where no plan did."""
    found = window or {}
    return said(found.get("told") or found.get("because") or "")


def said(kept: Any) -> str:
    """Return what was kept, in the language in use; a plain text is returned as it is.

    A text that the catalogue no longer has is said in English.
    """
    if not isinstance(kept, Mapping):
        return str(kept)
    if "each" in kept:
        return str(kept["each"].get(language()) or kept["each"]["en"])
    if "day" in kept:
        return date_format(dt.date.fromisoformat(kept["day"]), DAYS[language()])
    text: str = kept["text"]
    return gettext(text) % {name: said(one) for name, one in kept["facts"].items()}


def _english(fact: Any) -> str:
    return f"{fact:%a} {fact.day} {fact:%b}" if isinstance(fact, dt.date) else str(fact)


def _kept(fact: Any, names: Mapping[str, str]) -> Any:
    if isinstance(fact, Told):
        return fact.as_json(names)
    if isinstance(fact, InEach):
        return {"each": dict(fact.texts)}
    if isinstance(fact, dt.date):
        return {"day": fact.isoformat()}
    return names.get(str(fact), str(fact))
