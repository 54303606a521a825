"""The OpenAPI 3.1 document, generated from the endpoints' own attributes and the permission table."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from orchard.api import idempotency, permissions
from orchard.api.problems import ProblemShown

_ALWAYS = {
    "401": "no token or sign-in",
    "403": "the role, the scope or the sender may not do this",
    "404": "not there, or another farm's",
    "414": "the address is longer than 8,190 bytes",
    "429": "too many requests",
    "431": "more than 100 headers, or one longer than 8,190 bytes",
}
_READ = {"400": "an unknown or wrong query parameter"}
_WRITE = {
    "400": "not JSON",
    "409": "the state, or a rule, forbids it now",
    "413": "over 1 MiB",
    "415": "not JSON",
    "422": "the content is wrong",
}
_KEY = {"type": "string", "minLength": 1, "maxLength": idempotency.LONGEST_KEY, "pattern": "^[ -~]+$"}
IDEMPOTENCY = OpenApiParameter(
    "Idempotency-Key", _KEY, OpenApiParameter.HEADER, description="the same key and body: the first answer"
)
_MATCH = {"412": "it has changed since it was read", "428": "If-Match is missing"}


class EndpointSchema(AutoSchema):
    """Reads `resource`, `verbs`, `shown`, `asked` and `query` of an endpoint."""

    def get_operation_id(self) -> str:
        parts = [part for part in self.path.split("/") if part and not part.startswith("{")]
        words = [
            part.replace("-", "_").replace(".", "_")
            for part in parts
            if part not in ("api", "v1", "farms", "actions")
        ]
        one = "one_" if self.path.endswith("}") else ""
        outside = "" if "{farm}" in self.path or not words else "_outside_a_farm"
        return f"{self.method.lower()}_{one}{'_'.join(words) or 'farm'}{outside}"

    def get_tags(self) -> list[str]:
        return [str(getattr(self.view, "resource", "") or "calculations").replace("_", " ")]

    def get_request_serializer(self) -> Any:
        return getattr(self.view, "asked", None) if self.method in ("POST", "PATCH") else None

    def get_response_serializers(self) -> Any:
        if responses := getattr(self.view, "responses", None):
            return responses
        if self.method == "DELETE":
            return {204: None}
        shown = getattr(self.view, "shown", None)
        if self.method == "GET" and hasattr(self.view, "listed"):
            return {200: _page_of(shown)}
        if self.method == "POST" and hasattr(self.view, "listed"):
            return {getattr(self.view, "made_status", 201): shown, 200: shown}
        return {200: shown}

    def get_override_parameters(self) -> list[Any]:
        found: list[Any] = []
        query = getattr(self.view, "query", None)
        if self.method == "GET" and query is not None and query().fields:
            found.append(query)
        if self.method == "POST":
            found.append(IDEMPOTENCY)
        if self._matches():
            found.append(_header("If-Match", "the `etag` that you have read", required=True))
        return found

    def _matches(self) -> bool:
        if not getattr(self.view, "matches", True):
            return False
        return self.method in ("PATCH", "DELETE") or (self.method == "POST" and "/actions/" in self.path)

    def _is_list_view(self, serializer: Any = None) -> bool:
        return False

    def get_operation(self, *args: Any, **kwargs: Any) -> Any:
        operation = super().get_operation(*args, **kwargs)
        if operation is None:
            return None
        self._problems(operation)
        verb = getattr(self.view, "verbs", {}).get(self.method)
        verb = self.view.verb(verb) if verb and hasattr(self.view, "verb") else verb
        grant = permissions.TABLE.get((getattr(self.view, "resource", ""), verb or ""))
        if grant is not None:
            operation["x-scope"] = grant.scope
            operation["x-roles"] = list(grant.all_roles)
        return operation

    def _problems(self, operation: dict[str, Any]) -> None:
        wanted = {**_ALWAYS, **(_READ if self.method == "GET" else _WRITE)}
        if self._matches():
            wanted |= _MATCH
        if getattr(self.view, "conflicts", False):
            wanted = {**wanted, "409": _WRITE["409"]}
        of_a_time = "from" in getattr(getattr(self.view, "query", None), "_declared_fields", {})
        if getattr(self.view, "unprocessable", False) or (self.method == "GET" and of_a_time):
            wanted = {**wanted, "422": _WRITE["422"]}
        for status, words in wanted.items():
            operation["responses"].setdefault(status, self._problem(words))
        if self.method == "GET" and not hasattr(self.view, "listed") and hasattr(self.view, "answer"):
            operation["responses"].setdefault("304", {"description": "unchanged since If-None-Match"})

    def _problem(self, words: str) -> dict[str, Any]:
        component = self.resolve_serializer(ProblemShown, "response")
        return {"description": words, "content": {"application/problem+json": {"schema": component.ref}}}


def _header(name: str, words: str, required: bool = False) -> OpenApiParameter:
    return OpenApiParameter(name, str, OpenApiParameter.HEADER, required=required, description=words)


def as_the_code_does(result: dict[str, Any], **_more: Any) -> dict[str, Any]:
    """Describe each field, say that forms refuse what they do not have, and "anything or null" once."""
    for name, schema in result["components"]["schemas"].items():
        form = name.removeprefix("Patched").removesuffix("Request").removesuffix("Shown")
        _describe(schema, form=form)
        if name.endswith("Request") and schema.get("properties"):
            schema.setdefault("additionalProperties", False)
            if (body := _told("bodies.toml").get(form.removesuffix("Input"))) is not None:
                schema["examples"] = [body]
        for field in schema.get("properties", {}).values():
            if isinstance(field, dict) and field.get("oneOf") == [{}, {"type": "null"}]:
                del field["oneOf"]
    return result


@cache
def _told(file: str) -> dict[str, Any]:
    return tomllib.loads((Path(__file__).parent / file).read_text(encoding="utf-8"))


def _describe(schema: dict[str, Any], *, form: str) -> None:
    """Give each field that says nothing of itself the words of its form, else those of its name."""
    words = _told("described.toml")
    for name, field in schema.get("properties", {}).items():
        own = words["of"].get(form, {}).get(name) or words["every"].get(name)
        if own is not None and "$ref" not in field and "allOf" not in field:
            field.setdefault("description", own)
        _describe(field, form=f"{form}.{name}")
        if isinstance(field.get("items"), dict):
            _describe(field["items"], form=f"{form}.{name}")


_PAGES: dict[Any, Any] = {}


def _page_of(shown: Any) -> Any:
    """Return the serializer of one page of such rows, made once each."""
    if shown is not None and shown not in _PAGES:
        _PAGES[shown] = type(
            f"{shown.__name__}Page",
            (serializers.Serializer,),
            {
                "__doc__": "One page.",
                "items": shown(many=True),
                "next": serializers.CharField(allow_null=True, help_text="address of the next page, or null"),
            },
        )
    return _PAGES.get(shown)
