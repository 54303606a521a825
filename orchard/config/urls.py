"""Every address of the service."""

from django.contrib import admin
from django.http import HttpRequest, HttpResponse
from django.urls import include, path, re_path
from django.views.generic import RedirectView

from orchard.api import documentation, problems
from orchard.blocks import api as blocks
from orchard.config import farm_files, metrics
from orchard.crews import api as crews
from orchard.farms import api as farms
from orchard.inventory import api as inventory
from orchard.tasks import api as tasks
from orchard.web import urls as web


def healthz(request: HttpRequest) -> HttpResponse:
    """Say that this process answers; nothing else is asked."""
    return HttpResponse("ok\n", content_type="text/plain")


api = [
    path("openapi.json", documentation.Document.as_view(), name="openapi"),
    path("docs", documentation.read, name="docs"),
    path("problems", documentation.problems, name="problems"),
    *farms.urlpatterns,
    *blocks.urlpatterns,
    *crews.urlpatterns,
    *inventory.urlpatterns,
    *tasks.urlpatterns,
    *farm_files.urlpatterns,
    re_path(r"^.*$", problems.not_found),
]

urlpatterns = [
    path("healthz", healthz),
    *web.urlpatterns,
    path("metrics", metrics.metrics),
    *tasks.at_the_root,
    path("api/v1/", include(api)),
    path("admin/login/", RedirectView.as_view(url="/sign-in?next=/admin/")),
    path("admin/", admin.site.urls),
]

handler404 = "orchard.api.problems.not_found"
handler500 = "orchard.api.problems.broken"
