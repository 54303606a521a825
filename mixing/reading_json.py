"""Reads JSON text strictly: no twin keys, no NaN, no bottomless nesting, and never a traceback."""

from __future__ import annotations

import json
from typing import Any, NoReturn

from mixing.faults import MixRequestError

LONGEST = 10_000_000
"""Characters of a request; a year of history is a hundredth of it."""


def read_json(text: str) -> Any:
    """Return what a JSON text says.

    :raises MixRequestError: for a text that is no JSON, or none that can be taken at its word
    """
    if len(text) > LONGEST:
        raise _refused(f"the request has more than {LONGEST:,} characters")
    try:
        return json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
    except RecursionError:
        raise _refused("the request is nested too deeply") from None
    except ValueError as error:
        raise _refused(f"this is not JSON: {str(error)[:200]}") from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) == len(pairs):
        return found
    names = [name for name, _ in pairs]
    twin = next(name for rank, name in enumerate(names) if name in names[:rank])
    raise ValueError(f"the field {twin[:60]!r} stands twice in one object")


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a number")


def _refused(detail: str) -> MixRequestError:
    return MixRequestError([{"pointer": "", "code": "invalid", "detail": detail}])
