"""Those who call the API in the tests: one token per role."""

from __future__ import annotations

from typing import Any

from django.test import Client
from django.utils import timezone

from orchard.farms import services
from orchard.farms.actors import SYSTEM
from orchard.farms.models import Farm


class Caller:
    """A client that sends JSON with a token, and knows its farm's addresses."""

    def __init__(
        self, farm: Farm, role: str = "manager", scopes: tuple[str, ...] = (), worker: Any = None
    ) -> None:
        made = services.add_token(
            farm=farm,
            name=f"{role} token",
            role=role,
            scopes=scopes,
            worker=worker,
            by=SYSTEM,
            now=timezone.now(),
        )
        self.farm, self.token, self.secret = farm, made.token, made.secret
        self.client = Client(raise_request_exception=False)

    def at(self, path: str) -> str:
        """Return the full path of one below the farm."""
        if path.startswith(("/api", "http")):
            return path
        return f"/api/v1/farms/{self.farm.id}" + (f"/{path}" if path else "")

    def call(self, method: str, path: str, body: Any = None, **headers: str) -> Any:
        """Send a request; header names with underscores, `if_match="…"`."""
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        sent.setdefault("authorization", f"Bearer {self.secret}")
        more = {} if body is None else {"data": body, "content_type": "application/json"}
        return self.client.generic(method, self.at(path), headers=sent, **_encoded(more))

    def get(self, path: str = "", **headers: str) -> Any:
        return self.call("GET", path, **headers)

    def post(self, path: str, body: Any, **headers: str) -> Any:
        return self.call("POST", path, body, **headers)

    def patch(self, path: str, body: Any, **headers: str) -> Any:
        """Change what is there, with its ETag unless one is given."""
        headers.setdefault("if_match", self.get(path).headers.get("ETag", '"none"'))
        return self.call("PATCH", path, body, **headers)

    def delete(self, path: str, **headers: str) -> Any:
        headers.setdefault("if_match", self.get(path).headers.get("ETag", '"none"'))
        return self.call("DELETE", path, **headers)

    def act(self, path: str, action: str, body: Any = None, **headers: str) -> Any:
        """Do an action on a resource, with its ETag unless one is given."""
        headers.setdefault("if_match", self.get(path).headers.get("ETag", '"none"'))
        return self.post(f"{path}/actions/{action}", {} if body is None else body, **headers)


def _encoded(more: dict[str, Any]) -> dict[str, Any]:
    if not more:
        return {}
    data = more["data"]
    raw = data if isinstance(data, (str, bytes)) else Client()._encode_json(data, "application/json")
    return {"data": raw, "content_type": more["content_type"]}


def codes(response: Any) -> list[str]:
    """Return the codes of a problem document, in order."""
    return [fault["code"] for fault in response.json()["errors"]]


def pointers(response: Any) -> list[str]:
    """Return the pointers of a problem document, in order."""
    return [fault["pointer"] for fault in response.json()["errors"]]
