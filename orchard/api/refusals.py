"""What a service says when it will not do a thing: facts with a code, never only a sentence.

Services raise these (or a subclass that names the fact, such as `StockShort`); the edge turns them into
one problem document. A refusal carries every fault that was found, not the first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong.

    :ivar pointer: JSON pointer into the request's body, empty for the whole or for a state
    :ivar code: stable word that clients act on
    :ivar detail: a sentence that a person can act on
    :ivar refers_to: kind and id of the thing that stands in the way
    :ivar earliest: RFC 3339 time or date from which it would be allowed
    :ivar finding: the finding of a mix check, as in its report
    :ivar short: the amount that is missing, as a quantity
    """

    code: str
    detail: str
    pointer: str = ""
    refers_to: tuple[str, str] | None = None
    earliest: str | None = None
    finding: Mapping[str, Any] | None = None
    short: Mapping[str, str] | None = None

    def as_json(self) -> dict[str, Any]:
        """Return the fault as a member of `errors[]`, without what it does not have."""
        shown: dict[str, Any] = {"pointer": self.pointer, "code": self.code, "detail": self.detail}
        if self.refers_to:
            shown["refers_to"] = {"kind": self.refers_to[0], "id": self.refers_to[1]}
        for name in ("earliest", "finding", "short"):
            if getattr(self, name) is not None:
                shown[name] = getattr(self, name)
        return shown


class Refusal(Exception):
    """A request that is refused, with the status that HTTP gives it and all its faults."""

    status = 400
    title = "The request cannot be read"

    def __init__(self, *faults: Fault, headers: Mapping[str, str] | None = None) -> None:
        super().__init__("; ".join(fault.detail for fault in faults) or self.title)
        self.faults = faults
        self.headers = dict(headers or {})


class NotThere(Refusal):
    """Not there, or another farm's: the answer is the same."""

    status = 404
    title = "There is no such thing here"


class RoleNotAllowed(Refusal):
    """The role or the scope may not do this."""

    status = 403
    title = "Your role may not do this"


class Conflict(Refusal):
    """The state of things, or a rule, forbids it now."""

    status = 409
    title = "This cannot be done now"


class Stale(Refusal):
    """The thing has changed since it was read."""

    status = 412
    title = "It has changed since you read it"


class PreconditionMissing(Refusal):
    """An `If-Match` header is needed."""

    status = 428
    title = "Say which version you change"


class Unprocessable(Refusal):
    """The content is wrong."""

    status = 422
    title = "The content is wrong"


class TooMany(Refusal):
    """More requests than a caller may send."""

    status = 429
    title = "Too many requests"


def under(prefix: str, faults: Iterable[Fault]) -> list[Fault]:
    """Return the faults with `prefix` set before each pointer."""
    return [
        Fault(f.code, f.detail, prefix + f.pointer, f.refers_to, f.earliest, f.finding, f.short)
        for f in faults
    ]
