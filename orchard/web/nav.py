"""The pages in the bar at the top of a farm: one row a page, seen by whoever may read what it shows."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from orchard.api import permissions
from orchard.farms.actors import Actor


@dataclass(frozen=True, slots=True)
class Entry:
    """One page of the bar.

    :ivar name: of its address, which takes the farm alone
    :ivar resource: row of the permission table
    :ivar verb: of that row; `create` or `update` hides a page from those who only read
    """

    name: str
    label: str | Promise
    resource: str
    verb: str = "read"


BAR = (
    Entry("today", _("Today"), "work_order"),
    Entry("season", _("Season"), "planning_run", "create"),
    Entry("plan", _("Plan"), "planning_run", "create"),
    Entry("mix", _("Mix"), "mix_check", "create"),
    Entry("store", _("Store"), "stock_movement", "create"),
    Entry("people", _("People"), "qualification", "create"),
    Entry("filed", _("Records"), "planning_run", "create"),
    Entry("sent", _("Sent"), "work_order", "record_load"),
)


def bar_of(by: Actor) -> list[Entry]:
    """Return the pages that somebody sees in the bar."""
    return [
        one
        for one in BAR
        if permissions.allows(role=by.role, scopes=by.scopes, resource=one.resource, verb=one.verb)
    ]
