"""The service's addresses and two that do nothing: a plain view, and an endpoint that answers `{}`."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import path
from rest_framework.request import Request
from rest_framework.response import Response

from orchard.config import urls
from orchard.farms.endpoint import Endpoint


def plain(request: HttpRequest) -> HttpResponse:
    """Answer, and do nothing."""
    return HttpResponse(b"{}", content_type="application/json")


class Nothing(Endpoint):
    """Let in who may read the schedule, and answer nothing."""

    resource = "schedule"

    def get(self, request: Request, **kwargs: Any) -> Response:
        """Answer."""
        return Response({})


urlpatterns = [
    path("plain", plain),
    path("api/v1/farms/<uuid:farm>/nothing", Nothing.as_view()),
    *urls.urlpatterns,
]
