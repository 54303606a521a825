"""The address at which an owner takes the whole farm along."""

from __future__ import annotations

import tempfile
from typing import Any

from django.http import FileResponse
from django.urls import path
from rest_framework.request import Request

from orchard.config import farm_export
from orchard.farms.endpoint import Endpoint

IN_MEMORY = 4 << 20  # bytes; what is larger goes by way of the disk


class FarmExport(Endpoint):
    """The whole farm in one zip: rows as JSON and CSV, blocks as GeoJSON (RFC 7946), and a manifest with
    SHA-256 checksums. `manage.py import_farm` puts it into an empty farm. Logins, tokens and webhooks stay.
    """

    resource = "farm_export"
    one_transaction = False
    http_method_names = ["get", "head", "options"]

    @property
    def responses(self) -> Any:
        return {(200, "application/zip"): bytes}

    def get(self, request: Request, **kwargs: Any) -> Any:
        """Take the farm along."""
        self.filters()
        file = tempfile.SpooledTemporaryFile(IN_MEMORY)  # noqa: SIM115  # the answer closes it
        farm_export.write(farm=self.farm, to=file, now=self.now)
        file.seek(0)
        return FileResponse(
            file, as_attachment=True, filename=f"farm-{self.farm.id}.zip", content_type="application/zip"
        )


urlpatterns = [path("farms/<uuid:farm>/export.zip", FarmExport.as_view())]
