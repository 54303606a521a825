"""Every address of the service."""

from django.contrib import admin
from django.contrib.auth.views import LoginView, LogoutView
from django.http import HttpRequest, HttpResponse
from django.urls import include, path, re_path

from orchard.api import documentation, problems
from orchard.blocks import api as blocks
from orchard.config import metrics
from orchard.crews import api as crews
from orchard.farms import api as farms
from orchard.inventory import api as inventory
from orchard.tasks import api as tasks
from orchard.web import pages


def healthz(request: HttpRequest) -> HttpResponse:
    """Say that this process answers; nothing else is asked."""
    return HttpResponse("ok\n", content_type="text/plain")


api = [
    path("openapi.json", documentation.Document.as_view(), name="openapi"),
    path("docs", documentation.read, name="docs"),
    *farms.urlpatterns,
    *blocks.urlpatterns,
    *crews.urlpatterns,
    *inventory.urlpatterns,
    *tasks.urlpatterns,
    re_path(r"^.*$", problems.not_found),
]

urlpatterns = [
    path("", pages.start, name="start"),
    path("sign-in", LoginView.as_view(template_name="web/sign_in.html"), name="sign-in"),
    path("sign-out", LogoutView.as_view(), name="sign-out"),
    path("healthz", healthz),
    path("readyz", pages.readyz),
    path("metrics", metrics.metrics),
    path("api/v1/", include(api)),
    path("admin/", admin.site.urls),
]

handler404 = "orchard.api.problems.not_found"
handler500 = "orchard.api.problems.broken"
