"""A refusal is a problem document, whatever was refused."""

from __future__ import annotations

from typing import Any

from schemathesis.core.failures import Failure
from schemathesis.core.transport import Response

from orchard.api import wording

NAMES = {"type", "title", "status", "detail", "errors"}
FAULT = {"pointer", "code", "detail"}


def a_problem_document(_context: Any, response: Response, case: Any) -> None:
    """Demand RFC 9457 of every 4xx, with a pointer, a code and a sentence for each fault."""
    if response.status_code < 400:
        return
    wrong = _wrong(response)
    if wrong:
        raise Failure(operation=case.operation.label, title="No problem document", message=wrong)


def _wrong(response: Response) -> str:
    media_type = response.headers.get("content-type", [""])[0]
    if media_type.partition(";")[0] != "application/problem+json":
        return f"a refusal is {media_type}"
    told = response.json()
    if missing := NAMES - set(told):
        return f"it lacks {sorted(missing)}"
    if told["status"] != response.status_code:
        return "its status is another"
    faults = told["errors"]
    if not faults or any(FAULT - set(one) or not one["code"] or not one["detail"] for one in faults):
        return "a fault lacks its pointer, its code or its sentence"
    if told["type"] != f"/api/v1/problems#{faults[0]['code']}" or faults[0]["code"] not in wording.meanings():
        return "its type leads nowhere"
    if any(one["pointer"] and not one["pointer"].startswith("/") for one in faults):
        return "a pointer is no JSON pointer"
    return ""
