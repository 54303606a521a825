"""The addresses of blocks, what was seen in them, and the weather."""

from __future__ import annotations

from orchard.blocks.api import blocks, results, seen, weather

urlpatterns = [
    *blocks.urlpatterns,
    *seen.urlpatterns,
    *results.urlpatterns,
    *weather.urlpatterns,
]
