"""The addresses of farms, members, tokens, the audit and the change feed."""

from __future__ import annotations

from orchard.farms.api import access, bulk, farms, journals, webhooks

urlpatterns = [
    *farms.urlpatterns,
    *access.urlpatterns,
    *journals.urlpatterns,
    *webhooks.urlpatterns,
    *bulk.urlpatterns,
]
