"""The addresses of blocks, what was seen in them, and the weather."""

from __future__ import annotations

from orchard.blocks.api import blocks, seen, weather

urlpatterns = [
    *blocks.urlpatterns,
    *seen.urlpatterns,
    *weather.urlpatterns,
]
