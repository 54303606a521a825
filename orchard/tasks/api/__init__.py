"""The addresses of crew work: what each subject offers, joined."""

from __future__ import annotations

from orchard.tasks.api import actions, checks, incidents, orders, programmes, records, schedule

urlpatterns = [
    *checks.urlpatterns,
    *programmes.urlpatterns,
    *orders.urlpatterns,
    *actions.urlpatterns,
    *records.urlpatterns,
    *incidents.urlpatterns,
    *schedule.urlpatterns,
]
