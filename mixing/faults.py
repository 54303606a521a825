"""What is wrong with a request: every fault at once, each with its place, a code and a sentence to act on."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from mixing.catalogue import Text, said

Place = tuple["Place", str | int] | tuple[()]
"""Where in the request: `((), "products")`, then `(that, 0)`. Written out as a pointer only for a fault."""

TOP: Place = ()


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault.

    :ivar pointer: JSON pointer (RFC 6901) to what is wrong; the empty text is the whole request
    :ivar code: `required`, `unknown_field`, `invalid`, `unit_unknown`, `unit_ambiguous`, `unit_kind`,
        `not_a_decimal`, `out_of_range`, `time_without_offset`
    :ivar detail: a sentence that a person can act on
    """

    pointer: str
    code: str
    detail: Text

    def as_json(self, language: str = "en") -> dict[str, str]:
        """Return `{"pointer", "code", "detail"}`, the detail in that language."""
        return {"pointer": self.pointer, "code": self.code, "detail": self.detail.render(language)}


class MixRequestError(ValueError):
    """A request that cannot be understood.

    :ivar errors: `[{"pointer", "code", "detail"}]`, sorted as the faults were met, never empty
    """

    def __init__(self, errors: list[dict[str, str]]) -> None:
        super().__init__("; ".join(f"{e['pointer'] or '/'}: {e['detail']}" for e in errors))
        self.errors = errors


class Faults:
    """Collects faults while a request is read.

    :ivar language: what they are told in
    """

    def __init__(self, language: str = "en") -> None:
        self.language = language
        self._found: dict[tuple[str, str], Fault] = {}

    def __bool__(self) -> bool:
        return bool(self._found)

    def add(self, at: Place, code: str, detail: Text) -> None:
        """Note one fault; a second of the same code at the same place adds nothing."""
        where = pointer(at)
        self._found.setdefault((where, code), Fault(where, code, detail))

    def refuse(self) -> None:
        """Raise `MixRequestError` where anything was found."""
        if self._found:
            raise MixRequestError([fault.as_json(self.language) for fault in self._found.values()])


def pointer(at: Place) -> str:
    """Return the JSON pointer of a place: `/products/0/rate/unit`.

    Source: P. Bryan, K. Zyp, M. Nottingham, RFC 6901, JavaScript Object Notation (JSON) Pointer, 2013.
    """
    steps: list[str] = []
    while at:
        at, step = at
        steps.append(str(step)[:100].replace("~", "~0").replace("/", "~1"))
    return "".join(f"/{step}" for step in reversed(steps))


def near(word: object, known: Iterable[str]) -> Text | None:
    """Return `: did you mean rate?` for a word close to a known one."""
    return did_you_mean(close_words(str(word), known))


def close_words(word: str, known: Iterable[str]) -> list[str]:
    """Return at most two known words that are spelt much like this one, the nearest first."""
    return difflib.get_close_matches(word[:60], sorted(known), n=2, cutoff=0.6)


def joined(text_id: str, words: Iterable[str | Text]) -> Text | str:
    """Return words as one, two by two, by a sentence with `first` and `second`: `total or area`."""
    told: Text | str = ""
    for word in words:
        told = said(text_id, first=told, second=word) if told else word
    return told


def did_you_mean(words: Sequence[str]) -> Text | None:
    """Return the question after one word or two; None where there is none to ask after."""
    if not words:
        return None
    if len(words) == 1:
        return said("fault.did_you_mean_one", word=words[0])
    return said("fault.did_you_mean_two", first=words[0], second=words[1])
