"""The addresses of this app."""

from __future__ import annotations

from typing import Any

urlpatterns: list[Any] = []
