"""The addresses of crew work: what each subject offers, joined."""

from __future__ import annotations

from typing import Any

urlpatterns: list[Any] = []
