"""Reads JSON text strictly: no twin keys, no NaN, no bottomless nesting, and never a traceback."""

from __future__ import annotations

import json
from typing import Any, NoReturn

from mixing.catalogue import Text, said
from mixing.faults import MixRequestError

LONGEST = 10_000_000
"""Characters of a request; a year of history is a hundredth of it."""


def read_json(text: str, *, language: str = "en") -> Any:
    """Return what a JSON text says.

    :raises MixRequestError: for a text that is no JSON, or none that can be taken at its word
    """
    if len(text) > LONGEST:
        raise _refused(said("fault.long_request", most=f"{LONGEST:,}"), language)
    try:
        return json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
    except RecursionError:
        raise _refused(said("fault.deep_request"), language) from None
    except NotTaken as error:
        raise _refused(said("fault.not_json", problem=error.text), language) from None
    except json.JSONDecodeError as error:
        problem = said("fault.not_json_at", problem=error.msg, line=error.lineno, column=error.colno)
        raise _refused(problem, language) from None
    except ValueError as error:
        raise _refused(said("fault.not_json", problem=str(error)[:200]), language) from None


class NotTaken(ValueError):
    """What JSON may hold and a request may not."""

    def __init__(self, text: Text) -> None:
        super().__init__(text.id)
        self.text = text


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) == len(pairs):
        return found
    names = [name for name, _ in pairs]
    twin = next(name for rank, name in enumerate(names) if name in names[:rank])
    raise NotTaken(said("fault.twin_fields", name=repr(twin[:60])))


def _no_constant(name: str) -> NoReturn:
    raise NotTaken(said("fault.not_a_constant", name=name))


def _refused(detail: Text, language: str) -> MixRequestError:
    return MixRequestError([{"pointer": "", "code": "invalid", "detail": detail.render(language)}])
