"""What is wrong with a request: every fault at once, each with its place, a code and a sentence to act on."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass

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
    detail: str

    def as_json(self) -> dict[str, str]:
        """Return `{"pointer", "code", "detail"}`."""
        return {"pointer": self.pointer, "code": self.code, "detail": self.detail}


class MixRequestError(ValueError):
    """A request that cannot be understood.

    :ivar errors: `[{"pointer", "code", "detail"}]`, sorted as the faults were met, never empty
    """

    def __init__(self, errors: list[dict[str, str]]) -> None:
        super().__init__("; ".join(f"{e['pointer'] or '/'}: {e['detail']}" for e in errors))
        self.errors = errors


class Faults:
    """Collects faults while a request is read."""

    def __init__(self) -> None:
        self._found: dict[tuple[str, str], Fault] = {}

    def __bool__(self) -> bool:
        return bool(self._found)

    def add(self, at: Place, code: str, detail: str) -> None:
        """Note one fault; a second of the same code at the same place adds nothing."""
        where = pointer(at)
        self._found.setdefault((where, code), Fault(where, code, detail))

    def refuse(self) -> None:
        """Raise `MixRequestError` where anything was found."""
        if self._found:
            raise MixRequestError([fault.as_json() for fault in self._found.values()])


def pointer(at: Place) -> str:
    """Return the JSON pointer of a place: `/products/0/rate/unit`.

    Source: P. Bryan, K. Zyp, M. Nottingham, RFC 6901, JavaScript Object Notation (JSON) Pointer, 2013.
    """
    steps: list[str] = []
    while at:
        at, step = at
        steps.append(str(step)[:100].replace("~", "~0").replace("/", "~1"))
    return "".join(f"/{step}" for step in reversed(steps))


def near(word: object, known: Iterable[str]) -> str:
    """Return `: did you mean rate?` for a word close to a known one, else an empty text."""
    found = difflib.get_close_matches(str(word)[:60], sorted(known), n=2, cutoff=0.6)
    return f": did you mean {' or '.join(found)}?" if found else ""
