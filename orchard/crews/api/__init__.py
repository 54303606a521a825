"""The addresses of workers, crews and sprayers."""

from __future__ import annotations

from orchard.crews.api import crews, sprayers, workers

urlpatterns = [
    *workers.urlpatterns,
    *crews.urlpatterns,
    *sprayers.urlpatterns,
]
