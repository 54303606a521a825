"""The addresses of crew work: what each subject offers, joined."""

from __future__ import annotations

from orchard.tasks.api import (
    actions,
    attention,
    briefings,
    calendar_feeds,
    checks,
    containers,
    costs,
    day,
    disease,
    examples,
    incidents,
    missing_sprays,
    notices,
    orders,
    papers,
    programmes,
    purchase_needs,
    record_files,
    records,
    schedule,
    season_review,
    use_reports,
)

at_the_root = calendar_feeds.at_the_root
urlpatterns = [
    *checks.urlpatterns,
    *disease.urlpatterns,
    *programmes.urlpatterns,
    *examples.urlpatterns,
    *orders.urlpatterns,
    *actions.urlpatterns,
    *records.urlpatterns,
    *record_files.urlpatterns,
    *papers.urlpatterns,
    *incidents.urlpatterns,
    *day.urlpatterns,
    *notices.urlpatterns,
    *briefings.urlpatterns,
    *purchase_needs.urlpatterns,
    *missing_sprays.urlpatterns,
    *containers.urlpatterns,
    *costs.urlpatterns,
    *schedule.urlpatterns,
    *calendar_feeds.urlpatterns,
    *season_review.urlpatterns,
    *attention.urlpatterns,
    *use_reports.urlpatterns,
]
