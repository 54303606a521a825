"""The addresses of crew work: what each subject offers, joined."""

from __future__ import annotations

from orchard.tasks.api import checks, programmes, schedule

urlpatterns = [*checks.urlpatterns, *programmes.urlpatterns, *schedule.urlpatterns]
