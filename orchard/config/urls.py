"""Every address of the service."""

from django.contrib import admin
from django.http import HttpRequest, HttpResponse
from django.urls import path


def healthz(request: HttpRequest) -> HttpResponse:
    """Say that this process answers; nothing else is asked."""
    return HttpResponse("ok\n", content_type="text/plain")


urlpatterns = [
    path("healthz", healthz),
    path("admin/", admin.site.urls),
]
