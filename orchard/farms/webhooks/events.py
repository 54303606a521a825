"""Which events others may hear of. Each is an event of the outbox; what it is about is read over REST."""

from __future__ import annotations

EVERY = "*"
EVENTS: dict[str, tuple[str, str]] = {
    "work_order.issued": ("work_order", "work-orders"),
    "work_order.held": ("work_order", "work-orders"),
    "work_order.cancelled": ("work_order", "work-orders"),
    "work_order.done": ("work_order", "work-orders"),
    "stock.short": ("shortage", "shortages"),
    "incident.created": ("incident", "incidents"),
}
"""Kind of event: the resource that it is about, and where its list stands below the farm."""
CHOICES = (EVERY, *EVENTS)


def wants(asked: list[str], kind: str) -> bool:
    """Return whether somebody who asked for these events hears of this kind."""
    return kind in EVENTS and (EVERY in asked or kind in asked)
