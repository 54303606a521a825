"""The OpenAPI document, and a page that a person can read it on, with nothing from elsewhere."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.renderers import OpenApiJsonRenderer
from drf_spectacular.views import SpectacularAPIView

from orchard.api import wording

METHODS = ("get", "post", "patch", "delete")


class Document(SpectacularAPIView):
    """The document itself, open to all: it holds no farm's data."""

    renderer_classes = [OpenApiJsonRenderer]
    authentication_classes: list[Any] = []


def problems(request: HttpRequest) -> HttpResponse:
    """Show every code that a refusal may carry: `type` of a problem document points to its line."""
    lines = [(code, says, wording.in_spanish(code)) for code, says in sorted(wording.meanings().items())]
    return render(request, "api/problems.html", {"lines": lines})


def read(request: HttpRequest) -> HttpResponse:
    """Show the document as one plain page."""
    document = SchemaGenerator().get_schema(request=None, public=True)
    operations = [
        {"path": address, "method": method.upper(), **operation}
        for address, methods in document["paths"].items()
        for method, operation in methods.items()
        if method in METHODS
    ]
    by_tag: dict[str, list[dict[str, Any]]] = {}
    for operation in operations:
        by_tag.setdefault(operation["tags"][0], []).append(operation)
    return render(request, "api/docs.html", {"info": document["info"], "tags": sorted(by_tag.items())})
